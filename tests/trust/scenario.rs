//! A measurement on the virtual bench as somebody far away would make it: what is really there, and what they said.

use std::sync::Arc;

use farcone::air::{AirInput, PressureInput};
use farcone::bench::{self, Bench, BenchTake, Element, InventedDriver, Mounting, Noise};
use farcone::circuit::Circuit;
use farcone::faults::Played;
use farcone::fit::Choice;
use farcone::jig::Wiring;
use farcone::progress::Unwatched;
use farcone::quantity::Stated;
use farcone::recording::Take;
use farcone::session::{Condition, Cone, Data, JigInput, Session, SessionTake, TakeLevel, analyse};
use farcone::sheet::Sheet;
use farcone::signal::{Envelope, SynchronizedSweep};

/// How bad a fault is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Strength {
    /// Just enough to matter.
    Mild,
    /// Nobody could use the take.
    Severe,
}

impl Strength {
    /// One of two values.
    pub fn pick<T>(self, mild: T, severe: T) -> T {
        match self {
            Self::Mild => mild,
            Self::Severe => severe,
        }
    }
}

/// What hangs on the jig during a take.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum What {
    Driver(Mounting),
    Resistor(f64),
    SameNode,
    Shorted,
    Open,
}

/// The circuit of a driver in a mounting (`remount` counts how often it was put there, from 0) at a peak voltage of the source.
pub type Model = Arc<dyn Fn(&Mounting, usize, f64) -> (Arc<dyn Circuit>, Vec<f64>) + Send + Sync>;

/// Changes the samples of a take after it was recorded. The seed is the take's.
pub type Spoil = Arc<dyn Fn(&mut BenchTake, u64) + Send + Sync>;

/// Makes a take in another way than [`Bench::record`].
pub type Recorder = Arc<dyn Fn(&Plan) -> BenchTake + Send + Sync>;

/// One take: what really happens, and what it is said to be.
#[derive(Clone)]
pub struct Plan {
    pub name: String,
    pub condition: Condition,
    pub what: What,
    pub model: Model,
    pub remount: usize,
    pub bench: Bench,
    /// The source's voltage, silence included.
    pub stimulus: Arc<Vec<f64>>,
    pub rate_hz: f64,
    /// The rate that the header states, where it is wrong.
    pub header_hz: Option<u32>,
    /// Bits of the file; `None`: floating point.
    pub spoil: Vec<Spoil>,
    pub recorder: Option<Recorder>,
    pub seed: u64,
    pub level: Option<TakeLevel>,
    pub remounted: bool,
    pub aside: bool,
}

impl Plan {
    pub fn record(&self) -> Take {
        let mut made = match &self.recorder {
            Some(recorder) => recorder(self),
            None => self.on_the_bench(),
        };
        for spoil in &self.spoil {
            spoil(&mut made, self.seed);
        }
        let rate_hz = self.header_hz.unwrap_or(made.sample_rate_hz as u32);
        Take::new(rate_hz, made.source, made.driver).unwrap()
    }

    pub fn peak_v(&self) -> f64 {
        self.stimulus.iter().fold(0.0, |m: f64, v| m.max(v.abs()))
    }

    pub fn on_the_bench(&self) -> BenchTake {
        let record = |element: &Element<'_>| {
            self.bench
                .record(element, &self.stimulus, self.rate_hz, self.seed)
                .unwrap()
        };
        match self.what {
            What::Driver(mounting) => {
                let (circuit, values) = (self.model)(&mounting, self.remount, self.peak_v());
                record(&Element::Driver {
                    circuit: circuit.as_ref(),
                    values: &values,
                })
            }
            What::Resistor(ohm) => record(&Element::Resistor(ohm)),
            What::SameNode => record(&Element::SameNode),
            What::Shorted => record(&Element::Shorted),
            What::Open => record(&Element::Open),
        }
    }
}

/// A whole session: what happens and what is typed.
#[derive(Clone)]
pub struct Scenario {
    /// Resonance, moving mass and cone of the real driver, as far as planning needs them.
    pub about: About,
    pub plans: Vec<Plan>,
    pub wiring: Wiring,
    pub sense_ohm: Stated,
    pub lead_ohm: Option<Stated>,
    pub input_load_ohm: Option<Stated>,
    pub swap_channels: bool,
    pub meter_re_ohm: Option<Stated>,
    pub cone: Option<Cone>,
    /// Whether the stimulus is handed over with the takes.
    pub played: bool,
}

/// What planning has to know about a driver.
#[derive(Clone, Copy, Debug)]
pub struct About {
    pub fs_hz: f64,
    pub re_ohm: f64,
    pub mms_kg: f64,
    pub vas_m3: f64,
    pub sd_m2: f64,
}

/// How a session is set up.
#[derive(Clone, Copy, Debug)]
pub struct Setup {
    pub wiring: Wiring,
    pub rate_hz: f64,
    pub bits: u32,
    pub sweep_s: f64,
    /// Peak of the source, V; full scale of the inputs is 1 V across the driver, and a fifth of it across a resistor of 1.5 ohm.
    pub level_dbfs: f64,
    pub noise_rms: f64,
    pub boxed: bool,
    pub seed: u64,
}

impl Setup {
    pub fn usual(wiring: Wiring, seed: u64) -> Self {
        Self {
            wiring,
            rate_hz: 48_000.0,
            bits: 24,
            sweep_s: 2.5,
            level_dbfs: -12.0,
            noise_rms: 2e-5,
            boxed: false,
            seed,
        }
    }
}

/// The air on the bench, and in every session here: what the person reads is right within its spread.
pub const RHO_C2_PA: f64 = 141_911.0;

/// Added mass that lowers the resonance by a quarter.
pub fn good_mass_kg(about: &About) -> f64 {
    about.mms_kg * (0.75_f64.powi(-2) - 1.0)
}

/// A box that raises it by six tenths.
pub fn good_volume_m3(about: &About) -> f64 {
    about.vas_m3 / (1.6_f64.powi(2) - 1.0)
}

/// A driver of the first set as a model: nothing about it depends on level or mounting.
pub fn invented(driver: &'static InventedDriver) -> (About, Model) {
    let truth = driver.truth();
    let about = About {
        fs_hz: truth.fs_hz,
        re_ohm: truth.re_ohm,
        mms_kg: truth.mms_kg,
        vas_m3: truth.vas_m3(RHO_C2_PA),
        sd_m2: truth.sd_m2,
    };
    let model: Model = Arc::new(move |mounting, _, _| {
        let (circuit, values) = driver.set_up(mounting);
        (Arc::new(circuit) as Arc<dyn Circuit>, values)
    });
    (about, model)
}

/// A session without any fault: calibrated on one node, two free-air takes, one loaded, everything typed right.
pub fn clean(about: About, model: &Model, setup: &Setup) -> Scenario {
    let across_driver = setup.wiring == Wiring::AcrossDriver;
    let mut bench = if across_driver {
        Bench::new(bench::Wiring::AcrossDriver, 47.0)
    } else {
        Bench::new(bench::Wiring::AcrossResistor, 1.5)
    };
    bench.source_ohm = if across_driver { 10.0 } else { 0.2 };
    bench.lead_ohm = 0.04;
    for channel in [&mut bench.source, &mut bench.driver] {
        channel.coupling_hz = Some(2.0);
        channel.noise = Noise::Rms(setup.noise_rms);
        channel.bits = Some(setup.bits);
    }
    bench.driver.gain = 1.004;
    let stimulus = Arc::new(sweep(setup, about.fs_hz));
    let plan = |index: u64, name: &str, condition, what| Plan {
        name: name.to_owned(),
        condition,
        what,
        model: Arc::clone(model),
        remount: 0,
        bench: bench.clone(),
        stimulus: Arc::clone(&stimulus),
        rate_hz: setup.rate_hz,
        header_hz: None,
        spoil: vec![],
        recorder: None,
        seed: setup.seed.wrapping_mul(1000).wrapping_add(index),
        level: None,
        remounted: false,
        aside: false,
    };
    let free = What::Driver(Mounting::FreeAir);
    let loaded = if setup.boxed {
        let volume_m3 = good_volume_m3(&about);
        let mounting = Mounting::TestBox {
            volume_m3,
            rho_c2_pa: RHO_C2_PA,
            air_load_kg: 0.0,
            inverse_ql: 0.0,
        };
        let volume_m3 = Stated::within(volume_m3, 0.02 * volume_m3);
        plan(
            4,
            "test-box",
            Condition::TestBox { volume_m3 },
            What::Driver(mounting),
        )
    } else {
        let added_mass_kg = good_mass_kg(&about);
        let mass_kg = Stated::within(added_mass_kg, 0.005 * added_mass_kg);
        let mounting = Mounting::AddedMass { added_mass_kg };
        plan(
            4,
            "added-mass",
            Condition::AddedMass { mass_kg },
            What::Driver(mounting),
        )
    };
    let sense_ohm = bench.sense_ohm;
    let diameter_m = 2.0 * (about.sd_m2 / std::f64::consts::PI).sqrt();
    Scenario {
        about,
        plans: vec![
            plan(1, "same-node", Condition::SameNode, What::SameNode),
            plan(2, "free-air-1", Condition::FreeAir, free),
            plan(3, "free-air-2", Condition::FreeAir, free),
            loaded,
        ],
        wiring: setup.wiring,
        sense_ohm: Stated::within(sense_ohm, 0.01 * sense_ohm),
        lead_ohm: Some(Stated::within(0.04, 0.02)),
        input_load_ohm: None,
        swap_channels: false,
        meter_re_ohm: Some(Stated::within(about.re_ohm, 0.1 + 0.01 * about.re_ohm)),
        cone: Some(Cone::Diameter(Stated::within(diameter_m, 1e-3))),
        played: false,
    }
}

/// The sweep of a setup: from a fifth of the resonance, 5 Hz at the lowest and 60 Hz at the highest, to 20 kHz.
pub fn sweep(setup: &Setup, fs_hz: f64) -> Vec<f64> {
    sweep_between(setup, (0.2 * fs_hz).clamp(5.0, 60.0), 20_000.0)
}

/// A sweep between two frequencies, Hz.
pub fn sweep_between(setup: &Setup, start_hz: f64, stop_hz: f64) -> Vec<f64> {
    let envelope = Envelope {
        sample_rate_hz: setup.rate_hz,
        level_dbfs: setup.level_dbfs,
        ..Envelope::default()
    };
    SynchronizedSweep {
        start_hz,
        stop_hz,
        duration_s: setup.sweep_s,
        envelope,
    }
    .samples()
    .unwrap()
}

impl Scenario {
    /// The takes of a condition, by its name.
    pub fn of(&mut self, condition: &str) -> impl Iterator<Item = &mut Plan> {
        self.plans
            .iter_mut()
            .filter(move |plan| plan.condition.as_str() == condition)
    }

    /// The driver's takes.
    pub fn driver_takes(&mut self) -> impl Iterator<Item = &mut Plan> {
        self.plans
            .iter_mut()
            .filter(|plan| !plan.condition.is_calibration())
    }

    /// Leaves the takes of a condition out.
    pub fn without(&mut self, condition: &str) {
        self.plans
            .retain(|plan| plan.condition.as_str() != condition);
    }

    /// A take more, like the first free-air take.
    pub fn add(&mut self, name: &str, condition: Condition, what: What) -> &mut Plan {
        let like = self
            .plans
            .iter()
            .find(|plan| plan.condition == Condition::FreeAir);
        let mut plan = like.unwrap().clone();
        plan.seed += 10 + self.plans.len() as u64;
        (plan.name, plan.condition, plan.what) = (name.to_owned(), condition, what);
        self.plans.push(plan);
        self.plans.last_mut().unwrap()
    }

    /// An added mass as the loaded take, if there is none: some faults need one.
    pub fn weighed(&mut self) {
        self.without("test-box");
        if self.of("added-mass").next().is_none() {
            let added_mass_kg = good_mass_kg(&self.about);
            let mass_kg = Stated::within(added_mass_kg, 0.005 * added_mass_kg);
            let mounting = Mounting::AddedMass { added_mass_kg };
            self.add(
                "added-mass",
                Condition::AddedMass { mass_kg },
                What::Driver(mounting),
            );
        }
    }

    /// The same change of the samples in every take.
    pub fn spoil(&mut self, spoil: impl Fn(&mut BenchTake, u64) + Send + Sync + 'static) {
        let spoil: Spoil = Arc::new(spoil);
        for plan in &mut self.plans {
            plan.spoil.push(Arc::clone(&spoil));
        }
    }

    /// The same change of the bench in every take.
    pub fn bench(&mut self, change: impl Fn(&mut Bench)) {
        for plan in &mut self.plans {
            change(&mut plan.bench);
        }
    }

    pub fn session(&self) -> Session {
        let takes = self.plans.iter().map(|plan| SessionTake {
            name: plan.name.clone(),
            condition: plan.condition,
            data: Data::Recording(plan.record()),
            findings: vec![],
            sha256: vec![],
            remounted: plan.remounted,
            level: plan.level,
            aside: plan.aside,
        });
        Session {
            label: "trust".to_owned(),
            jig: Some(JigInput {
                wiring: self.wiring,
                sense_ohm: self.sense_ohm,
                lead_ohm: self.lead_ohm,
                input_load_ohm: [None, self.input_load_ohm],
                swap_channels: self.swap_channels,
            }),
            air: AirInput {
                temperature_k: Some(Stated::within(293.15, 1.0)),
                pressure: Some(PressureInput::Pressure(Stated::within(101_325.0, 200.0))),
                relative_humidity: Some(Stated::within(0.5, 0.1)),
            },
            cone: self.cone,
            meter_re_ohm: self.meter_re_ohm,
            dimensions: Default::default(),
            photos: vec![],
            band_hz: Session::DEFAULT_BAND_HZ,
            choice: Choice::default(),
            n_draws: 2_000,
            seed: 1,
            played: self.played.then(|| {
                let first = &self.plans[0];
                Played {
                    samples: first.stimulus.iter().map(|v| *v as f32).collect(),
                    sample_rate_hz: first.rate_hz as u32,
                }
            }),
            takes: takes.collect(),
        }
    }

    pub fn run(&self) -> Sheet {
        analyse(self.session(), &mut Unwatched).unwrap()
    }
}
