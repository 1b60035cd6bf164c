//! The search in an invented world: an output of so many volts, an input of so many, noise.

use super::*;
use crate::level::DriverVolts;

struct World {
    output_full_scale_v: f64,
    input_full_scale_v: f64,
    noise_v: f64,
    share: f64,
    calibrated: bool,
    /// Above this source voltage something is strained.
    strain_above_v: f64,
}

impl Default for World {
    fn default() -> Self {
        Self {
            output_full_scale_v: 1.4,
            input_full_scale_v: 1.4,
            noise_v: 3e-5,
            share: 0.4,
            calibrated: true,
            strain_above_v: f64::INFINITY,
        }
    }
}

impl World {
    fn source_v(&self, level_dbfs: f64) -> f64 {
        self.output_full_scale_v * 10f64.powf(level_dbfs / 20.0)
    }

    fn burst(&self, level_dbfs: f64) -> Reading {
        let source_v = self.source_v(level_dbfs);
        let peak_dbfs = 20.0 * (source_v / self.input_full_scale_v).log10();
        Reading {
            playback_dbfs: level_dbfs,
            source_peak_dbfs: peak_dbfs,
            input_peak_dbfs: peak_dbfs,
            // Nothing can be fitted where the noise is as large as a tenth of the signal.
            relative_uncertainty: (self.noise_v < 0.1 * source_v).then(|| self.noise_v / source_v),
            driver: Some(DriverVolts {
                share: self.share,
                peak_v: self.calibrated.then_some(self.share * source_v),
            }),
            readout: None,
            strained: (source_v > self.strain_above_v).then_some(Limitation::Distorted),
        }
    }

    /// Runs the search; returns what it chose and every level that sounded.
    fn search(&self, goal: Goal) -> (Chosen, Vec<f64>) {
        let mut seek = Seek::new(goal);
        let mut sounded = vec![];
        loop {
            match seek.next() {
                Next::Use(chosen) => return (chosen, sounded),
                Next::Burst(level) => {
                    sounded.push(level);
                    assert!(sounded.len() < 20, "the search does not end: {sounded:?}");
                    seek.saw(self.burst(level));
                }
            }
        }
    }
}

fn goal() -> Goal {
    Goal {
        relative_uncertainty: Goal::RELATIVE_UNCERTAINTY,
        full_over_burst: 10.0,
        start_dbfs: Goal::START_DBFS,
        ceiling_dbfs: -15.0,
        driver_peak_v: Goal::DRIVER_PEAK_V,
        output_full_scale_v: None,
    }
}

/// A search may overshoot by its smallest step, since no shorter one is worth a burst, and by its margin.
const STEP_DB: f64 = SMALLEST_STEP_DB + MARGIN_DB;

#[test]
fn the_lowest_level_that_serves_is_found() {
    let world = World::default();
    let (chosen, sounded) = world.search(goal());
    assert_eq!(chosen.limit, Limit::Served);
    // u = noise / source / √10 = 0.001, so the source needs 9.5 mV.
    let needed_dbfs = 20.0 * (3e-5 / 1e-3 / 10f64.sqrt() / 1.4).log10();
    assert!(chosen.playback_dbfs >= needed_dbfs - 1e-9);
    assert!(chosen.playback_dbfs <= needed_dbfs + STEP_DB, "{chosen:?}");
    assert!(chosen.relative_uncertainty.unwrap() <= 1e-3);
    assert!(sounded.len() <= 6, "{sounded:?}");
}

#[test]
fn no_burst_ever_exceeds_what_the_driver_may_get() {
    // From a weak headphone output to an amplifier of 80 V peak, and from a quiet input to a hopeless one.
    for output_full_scale_v in [0.3, 1.4, 5.6, 40.0, 80.0] {
        for noise_v in [1e-6, 1e-4, 1e-2, 1.0] {
            for share in [0.1, 0.5, 0.95] {
                let world = World {
                    output_full_scale_v,
                    input_full_scale_v: 10.0,
                    noise_v,
                    share,
                    ..World::default()
                };
                let (chosen, sounded) = world.search(goal());
                for level in sounded.iter().copied().chain([chosen.playback_dbfs]) {
                    let driver_v = share * world.source_v(level);
                    assert!(
                        driver_v <= Goal::DRIVER_PEAK_V * (1.0 + 1e-9),
                        "{driver_v} V at {level} dBFS of {output_full_scale_v} V"
                    );
                    assert!(level <= -15.0);
                }
            }
        }
    }
}

#[test]
fn without_volts_the_assumed_output_bounds_the_level() {
    let world = World {
        calibrated: false,
        noise_v: 1.0,
        ..World::default()
    };
    let bounded = Goal {
        output_full_scale_v: Some(Goal::LINE_OUTPUT_PEAK_V),
        ceiling_dbfs: 0.0,
        ..goal()
    };
    let (chosen, _) = world.search(bounded);
    let allowed = 20.0 * (0.3 / (0.4 * Goal::LINE_OUTPUT_PEAK_V)).log10();
    assert_eq!(chosen.limit, Limit::DriverVolts);
    assert!((chosen.playback_dbfs - allowed).abs() < STEP_DB);
    assert_eq!(chosen.driver_peak_v, None);
}

#[test]
fn inputs_and_ceiling_bound_it_too() {
    let deaf = World {
        noise_v: 1.0,
        share: 1e-3,
        ..World::default()
    };
    let (chosen, _) = deaf.search(goal());
    assert_eq!(chosen.limit, Limit::Ceiling);
    assert_eq!(chosen.playback_dbfs, -15.0);
    let hot = World {
        input_full_scale_v: 0.1,
        ..deaf
    };
    let (chosen, sounded) = hot.search(goal());
    assert_eq!(chosen.limit, Limit::InputPeak);
    for level in sounded {
        let reading = hot.burst(level);
        assert!(reading.input_peak_dbfs <= -6.0 + 1e-9, "{reading:?}");
    }
}

#[test]
fn strain_steps_back_and_ends_the_search() {
    let world = World {
        noise_v: 3e-3,
        strain_above_v: 0.02,
        ..World::default()
    };
    let (chosen, sounded) = world.search(goal());
    assert_eq!(chosen.limit, Limit::Strain(Limitation::Distorted));
    assert!(world.source_v(chosen.playback_dbfs) <= 0.02);
    assert!(chosen.playback_dbfs < *sounded.last().unwrap());
}
