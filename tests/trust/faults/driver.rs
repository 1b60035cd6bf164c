//! What goes wrong with the driver itself.

use std::f64::consts::TAU;
use std::sync::Arc;

use farcone::Complex64;
use farcone::bench::{Buzz, ExtraResonance, Mounting, NonlinearDriver, Rub};
use farcone::circuit::{Circuit, Glance, Parameter};
use farcone::finding::{Code, Verdict};
use farcone::session::{Condition, TakeLevel};

use crate::fault::{Expect, Fault};
use crate::scenario::{Model, Scenario, What};

/// What is not linear moves with the load, and no circuit follows it.
const OF_A_BEND: &[Code] = &[
    Code::CoilUnsure,
    Code::PoorResidual,
    Code::MassFormulasDisagree,
    Code::ExtraLoop,
    Code::MeterDisagrees,
    Code::MassShiftSmall,
    Code::MassShiftLarge,
    Code::MassForgotten,
    Code::DriversDiffer,
    Code::CoilWarmed,
    Code::NotConverged,
    Code::NotIdentifiable,
    Code::Implausible,
];
const OF_A_LOOP: &[Code] = &[Code::CoilUnsure, Code::PoorResidual, Code::SecondResonance];

pub fn faults() -> Vec<Fault> {
    let usable = |code| Expect::named(code, Verdict::Usable);
    let redo = |code| Expect::named(code, Verdict::Redo);
    // A loop that no model follows also leaves the coil in doubt, and a large one all of the fit.
    vec![
        Fault {
            name: "driver still in a box with a port",
            group: "driver",
            inject: |scenario, strength, dice| {
                let tuning = strength.pick(dice.ratio(0.55, 0.65), dice.ratio(0.8, 1.1));
                let extra = ExtraResonance::VentedBox {
                    frequency_hz: tuning * scenario.about.fs_hz,
                    ql: dice.ratio(6.0, 12.0),
                    stiffness_ratio: strength.pick(dice.ratio(0.5, 0.8), dice.ratio(1.0, 2.0)),
                };
                beside_the_cone(scenario, extra);
            },
            mild: redo(Code::SecondResonance),
            severe: redo(Code::SecondResonance),
        },
        Fault {
            name: "coil warmer in the loaded take",
            group: "driver",
            inject: |scenario, strength, dice| {
                let warmer = strength.pick(dice.between(0.025, 0.035), dice.between(0.06, 0.12));
                for plan in scenario.driver_takes() {
                    if plan.condition != Condition::FreeAir {
                        plan.model = warmed(&plan.model, 1.0 + warmer);
                    }
                }
            },
            mild: usable(Code::CoilWarmed),
            severe: usable(Code::CoilWarmed),
        },
        Fault {
            name: "coil warms from take to take",
            group: "driver",
            inject: |scenario, strength, dice| {
                let warmer = strength.pick(dice.between(0.012, 0.016), dice.between(0.03, 0.06));
                for (i, plan) in scenario.driver_takes().enumerate() {
                    plan.model = warmed(&plan.model, 1.0 + warmer * i as f64);
                }
            },
            mild: usable(Code::CoilWarmed),
            // The meter's reading was made while it was cold.
            severe: Expect::with(Code::CoilWarmed, Verdict::Usable, &[Code::MeterDisagrees]),
        },
        Fault {
            name: "coil rubs in the gap",
            group: "driver",
            inject: |scenario, strength, dice| {
                let share = strength.pick(dice.ratio(0.1, 0.2), dice.ratio(1.0, 2.0));
                moved(scenario, move |driver, at| {
                    driver.rub = Some(Rub {
                        from_m: 0.3 * at.excursion_m,
                        friction_n: share * at.force_n,
                        roughness: 0.8,
                        grain_m: 0.1 * at.excursion_m,
                        speed_m_per_s: 0.02 * at.speed_m_per_s,
                    });
                });
            },
            mild: Expect::with(Code::Distorted, Verdict::Usable, OF_A_BEND),
            severe: Expect::with(Code::Distorted, Verdict::Redo, OF_A_BEND),
        },
        Fault {
            name: "driver runs in while it is measured",
            group: "driver",
            inject: |scenario, strength, dice| {
                let falls = strength.pick(dice.between(0.008, 0.02), dice.between(0.05, 0.08));
                let free = What::Driver(Mounting::FreeAir);
                scenario.add("free-air-3", Condition::FreeAir, free);
                scenario.add("free-air-4", Condition::FreeAir, free);
                let mms_kg = scenario.about.mms_kg;
                let (n, mut i) = (4.0, 0.0);
                for plan in scenario.of("free-air") {
                    // Heavier by twice as much as fs falls: what a softer suspension does to fs.
                    let fs = 1.0 - falls * i / (n - 1.0);
                    let added_mass_kg = mms_kg * (fs.powi(-2) - 1.0);
                    plan.what = What::Driver(Mounting::AddedMass { added_mass_kg });
                    i += 1.0;
                }
            },
            mild: Expect::named(Code::ResonanceDrifts, Verdict::Good),
            severe: Expect::with(
                Code::ResonanceDrifts,
                Verdict::Usable,
                &[Code::TakesDiffer, Code::MassFormulasDisagree],
            ),
        },
        Fault {
            name: "resonance moves with the level",
            group: "driver",
            inject: |scenario, strength, dice| {
                let falls = strength.pick(dice.between(0.037, 0.052), dice.between(0.08, 0.12));
                // A second free-air take, 12 dB louder, that only compares levels.
                let mms_kg = scenario.about.mms_kg;
                let at = |playback_dbfs| {
                    Some(TakeLevel {
                        playback_dbfs,
                        driver_peak_v: None,
                    })
                };
                for plan in scenario.of("free-air") {
                    plan.level = at(-24.0);
                }
                let added_mass_kg = mms_kg * ((1.0 - falls).powi(-2) - 1.0);
                let softer = What::Driver(Mounting::AddedMass { added_mass_kg });
                let plan = scenario.add("free-air-loud", Condition::FreeAir, softer);
                (plan.level, plan.aside) = (at(-12.0), true);
            },
            mild: Expect::named(Code::LevelShift, Verdict::Good),
            severe: Expect::named(Code::LevelShift, Verdict::Usable),
        },
        Fault {
            name: "something on the cone buzzes",
            group: "driver",
            inject: |scenario, strength, dice| {
                let share = strength.pick(dice.ratio(0.007, 0.01), dice.ratio(0.12, 0.2));
                moved(scenario, move |driver, at| {
                    let mass_kg = share * driver.mms_kg;
                    let omega = TAU * 2_000.0_f64.max(10.0 * at.fs_hz);
                    driver.buzz = Some(Buzz {
                        mass_kg,
                        held_n: 0.3 * mass_kg * at.speed_m_per_s * TAU * at.fs_hz,
                        contact_n_per_m: mass_kg * omega * omega,
                        contact_kg_per_s: 0.2 * mass_kg * omega,
                    });
                });
            },
            mild: Expect::with(Code::Distorted, Verdict::Usable, OF_A_BEND),
            severe: Expect::with(Code::Distorted, Verdict::Redo, OF_A_BEND),
        },
        Fault {
            name: "played too loud for the suspension",
            group: "driver",
            inject: |scenario, strength, dice| {
                let share = strength.pick(dice.ratio(2.5, 4.0), dice.ratio(6.0, 9.0));
                moved(scenario, move |driver, at| {
                    driver.stiffness_bend = [0.0, share / at.excursion_m.powi(2)];
                });
            },
            mild: Expect::with(Code::Distorted, Verdict::Redo, OF_A_BEND),
            severe: Expect::with(Code::Distorted, Verdict::Redo, OF_A_BEND),
        },
        Fault {
            name: "something rides on the cone",
            group: "driver",
            inject: |scenario, strength, dice| {
                let ratio = dice.ratio(2.5, 6.0);
                let frequency_hz =
                    strength.pick(ratio, dice.ratio(2.0, 4.0)) * scenario.about.fs_hz;
                let extra = ExtraResonance::Rider {
                    frequency_hz,
                    q: dice.ratio(12.0, 40.0),
                    mass_ratio: strength.pick(dice.ratio(0.01, 0.02), dice.ratio(0.03, 0.05)),
                };
                beside_the_cone(scenario, extra);
            },
            mild: Expect::with(Code::ExtraLoop, Verdict::Usable, OF_A_LOOP),
            severe: Expect::with(Code::ExtraLoop, Verdict::Usable, OF_A_LOOP),
        },
    ]
}

/// How a driver moves at its resonance in a take.
struct Motion {
    fs_hz: f64,
    excursion_m: f64,
    speed_m_per_s: f64,
    /// What its mechanical resistance takes, N.
    force_n: f64,
}

/// Takes of a driver that is not linear: like the real one as far as its impedance tells, with whatever `change` makes of it.
fn moved(
    scenario: &mut Scenario,
    change: impl Fn(&mut NonlinearDriver, &Motion) + Send + Sync + 'static,
) {
    let about = scenario.about;
    let change = Arc::new(change);
    for plan in scenario.driver_takes() {
        let change = Arc::clone(&change);
        plan.recorder = Some(Arc::new(move |plan| {
            let What::Driver(mounting) = plan.what else {
                return plan.on_the_bench();
            };
            let (added_mass_kg, air_n_per_m) = match mounting {
                Mounting::AddedMass { added_mass_kg } => (added_mass_kg, 0.0),
                Mounting::TestBox {
                    volume_m3,
                    rho_c2_pa,
                    ..
                } => (0.0, rho_c2_pa * about.sd_m2.powi(2) / volume_m3),
                _ => (0.0, 0.0),
            };
            let free = Mounting::FreeAir;
            let (circuit, values) = (plan.model)(&free, plan.remount, plan.peak_v());
            let z = |f_hz: f64| circuit.impedance(f_hz, &values);
            // At its resonance the driver is Re and Bl²/Rms; an octave above, Bl²/(jω·1.5·Mms) on top of the coil.
            let omega = TAU * about.fs_hz;
            let motional = |m_kg: f64| {
                let mounting = Mounting::AddedMass {
                    added_mass_kg: m_kg,
                };
                let (circuit, values) = (plan.model)(&mounting, plan.remount, plan.peak_v());
                circuit.impedance(2.0 * about.fs_hz, &values)
            };
            let (z0, z1, z2) = (
                motional(0.0),
                motional(about.mms_kg),
                motional(2.0 * about.mms_kg),
            );
            let rest = (z1 * (z0 + z2) - 2.0 * z0 * z2) / (2.0 * z1 - z0 - z2);
            let step = Complex64::new(0.0, 2.0 * omega * about.mms_kg);
            let bl_t_m = (step / ((z1 - rest).inv() - (z0 - rest).inv())).re.sqrt();
            let rms_kg_per_s = bl_t_m.powi(2) / (z(about.fs_hz).re - about.re_ohm);
            let le_h = (z(10_000.0).im / (TAU * 10_000.0)).max(1e-5);
            let l2_h = (z(1_000.0).im / (TAU * 1_000.0) - le_h).max(0.0);
            let mut driver = NonlinearDriver {
                re_ohm: about.re_ohm,
                le_h,
                l2_h,
                r2_ohm: TAU * 3_000.0 * l2_h,
                bl_t_m,
                bl_bend: [0.0; 2],
                mms_kg: about.mms_kg,
                stiffness_n_per_m: about.mms_kg * omega * omega,
                stiffness_bend: [0.0; 2],
                rms_kg_per_s,
                rub: None,
                buzz: None,
                stop: None,
            };
            let bench = &plan.bench;
            let loop_ohm = bench.source_ohm + bench.sense_ohm + bench.lead_ohm;
            let current = plan.peak_v() / (loop_ohm + about.re_ohm + bl_t_m.powi(2) / rms_kg_per_s);
            let speed_m_per_s = bl_t_m * current / rms_kg_per_s;
            let motion = Motion {
                fs_hz: about.fs_hz,
                excursion_m: speed_m_per_s / omega,
                speed_m_per_s,
                force_n: rms_kg_per_s * speed_m_per_s,
            };
            change(&mut driver, &motion);
            driver.mms_kg += added_mass_kg;
            driver.stiffness_n_per_m += air_n_per_m;
            bench
                .record_nonlinear(&driver, &plan.stimulus, plan.rate_hz, plan.seed)
                .unwrap()
        }));
    }
}

/// Every take of the driver with something that resonates beside its cone.
fn beside_the_cone(scenario: &mut Scenario, extra: ExtraResonance) {
    let about = scenario.about;
    let stiffness = about.mms_kg * (TAU * about.fs_hz).powi(2);
    for plan in scenario.driver_takes() {
        let model = Arc::clone(&plan.model);
        plan.model = Arc::new(move |mounting, remount, peak_v| {
            let carried_kg = match *mounting {
                Mounting::FreeAir => 0.0,
                Mounting::AddedMass { added_mass_kg } => added_mass_kg,
                // Nothing rides where the load is no mass: what it does cannot be taken apart.
                _ => return model(mounting, remount, peak_v),
            };
            let with = |times: f64| {
                let added_mass_kg = carried_kg + times * about.mms_kg;
                model(&Mounting::AddedMass { added_mass_kg }, remount, peak_v)
            };
            let circuit = Beside {
                heavier: [with(0.0), with(1.0), with(2.0)],
                step_kg: about.mms_kg,
                extra: Box::new(move |f_hz| {
                    extra.mechanical_impedance(f_hz, about.mms_kg, stiffness)
                }),
            };
            let values = circuit.heavier[0].1.clone();
            (Arc::new(circuit) as Arc<dyn Circuit>, values)
        });
    }
}

/// Any driver with a further mechanical impedance on its cone. A driver with no, one and two further masses m on its cone has the
/// impedances Z0, Z1, Z2 = A + 1/(y + n·jωm·b), which tell A, y and b = 1/Bl².
struct Beside {
    heavier: [(Arc<dyn Circuit>, Vec<f64>); 3],
    step_kg: f64,
    extra: Box<dyn Fn(f64) -> Complex64 + Send + Sync>,
}

impl Circuit for Beside {
    fn name(&self) -> &str {
        "with something beside the cone"
    }
    fn parameters(&self) -> &[Parameter] {
        self.heavier[0].0.parameters()
    }
    fn impedance(&self, f_hz: f64, _: &[f64]) -> Complex64 {
        let z = |i: usize| self.heavier[i].0.impedance(f_hz, &self.heavier[i].1);
        let (z0, z1, z2) = (z(0), z(1), z(2));
        let rest = (z1 * (z0 + z2) - 2.0 * z0 * z2) / (2.0 * z1 - z0 - z2);
        let y = (z0 - rest).inv();
        let b = ((z1 - rest).inv() - y) / Complex64::new(0.0, TAU * f_hz * self.step_kg);
        let beside = rest + (y + (self.extra)(f_hz) * b).inv();
        // Near 0 Hz no mass tells anything.
        if beside.is_finite() && f_hz > 1.0 {
            beside
        } else {
            z0
        }
    }
    fn impedance_and_derivatives(&self, f: f64, v: &[f64], _: &mut [Complex64]) -> Complex64 {
        self.impedance(f, v)
    }
    fn start(&self, _: &Glance) -> Vec<f64> {
        vec![]
    }
}

/// The same driver with a DC resistance higher by a factor.
fn warmed(model: &Model, factor: f64) -> Model {
    let model = Arc::clone(model);
    Arc::new(move |mounting, remount, peak_v| {
        let (circuit, mut values) = model(mounting, remount, peak_v);
        let re = circuit.parameters().iter().position(|p| p.name == "re_ohm");
        values[re.unwrap()] *= factor;
        (circuit, values)
    })
}
