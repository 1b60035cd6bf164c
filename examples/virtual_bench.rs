//! Records an invented driver on the virtual bench and writes the take as a WAV:
//! `cargo run --example virtual_bench -- take.wav`. Without a path nothing is written.
#![allow(clippy::print_stdout, reason = "an example prints")]

use std::fs::File;

use farcone::bench::{Bench, Element, Mounting, Noise, Wiring, drivers};
use farcone::recording::{WavFormat, write_wav};
use farcone::signal::SynchronizedSweep;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let driver = &drivers()[4];
    let (circuit, values) = driver.set_up(&Mounting::FreeAir);
    let mut bench = Bench::new(Wiring::AcrossDriver, 47.0);
    bench.driver.noise = Noise::BelowSignalDb(60.0);
    bench.driver.hum_peak = vec![1e-4];
    let stimulus = SynchronizedSweep {
        duration_s: 4.0,
        ..Default::default()
    }
    .samples()?;
    let element = Element::Driver {
        circuit: &circuit,
        values: &values,
    };
    let take = bench.record(&element, &stimulus, 48_000.0, 7)?;
    println!(
        "{}: {} frames; the truth is {:?}",
        driver.label,
        take.source.len(),
        driver.truth()
    );
    if let Some(path) = std::env::args().nth(1) {
        // `create_new` refuses to overwrite.
        let file = File::create_new(path)?;
        write_wav(
            file,
            48_000,
            &[&take.source, &take.driver],
            WavFormat::Pcm24,
        )?;
    }
    Ok(())
}
