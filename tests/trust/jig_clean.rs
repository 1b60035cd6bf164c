//! Jigs without a fault are left alone, whatever was calibrated and whatever was not.

use farcone::bench::drivers;
use farcone::finding::Code;
use farcone::jig::Wiring;
use farcone::quantity::Stated;
use farcone::session::Condition;

use crate::fault::said;
use crate::scenario::{Scenario, Setup, What, clean, invented};

/// What is said about jigs; what the fit says of coils on uncalibrated inputs is another matter.
const JIG: [Code; 19] = [
    Code::ChannelsSwapped,
    Code::ChannelInverted,
    Code::WrongWiring,
    Code::DeadChannel,
    Code::DriverOpen,
    Code::DriverShorted,
    Code::SeriesCapacitor,
    Code::NoResonance,
    Code::ChannelsUnequal,
    Code::CornersDiffer,
    Code::Crosstalk,
    Code::LeadsLarge,
    Code::InputLoads,
    Code::CheckResistorDisagrees,
    Code::CheckUninformative,
    Code::SenseWrong,
    Code::MeterDisagrees,
    Code::PoorResidual,
    Code::NotConverged,
];

/// Adds open leads, shorted leads and a check resistor.
fn calibrated(scenario: &mut Scenario, same_node: bool) {
    if !same_node {
        scenario.without("same-node");
    }
    scenario.lead_ohm = None;
    scenario.add("open-leads", Condition::OpenLeads, What::Open);
    scenario.add("shorted-leads", Condition::ShortedLeads, What::Shorted);
    let check_ohm = match scenario.wiring {
        Wiring::AcrossDriver => 22.0,
        Wiring::AcrossResistor => 4.7,
    };
    let ohm = Stated::within(check_ohm, 0.01 * check_ohm);
    scenario.add(
        "check",
        Condition::CheckResistor { ohm },
        What::Resistor(check_ohm),
    );
}

/// All invented drivers; nothing calibrated, or everything, or all but one; levels, noise, sweeps and rates taken in turn.
#[test]
#[cfg_attr(debug_assertions, ignore = "minutes without optimisation")]
fn clean_jigs_give_no_caution() {
    let rates = [44_100.0, 48_000.0, 96_000.0];
    let mut wrong = vec![];
    for (i, driver) in drivers().iter().enumerate() {
        for (w, wiring) in [Wiring::AcrossDriver, Wiring::AcrossResistor]
            .into_iter()
            .enumerate()
        {
            let (about, model) = invented(driver);
            let setup = Setup {
                rate_hz: rates[i % 3],
                bits: if i % 2 == 0 { 16 } else { 24 },
                sweep_s: [2.0, 5.0, 3.0][i % 3],
                level_dbfs: [-6.0, -20.0, -12.0, -30.0][(i + w) % 4],
                noise_rms: [1e-5, 3e-5, 1e-4][i % 3]
                    * 10.0_f64.powf([-6.0, -20.0, -12.0, -30.0][(i + w) % 4] / 20.0),
                ..Setup::usual(wiring, 100 + i as u64)
            };
            for kind in 0..2 {
                if (i + w + kind) % 2 == 0 {
                    continue;
                }
                let mut scenario = clean(about, &model, &setup);
                match kind {
                    0 => scenario.without("same-node"),
                    _ => calibrated(&mut scenario, i % 4 < 2),
                }
                let sheet = scenario.run();
                for (code, severity) in said(&sheet) {
                    if severity != "note" && JIG.iter().any(|known| known.as_str() == code) {
                        wrong.push(format!(
                            "{} {} {kind}: {code} ({severity})",
                            driver.label,
                            wiring.as_str()
                        ));
                    }
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
