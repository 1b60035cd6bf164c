//! Two channels from one input: what the core finds in recordings of the virtual bench.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test fails by panicking"
)]

mod common;

use farcone::Complex64;
use farcone::bench::{self, Bench, Element, InventedDriver, Mounting, Noise, OneClip, Slip};
use farcone::progress::Unwatched;
use farcone::signal::{
    Envelope, Multisine, OneInput, OneInputError, Period, RatioSettings, one_input,
};

const RATE_HZ: u32 = 48_000;
const PERIOD: Period = Period {
    frames: 67_200,
    sample_rate_hz: RATE_HZ,
};

fn played() -> Vec<f64> {
    let envelope = Envelope {
        level_dbfs: -20.0,
        ..Envelope::default()
    };
    let multisine = Multisine {
        period_s: 1.4,
        envelope,
        ..Multisine::default()
    };
    multisine.period().unwrap()
}

fn settings() -> RatioSettings {
    RatioSettings {
        low_hz: 5.0,
        high_hz: 20e3,
        resolution_hz: 1.0,
        may_vanish: false,
        left_out: vec![],
    }
}

/// A recording of a driver, its exact ratio at a frequency, and what is made of it.
struct Case {
    samples: Vec<f32>,
    driver: InventedDriver,
}

impl Case {
    fn new(driver: usize, noise: Noise, clip: &OneClip, seed: u64) -> Self {
        let driver = bench::drivers()[driver].clone();
        let mut bench = Bench::new(bench::Wiring::AcrossDriver, 47.0);
        bench.source.noise = noise;
        let (circuit, values) = driver.set_up(&Mounting::FreeAir);
        let element = Element::Driver {
            circuit: &circuit,
            values: &values,
        };
        let samples = bench
            .record_one_input(&element, &played(), clip, f64::from(RATE_HZ), seed)
            .unwrap();
        Self { samples, driver }
    }

    fn found(&self) -> Result<OneInput, OneInputError> {
        one_input(
            &self.samples,
            f64::from(RATE_HZ),
            PERIOD,
            false,
            &mut Unwatched,
        )
    }

    fn true_ratio(&self, f_hz: f64) -> Complex64 {
        use farcone::circuit::Circuit;
        let (circuit, values) = self.driver.set_up(&Mounting::FreeAir);
        let z = circuit.impedance(f_hz, &values);
        z / (z + 47.0)
    }
}

#[test]
fn look() {
    for (noise, drift) in [(Noise::Silent, 0.0), (Noise::Silent, 100.0), (Noise::Rms(3.16e-4), -100.0)] {
        for n_moves in [1, 2] {
            let clip = OneClip {
                drift_ppm: drift,
                ..OneClip::new(1.3, 11.0, 6.0, n_moves)
            };
            let case = Case::new(3, noise, &clip, 1);
            let start = std::time::Instant::now();
            let found = case.found().unwrap();
            println!("{noise:?} {drift} moves {n_moves}: {:?}", start.elapsed());
            println!("  drift {} change {} doubt {:e} s", found.drift_ppm, found.drift_change_ppm, found.delay_doubt_s);
            println!("  {:?} {:?} {:?} {:?} {:?} {}", found.source, found.driver, found.jumps, found.disturbed, found.source_moved_db, found.source_dbfs);
            let ratio = found.ratio(&settings()).unwrap();
            let (mut worst, mut chi2) = ((0.0, 0.0), 0.0);
            for ((&f, h), c) in ratio.frequency.as_slice().iter().zip(&ratio.h).zip(&ratio.covariance) {
                // lines are named by the player's clock
                let truth = case.true_ratio(f * (1.0 + 0.0 * drift));
                let off = (h / truth - 1.0).norm();
                chi2 += (h - truth).norm_sqr() / (c.re_re + c.im_im);
                if off > worst.1 { worst = (f, off); }
                if f > 19e3 && f < 19.1e3 { println!("   at {f}: {:e} ± {:e}", (h / truth - 1.0), (c.re_re+c.im_im).sqrt()/truth.norm()); }
            }
            println!("  points {} {}..{} worst {:?} chi2/n {}", ratio.h.len(), ratio.frequency.as_slice()[0], ratio.frequency.as_slice().last().unwrap(), worst, chi2 / ratio.h.len() as f64);
        }
    }
    let _ = Slip { at_frame: 0, n_frames: 0 };
}
