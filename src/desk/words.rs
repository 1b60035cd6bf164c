//! A search for the level in words.

use crate::level::{Chosen, Goal, INPUT_PEAK_DBFS, Limit, Limitation, Reading};

/// What a burst showed, in a line.
pub fn burst_line(reading: &Reading) -> String {
    let mut line = format!(
        "Burst at {:.0} dBFS: inputs up to {:.0} dBFS",
        reading.playback_dbfs, reading.input_peak_dbfs
    );
    match (reading.readout, reading.relative_uncertainty) {
        (Some(seen), Some(u)) if u < 0.1 => line.push_str(&format!(
            ", fs about {:.0} Hz, ±{:.2} % from noise",
            seen.fs_hz.value,
            200.0 * u
        )),
        (_, Some(u)) => line.push_str(&format!(", ±{:.2} % from noise", 200.0 * u)),
        _ => line.push_str(", too quiet to read"),
    }
    if let Some(strained) = reading.strained {
        line.push_str(&format!("; {}", strain(strained)));
    }
    line
}

fn strain(limitation: Limitation) -> &'static str {
    match limitation {
        Limitation::Clipped => "an input clips",
        Limitation::OutputGaveIn => "the output delivers less than it should",
        Limitation::Distorted => "the driver distorts",
    }
}

/// Which level was chosen and why, in a line. `flags` are the command line's that change ceiling and length, if it has a reader
/// there.
pub fn chosen_line(chosen: &Chosen, goal: &Goal, flags: Option<[&str; 2]>) -> String {
    let flag = |i: usize| flags.map_or_else(String::new, |flags| format!(" ({})", flags[i]));
    let why = match chosen.limit {
        Limit::Served => "quiet, and enough".to_owned(),
        Limit::Ceiling => format!(
            "not louder, because of the ceiling of {:.0} dBFS{}",
            goal.ceiling_dbfs,
            flag(0)
        ),
        Limit::DriverVolts => format!(
            "not louder, so that the driver gets at most {} V at its resonance",
            goal.driver_peak_v
        ),
        Limit::InputPeak => format!(
            "not louder, so that the inputs stay below {:.0} dBFS",
            INPUT_PEAK_DBFS
        ),
        Limit::Strain(limitation) => format!("not louder, because {}", strain(limitation)),
    };
    let mut line = format!("Level: {:.0} dBFS, {why}.", chosen.playback_dbfs);
    if let Some(peak_v) = chosen.driver_peak_v {
        line.push_str(&format!(
            " The driver gets {:.0} mV at its resonance.",
            1000.0 * peak_v
        ));
    }
    if let Some(u) = chosen.relative_uncertainty
        && u > goal.relative_uncertainty
    {
        line.push_str(&format!(
            " Noise will leave about ±{:.1} %: make several takes, or longer ones{}.",
            200.0 * u,
            flag(1)
        ));
    }
    line
}
