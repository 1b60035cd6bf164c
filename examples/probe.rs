#![allow(
    clippy::unwrap_used,
    clippy::print_stdout,
    missing_docs,
    reason = "probe"
)]
#[path = "../tests/common/mod.rs"]
mod common;
use common::*;
use farcone::bench::{Mounting, drivers};
use farcone::jig::Wiring;
use farcone::session::{Condition, analyse};
fn main() {
    let only: usize = std::env::args().nth(1).unwrap().parse().unwrap();
    let noise: Option<f64> = std::env::args().nth(2).and_then(|t| t.parse().ok());
    let driver = &drivers()[only];
    let mut jig = Jig::new(Wiring::AcrossDriver, 47.0);
    if let Some(db) = noise {
        jig.bench.source.noise = farcone::bench::Noise::BelowSignalDb(db);
        jig.bench.driver.noise = farcone::bench::Noise::BelowSignalDb(db);
    }
    let stimulus = sweep(10.0, jig.rate_hz);
    let t = std::time::Instant::now();
    let free = take(
        "free-air-1",
        Condition::FreeAir,
        jig.driver(driver, &Mounting::FreeAir, &stimulus, 1),
    );
    println!(
        "{} recorded {:?} truth {:?}",
        driver.label,
        t.elapsed(),
        driver.truth()
    );
    let mut takes = vec![free];
    if std::env::args().nth(3).is_some() {
        let mass_kg = good_mass(driver);
        takes.push(take(
            "m",
            Condition::AddedMass {
                mass_kg: exact(mass_kg),
            },
            jig.driver(
                driver,
                &Mounting::AddedMass {
                    added_mass_kg: mass_kg,
                },
                &stimulus,
                2,
            ),
        ));
    }
    let mut last = std::time::Instant::now();
    let sheet = analyse(
        session(&jig, driver.sd_m2, takes),
        &mut |stage: &str, done: f64| {
            println!("  {:?} then {stage} {done:.2}", last.elapsed());
            last = std::time::Instant::now();
            farcone::progress::Continue::Yes
        },
    )
    .unwrap();
    println!("  {:?} to end; {}", last.elapsed(), sheet.verdict);
    for f in &sheet.findings {
        println!("{} {} {:?}", f.code, f.message, f.evidence);
    }
    if let Some(c) = &sheet.circuit {
        for c in &c.candidates {
            println!("{c:?}");
        }
        for (n, v) in &c.values {
            println!("  {n} {} {:?}", v.value, v.standard_uncertainty);
        }
    }
    for key in farcone::parameters::Key::ALL {
        if let Some(e) = sheet.parameters.get(*key) {
            println!(
                "{:8} {:.6e} u {:?} {:?} | {:?}",
                key.as_str(),
                e.value,
                e.standard_uncertainty,
                e.interval_95,
                e.budget.first().map(|b| (&b.source, b.share))
            );
        }
    }
    for c in &sheet.curves {
        by_octave(c);
    }
    println!("points {}", sheet.curves[0].frequency_hz.len());
}
pub fn by_octave(c: &farcone::sheet::CurveEntry) {
    let (mut f0, mut s, mut n) = (c.frequency_hz[0], 0.0, 0);
    let (ur, ui) = (
        c.uncertainty_re_ohm.as_ref().unwrap(),
        c.uncertainty_im_ohm.as_ref().unwrap(),
    );
    let (mr, mi) = (
        c.modelled_re_ohm.as_ref().unwrap(),
        c.modelled_im_ohm.as_ref().unwrap(),
    );
    for i in 0..c.frequency_hz.len() {
        if c.frequency_hz[i] > 2.0 * f0 {
            println!(
                "{f0:8.1} Hz: chi2 {:.3} n {n} u/z {:.2e}",
                s / n as f64,
                ur[i] / c.measured_re_ohm[i].hypot(c.measured_im_ohm[i])
            );
            f0 = c.frequency_hz[i];
            s = 0.0;
            n = 0;
        }
        s += ((c.measured_re_ohm[i] - mr[i]) / ur[i]).powi(2)
            + ((c.measured_im_ohm[i] - mi[i]) / ui[i]).powi(2);
        n += 2;
    }
}
