//! The JSON form of a sound card's choice, which sessions and jig profiles share.

use serde::{Deserialize, Serialize};

use super::SessionFileError;
use crate::recording::ChannelPick;
use crate::session::Devices;

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::session) struct DevicesJson {
    host: String,
    output: String,
    input: String,
    sample_rate_hz: u32,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    channels: Option<[usize; 2]>,
}

impl DevicesJson {
    pub fn new(devices: &Devices) -> Self {
        Self {
            host: devices.host.clone(),
            output: devices.output.clone(),
            input: devices.input.clone(),
            sample_rate_hz: devices.sample_rate_hz,
            channels: devices
                .channels
                .map(|pick| [pick.source() + 1, pick.driver() + 1]),
        }
    }

    pub fn read(self) -> Result<Devices, SessionFileError> {
        if self.sample_rate_hz == 0 {
            return Err(SessionFileError::Value {
                what: "the sample rate".into(),
                value: 0.0,
                allowed: "above zero",
            });
        }
        let channels = self
            .channels
            .map(|[source, driver]| ChannelPick::from_numbers(source, driver))
            .transpose();
        Ok(Devices {
            channels: channels.map_err(|source| SessionFileError::Channels {
                take: self.input.clone(),
                source,
            })?,
            host: self.host,
            output: self.output,
            input: self.input,
            sample_rate_hz: self.sample_rate_hz,
        })
    }
}
