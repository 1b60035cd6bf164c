//! Sound systems and their devices, by name.

use cpal::traits::{DeviceTrait, HostTrait};
use cpal::{DeviceId, HostId, SupportedBufferSize};

use super::choose::{Ability, Offer};
use crate::capture::Side;

/// The sound system without a server between; what it says of rates and channels is not what a server would say.
const ALSA: &str = "alsa";
/// ALSA's plug-ins that are no devices: the null device runs as fast as it is asked to, the one for JACK prints to standard
/// error by itself, the others convert for another device.
const NO_DEVICES: [&str; 9] = [
    "null",
    "jack",
    "lavrate",
    "samplerate",
    "speexrate",
    "speex",
    "upmix",
    "vdownmix",
    "usbstream",
];
/// How many names a message lists.
const MOST_NAMES: usize = 8;

/// Keeps what ALSA says on this thread off the screen: it writes to standard error while plug-ins are tried.
pub(super) fn quiet() {
    #[cfg(target_os = "linux")]
    {
        // The handler stays for as long as the thread; the buffer is never read.
        let _ = alsa::Output::local_error_handler();
    }
}

/// Names of the sound systems, as they are typed.
pub(super) fn names() -> Vec<String> {
    cpal::available_hosts()
        .iter()
        .map(ToString::to_string)
        .collect()
}

/// Opens a sound system by its name. May hang.
pub(super) fn host(name: &str) -> Result<cpal::Host, String> {
    let id: HostId = name.parse().map_err(|_| {
        format!(
            "there is no sound system \"{name}\" here; there are: {}",
            names().join(", ")
        )
    })?;
    cpal::host_from_id(id).map_err(|error| error.to_string())
}

/// The device's own name, without the host's.
pub(super) fn own_name(device: &cpal::Device) -> Option<String> {
    Some(device.id().ok()?.id().to_owned())
}

/// Whether it is listed as a device and is none.
pub(super) fn is_no_device(device: &cpal::Device) -> bool {
    let id = device.id();
    id.is_ok_and(|id| id.host().to_string() == ALSA && is_no_alsa_device(id.id()))
}

fn is_no_alsa_device(id: &str) -> bool {
    NO_DEVICES.contains(&id.split(':').next().unwrap_or(id))
}

/// A name without the host's in front.
pub(super) fn without_host<'a>(host: &str, id: &'a str) -> &'a str {
    match id.split_once(':') {
        Some((prefix, rest)) if prefix.eq_ignore_ascii_case(host) => rest,
        _ => id,
    }
}

/// Finds a device by its own name. May hang.
pub(super) fn find(host: &cpal::Host, id: &str, side: Side) -> Result<cpal::Device, String> {
    let name = host.id().to_string();
    let wanted = without_host(&name, id);
    let has_side = |device: &cpal::Device| match side {
        Side::Output => device.supports_output(),
        Side::Input => device.supports_input(),
    };
    let mut other_names = vec![];
    for device in host.devices().map_err(|error| error.to_string())? {
        // Asked first: it costs nothing, while looking at a side may open the device.
        let own = own_name(&device);
        if own.as_deref() == Some(wanted) && has_side(&device) {
            return Ok(device);
        }
        if has_side(&device) && !is_no_device(&device) {
            other_names.extend(own);
        }
    }
    // Other spellings of the same device.
    if let Some(device) = host.device_by_id(&DeviceId::new(host.id(), wanted))
        && has_side(&device)
    {
        return Ok(device);
    }
    other_names.dedup();
    other_names.truncate(MOST_NAMES);
    Err(format!(
        "{name} has no {side} of that name (it has: {})",
        other_names.join(", ")
    ))
}

/// What one side of a device offers. May hang; opens the device on some sound systems.
pub(super) fn ability(device: &cpal::Device, side: Side) -> Result<Ability, cpal::Error> {
    let (offers, default) = match side {
        Side::Output => (
            device.supported_output_configs()?.map(offer).collect(),
            device.default_output_config(),
        ),
        Side::Input => (
            device.supported_input_configs()?.map(offer).collect(),
            device.default_input_config(),
        ),
    };
    let default = default.ok();
    let is_alsa = device.id().is_ok_and(|id| id.host().to_string() == ALSA);
    Ok(Ability {
        offers,
        own: default
            .filter(|_| !is_alsa)
            .map(|config| (config.channels(), config.sample_rate())),
        default_hz: default.map(|config| config.sample_rate()),
    })
}

fn offer(range: cpal::SupportedStreamConfigRange) -> Offer {
    Offer {
        n_channels: range.channels(),
        min_hz: range.min_sample_rate(),
        max_hz: range.max_sample_rate(),
        format: range.sample_format(),
        block: match range.buffer_size() {
            SupportedBufferSize::Range { min, max } => Some((*min, *max)),
            SupportedBufferSize::Unknown => None,
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_host_may_stand_in_front() {
        assert_eq!(without_host("alsa", "jig_play"), "jig_play");
        assert_eq!(without_host("alsa", "alsa:jig_play"), "jig_play");
        assert_eq!(without_host("alsa", "ALSA:hw:CARD=0"), "hw:CARD=0");
        assert_eq!(without_host("alsa", "hw:CARD=0,DEV=0"), "hw:CARD=0,DEV=0");
    }

    #[test]
    fn converters_are_no_devices_and_servers_are() {
        for id in ["null", "lavrate", "speex:x"] {
            assert!(is_no_alsa_device(id), "{id}");
        }
        for id in [
            "default",
            "pipewire",
            "pulse",
            "hw:CARD=0,DEV=0",
            "nullable",
        ] {
            assert!(!is_no_alsa_device(id), "{id}");
        }
    }

    #[test]
    fn an_unknown_sound_system_is_named() {
        let said = host("gramophone").map(|_| ()).unwrap_err();
        assert!(said.contains("gramophone"), "{said}");
    }
}
