//! Which sound devices there are.

use std::sync::mpsc::{self, Receiver, RecvTimeoutError, Sender};
use std::thread;
use std::time::{Duration, Instant};

use cpal::ErrorKind;
use cpal::traits::{DeviceTrait, HostTrait};
use serde::Serialize;

use super::hosts;
use super::pairs::{Pair, pairs};
use crate::capture::Side;

/// How long all sound systems together may take to name their devices, s. A healthy one takes a tenth.
const LIMIT_S: f64 = 4.5;

/// One side of a device.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Device {
    /// Its own name, by which it is chosen; the same every time it is plugged in.
    pub id: String,
    /// What it is called where people read.
    pub label: String,
    /// How many channels it has; where a plug-in takes any number, the most that it takes.
    pub channels: u16,
    /// Which of the usual rates it runs at, or is converted to, Hz.
    pub rates_hz: Vec<u32>,
    /// Sample formats, the best first.
    pub formats: Vec<String>,
    /// The rate that it runs at unless asked otherwise, Hz.
    pub default_rate_hz: Option<u32>,
    /// Why it cannot be used now, where it cannot.
    pub problem: Option<String>,
}

/// One sound system.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct HostDevices {
    /// Its name, by which it is chosen.
    pub host: String,
    /// What kept it from naming (all of) its devices.
    pub problem: Option<String>,
    /// What can be played on.
    pub outputs: Vec<Device>,
    /// What can be recorded from.
    pub inputs: Vec<Device>,
    /// Every output with every input.
    pub pairs: Vec<Pair>,
}

/// Everything that was found.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct DeviceList {
    /// Every sound system that is there, even without devices.
    pub hosts: Vec<HostDevices>,
}

impl DeviceList {
    /// Whether there is nothing to play on and nothing to record from.
    pub fn is_empty(&self) -> bool {
        self.hosts
            .iter()
            .all(|host| host.outputs.is_empty() && host.inputs.is_empty())
    }
}

enum Found {
    Device(Side, Device),
    Problem(String),
    All,
}

/// Asks every sound system for its devices, all at once; takes five seconds at most, since one that hangs is left behind
/// with a [`problem`](HostDevices::problem) and what it had named until then.
pub fn list() -> DeviceList {
    let until = Instant::now() + Duration::from_secs_f64(LIMIT_S);
    let asked: Vec<(String, Receiver<Found>)> = hosts::names()
        .into_iter()
        .map(|host| {
            let (to, found) = mpsc::channel();
            let name = host.clone();
            // Without a thread the channel closes, which is reported.
            let _ = thread::Builder::new().spawn(move || ask(&name, &to));
            (host, found)
        })
        .collect();
    let hosts = asked
        .into_iter()
        .map(|(host, found)| collect(host, &found, until))
        .collect();
    DeviceList { hosts }
}

fn collect(host: String, found: &Receiver<Found>, until: Instant) -> HostDevices {
    let (mut outputs, mut inputs, mut problem) = (vec![], vec![], None);
    loop {
        let left = until.saturating_duration_since(Instant::now());
        match found.recv_timeout(left) {
            Ok(Found::Device(Side::Output, device)) => outputs.push(device),
            Ok(Found::Device(Side::Input, device)) => inputs.push(device),
            Ok(Found::Problem(said)) => problem = Some(said),
            Ok(Found::All) => break,
            Err(error) => {
                problem = Some(match error {
                    RecvTimeoutError::Timeout => format!(
                        "it does not answer (waited {LIMIT_S} s); restart the sound server, or unplug and replug the device"
                    ),
                    RecvTimeoutError::Disconnected => "it failed while it was asked".to_owned(),
                });
                break;
            }
        }
    }
    HostDevices {
        pairs: pairs(&host, &outputs, &inputs),
        host,
        problem,
        outputs,
        inputs,
    }
}

fn ask(name: &str, to: &Sender<Found>) {
    hosts::quiet();
    // Nobody may be listening any more: what is sent then is of no use, and the thread ends by itself.
    let devices = hosts::host(name).and_then(|host| host.devices().map_err(|e| e.to_string()));
    match devices {
        Ok(devices) => {
            let (mut n_found, mut refusal) = (0, None);
            for device in devices.filter(|device| !hosts::is_no_device(device)) {
                for side in [Side::Output, Side::Input] {
                    match side_of(&device, side) {
                        Ok(Some(device)) => {
                            n_found += 1;
                            let _ = to.send(Found::Device(side, device));
                        }
                        Ok(None) => {}
                        Err(said) => refusal = Some(said),
                    }
                }
            }
            // Some dead names among others are usual; where all are dead, the server behind them may hang.
            if let (0, Some(said)) = (n_found, refusal) {
                let _ = to.send(Found::Problem(format!(
                    "none of the devices that it names can be opened (the last said: {said})"
                )));
            }
        }
        Err(said) => {
            let _ = to.send(Found::Problem(said));
        }
    }
    let _ = to.send(Found::All);
}

/// One side of a device, unless it has none.
///
/// # Errors
/// Where the device is dead: what the system says.
fn side_of(device: &cpal::Device, side: Side) -> Result<Option<Device>, String> {
    let has_side = match side {
        Side::Output => device.supports_output(),
        Side::Input => device.supports_input(),
    };
    if !has_side {
        return Ok(None);
    }
    let Some(id) = hosts::own_name(device) else {
        return Ok(None);
    };
    let label = match device.description() {
        Ok(description) => description.name().to_owned(),
        Err(_) => id.clone(),
    };
    let (ability, problem) = match hosts::ability(device, side) {
        Ok(ability) if ability.offers.is_empty() => return Ok(None),
        Ok(ability) => (ability, None),
        // It is there; what keeps it may end.
        Err(error)
            if matches!(
                error.kind(),
                ErrorKind::DeviceBusy | ErrorKind::PermissionDenied
            ) =>
        {
            (super::choose::Ability::default(), Some(error.to_string()))
        }
        Err(error) => return Err(error.to_string()),
    };
    Ok(Some(Device {
        id,
        label,
        channels: ability.n_channels(),
        rates_hz: ability.rates_hz(),
        formats: ability.formats().iter().map(ToString::to_string).collect(),
        default_rate_hz: ability.default_hz,
        problem,
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sound_system_that_hangs_is_left_behind_with_what_it_named() {
        let device = Device {
            id: "named".to_owned(),
            label: "Named".to_owned(),
            channels: 2,
            rates_hz: vec![48_000],
            formats: vec![],
            default_rate_hz: None,
            problem: None,
        };
        let (to, found) = mpsc::channel();
        to.send(Found::Device(Side::Input, device)).unwrap();
        let until = Instant::now() + Duration::from_millis(50);
        let host = collect("alsa".to_owned(), &found, until);
        assert_eq!((host.inputs.len(), host.outputs.len()), (1, 0));
        assert!(host.problem.unwrap().contains("does not answer"));
        drop(to);
        let until = Instant::now() + Duration::from_secs(60);
        let host = collect("alsa".to_owned(), &found, until);
        assert!(host.problem.unwrap().contains("failed"));
    }
}
