//! A session on the virtual bench, for tests that need one.
#![allow(dead_code, reason = "each test file uses its own part")]

pub mod outside;

use farcone::Complex64;
use farcone::air::{Air, AirInput, PressureInput};
use farcone::bench::{self, Bench, Element, InventedDriver, Mounting};
use farcone::fit::Choice;
use farcone::jig::Wiring;
use farcone::progress::Unwatched;
use farcone::quantity::{Spread, Stated};
use farcone::recording::Take;
use farcone::session::{Condition, Cone, Data, JigInput, Session, SessionTake, analyse};
use farcone::sheet::Sheet;
use farcone::signal::{Envelope, SynchronizedSweep};

/// A number from 0 to 1 that depends on the seed alone.
pub fn chance(seed: u64, salt: u64) -> f64 {
    let mut x = seed
        .wrapping_mul(0x9E37_79B9_7F4A_7C15)
        .wrapping_add(salt.wrapping_mul(0xBF58_476D_1CE4_E5B9));
    for _ in 0..3 {
        x ^= x >> 31;
        x = x.wrapping_mul(0x94D0_49BB_1331_11EB);
    }
    (x >> 11) as f64 / (1_u64 << 53) as f64
}

/// The air of all tests: 20 °C, 1013.25 hPa, 50 %.
pub const AIR: Air = Air {
    temperature_k: 293.15,
    pressure_pa: 101_325.0,
    relative_humidity: 0.5,
};

/// A value known without doubt, which only a test has.
pub fn exact(value: f64) -> Stated {
    Stated {
        value,
        spread: Spread::Standard(1e-9 * value),
    }
}

pub fn exact_air() -> AirInput {
    AirInput {
        temperature_k: Some(exact(AIR.temperature_k)),
        pressure: Some(PressureInput::Pressure(exact(AIR.pressure_pa))),
        relative_humidity: Some(exact(AIR.relative_humidity)),
    }
}

/// A sweep from 5 Hz (tweeters: 20 Hz) to 20 kHz.
pub fn sweep(duration_s: f64, rate_hz: f64) -> Vec<f64> {
    let envelope = Envelope {
        sample_rate_hz: rate_hz,
        level_dbfs: -12.0,
        ..Default::default()
    };
    SynchronizedSweep {
        duration_s,
        envelope,
        ..Default::default()
    }
    .samples()
    .unwrap()
}

pub struct Jig {
    pub bench: Bench,
    pub rate_hz: f64,
}

impl Jig {
    pub fn new(wiring: Wiring, sense_ohm: f64) -> Self {
        let wiring = match wiring {
            Wiring::AcrossDriver => bench::Wiring::AcrossDriver,
            Wiring::AcrossResistor => bench::Wiring::AcrossResistor,
        };
        Self {
            bench: Bench::new(wiring, sense_ohm),
            rate_hz: 48_000.0,
        }
    }

    pub fn wiring(&self) -> Wiring {
        match self.bench.wiring {
            bench::Wiring::AcrossDriver => Wiring::AcrossDriver,
            _ => Wiring::AcrossResistor,
        }
    }

    pub fn record(&self, element: &Element<'_>, stimulus: &[f64], seed: u64) -> Data {
        let take = self
            .bench
            .record(element, stimulus, self.rate_hz, seed)
            .unwrap();
        Data::Recording(Take::new(self.rate_hz as u32, take.source, take.driver).unwrap())
    }

    /// A take of the driver.
    pub fn driver(
        &self,
        driver: &InventedDriver,
        mounting: &Mounting,
        stimulus: &[f64],
        seed: u64,
    ) -> Data {
        let (circuit, values) = driver.set_up(mounting);
        self.record(
            &Element::Driver {
                circuit: &circuit,
                values: &values,
            },
            stimulus,
            seed,
        )
    }
}

pub fn take(name: &str, condition: Condition, data: Data) -> SessionTake {
    SessionTake {
        name: name.to_owned(),
        condition,
        data,
        findings: vec![],
        sha256: vec![],
        remounted: false,
        level: None,
        aside: false,
    }
}

/// A session with everything known exactly; takes to be added.
pub fn session(jig: &Jig, sd_m2: f64, takes: Vec<SessionTake>) -> Session {
    let none = Stated {
        value: 1e-12,
        spread: Spread::Standard(1e-12),
    };
    Session {
        label: "test".to_owned(),
        jig: Some(JigInput {
            wiring: jig.wiring(),
            sense_ohm: exact(jig.bench.sense_ohm),
            lead_ohm: Some(none),
            input_load_ohm: [None, Some(exact(1e12))],
            swap_channels: false,
        }),
        air: exact_air(),
        cone: Some(Cone::Area(exact(sd_m2))),
        meter_re_ohm: None,
        dimensions: Default::default(),
        photos: vec![],
        band_hz: Session::DEFAULT_BAND_HZ,
        choice: Choice::default(),
        n_draws: Session::DEFAULT_DRAWS,
        seed: 1,
        played: None,
        takes,
    }
}

/// Mass that lowers fs by a quarter.
pub fn good_mass(driver: &InventedDriver) -> f64 {
    driver.mms_kg * (1.0 / 0.75_f64.powi(2) - 1.0)
}

pub fn magnitude(z: Complex64) -> f64 {
    z.norm()
}

/// A real sheet of a free-air take and one with an added mass.
pub fn with_added_mass() -> Sheet {
    let driver = &bench::drivers()[3];
    let jig = Jig::new(Wiring::AcrossDriver, 47.0);
    let stimulus = sweep(2.0, jig.rate_hz);
    let mass_kg = good_mass(driver);
    let free = jig.driver(driver, &Mounting::FreeAir, &stimulus, 1);
    let heavy = Mounting::AddedMass {
        added_mass_kg: mass_kg,
    };
    let heavy = jig.driver(driver, &heavy, &stimulus, 2);
    let mass_kg = Stated::within(mass_kg, 0.01 * mass_kg);
    let takes = vec![
        take("free-air", Condition::FreeAir, free),
        take("added-mass", Condition::AddedMass { mass_kg }, heavy),
    ];
    analyse(session(&jig, driver.sd_m2, takes), &mut Unwatched).unwrap()
}
