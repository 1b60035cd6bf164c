//! What the guided measurement says and draws.

use farcone::jig::Wiring;
use farcone::session::{Condition, JigInput};

/// Everything that has to be known before the first sound.
pub const CAUTIONS: &[&str] = &[
    "Nobody wears headphones on the output in use, and no other loudspeaker hangs on it.",
    "Grounds: across the driver, the driver's minus is ground; across the resistor, neither driver terminal may touch ground.",
    "Amplifiers: never connect a bridged output (most small class-D boards, balanced outputs, some headphone jacks) to a \
     sound card's ground: neither of its terminals is ground. Measure DC between the two sleeves before joining them.",
    "Phantom power and plug-in power off before anything is plugged. Line or instrument inputs, both alike; their knobs stay \
     untouched after the jig check.",
    "Direct monitoring, sidetone and \"listen to this device\" off; sound effects and automatic gain off.",
    "A line input often takes only 1 to 2.5 V and may be damaged above about 5 V: behind a power amplifier use a divider, and \
     mute before plugging.",
    "A mono plug in a stereo jack shorts one channel.",
    "The resistor is rated at four times the power expected, and not wound as a coil. Start quiet; wear hearing protection \
     where it gets loud.",
    "Tweeters: start the sweep no lower than a quarter of their resonance (--start 200Hz), at a low level.",
    "Magnets are strong: fingers, pacemakers, cards, and tools that snap into the gap.",
    "Mains equipment is for qualified people; never lift a protective earth. Local codes come before anything said here.",
];

/// The wiring, drawn, with the node that all grounds meet at.
pub fn wiring(jig: &JigInput) -> String {
    // Ten columns, whatever the value.
    let ohm = format!("{:.5} ohm", jig.sense_ohm.value.to_string());
    let resistor = format!("[{ohm:^10}]");
    match jig.wiring {
        Wiring::AcrossDriver => format!(
            "
  output (left) ───┬───{resistor}───┬─────────┐
                   │                  │         │ +
              channel 1          channel 2   [driver]
             (source node)     (driver's +)     │ −
                                                │
  output ground ───────────────────────────────(●)  GROUND NODE: the driver's minus.
  both inputs' grounds ─────────────────────────┘   All grounds meet here.

"
        ),
        Wiring::AcrossResistor => format!(
            "
  amplifier + ─────┬──────[driver]─────┬─────────┐
                   │     (floating)    │         │
              channel 1         channel 2  {resistor}
             (source node)   (resistor's top)    │
                                                 │
  amplifier − (ground) ─────────────────────────(●)  GROUND NODE: the resistor's foot.
  both inputs' grounds ──────────────────────────┘   Neither driver terminal touches ground.

"
        ),
    }
}

/// How the jig is changed for a condition.
pub fn arrange(condition: &Condition, wiring: Wiring) -> String {
    match condition {
        Condition::SameNode => "Put channel 2's clip on the source node, beside channel 1's. Everything else stays. This shows how \
             the two inputs differ."
            .to_owned(),
        Condition::OpenLeads => "Channel 2's clip back to its place. Take the driver off, so that the two driver leads end open, \
             apart from each other. This shows what the inputs themselves draw."
            .to_owned(),
        Condition::ShortedLeads => "Clip the two driver leads onto each other. This measures the leads, which would otherwise count \
             as part of the driver."
            .to_owned(),
        Condition::CheckResistor { ohm } => format!(
            "Put the known resistor of {} ohm in the driver's place. If it reads right, the jig is right.",
            ohm.value
        ),
        Condition::FreeAir => match wiring {
            Wiring::AcrossDriver => "Connect the driver: its minus to the ground node. Clamp it by its frame, axis level, away from \
                 surfaces, cone and vent free. Quiet, no draught.",
            Wiring::AcrossResistor => "Connect the driver; neither of its terminals touches ground. Clamp it by its frame, axis level, \
                 away from surfaces, cone and vent free. Quiet, no draught.",
        }
        .to_owned(),
        Condition::AddedMass { mass_kg } => format!(
            "Stick {:.2} g onto the cone, spread evenly around its middle, firmly, with nothing loose. No magnetic metal.",
            1000.0 * mass_kg.value
        ),
        Condition::TestBox { volume_m3 } => format!(
            "Put the driver on the closed box of {:.3} L, airtight all around. Push the cone gently: it returns slowly if the box \
             is tight.",
            1000.0 * volume_m3.value
        ),
        _ => String::new(),
    }
}
