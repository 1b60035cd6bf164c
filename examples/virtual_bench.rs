//! Records an invented driver on the virtual bench, with noise and hum, and writes the take as a WAV:
//! `cargo run --example virtual_bench -- take.wav`. Without a path nothing is written.
#![allow(clippy::print_stdout, reason = "an example prints")]

use std::fs::File;

use farcone::bench::{Bench, Element, Mounting, Noise, Wiring, demo_driver};
use farcone::recording::{WavFormat, write_wav};
use farcone::signal::SynchronizedSweep;

const SAMPLE_RATE_HZ: u32 = 48_000;
const SEED: u64 = 7;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut bench = Bench::new(Wiring::AcrossDriver, 47.0);
    bench.driver.noise = Noise::BelowSignalDb(60.0);
    bench.driver.hum_peak = vec![1e-4];
    let stimulus = SynchronizedSweep {
        duration_s: 4.0,
        ..Default::default()
    };
    let driver = demo_driver();
    let (circuit, values) = driver.set_up(&Mounting::FreeAir);
    let element = Element::Driver {
        circuit: &circuit,
        values: &values,
    };
    let take = bench.record(
        &element,
        &stimulus.samples()?,
        f64::from(SAMPLE_RATE_HZ),
        SEED,
    )?;
    let truth = driver.truth();
    println!("{}: {} frames", driver.label, take.source.len());
    println!(
        "in truth fs = {:.2} Hz, Qts = {:.4}",
        truth.fs_hz, truth.qts
    );
    if let Some(path) = std::env::args().nth(1) {
        // `create_new` refuses to overwrite.
        let file = File::create_new(path)?;
        let channels: [&[f32]; 2] = [&take.source, &take.driver];
        write_wav(file, SAMPLE_RATE_HZ, &channels, WavFormat::Pcm24)?;
    }
    Ok(())
}
