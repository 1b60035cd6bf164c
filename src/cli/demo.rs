//! `farcone demo`: the whole job on the virtual bench.

use std::path::{Path, PathBuf};

use clap::Args;
use farcone::air::{Air, AirInput, PressureInput};
use farcone::bench::{
    Bench, Channel, Element, InventedDriver, Mounting, Noise, Wiring as BenchWiring, demo_driver,
};
use farcone::chat::ChatLine;
use farcone::jig::Wiring;
use farcone::quantity::{Spread, Stated};
use farcone::recording::Take;
use farcone::session::{Condition, Cone, JigInput, SessionFile, TakeFile};
use farcone::signal::{Envelope, SynchronizedSweep};
use rand_distr::{Distribution, Uniform};
use rand_pcg::Pcg64;
use rand_pcg::rand_core::{Rng, SeedableRng};

use super::console::{self, Look};
use super::failure::Failure;
use super::fit::{exit_code, sheet_of};
use super::view::{self, Truths};
use crate::store::{self, SessionFolder};

/// Do the whole job on an invented driver: no hardware needed
///
/// Takes are made on a virtual bench with what real ones suffer from: noise, hum, inputs that differ, a resistor, a
/// mass and a box that are not quite what their markings say. They are written as a session folder, read back and
/// analysed as `farcone fit` does it, and the result is printed beside the truth.
#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct DemoArgs {
    /// Folder to write; it must not exist yet, or be empty
    #[arg(long, value_name = "DIR", default_value = "farcone-demo")]
    out: PathBuf,

    /// Another number gives other noise and other errors of the markings; the same one the same takes
    #[arg(long, value_name = "N", default_value_t = 0)]
    seed: u64,

    /// Print only what goes wrong
    #[arg(long, short)]
    quiet: bool,
}

const EXAMPLES: &str = "\
Results carry their unit and two doubts: within these takes, and from one set-up to the next.

Examples:
  farcone demo
  farcone demo --out second-demo --seed 2
  farcone fit farcone-demo               analyses the demo's session again
  farcone fit farcone-demo --cone 63mm   … with the cone measured differently";

const RATE_HZ: u32 = 48_000;
/// Peak of the source, volt; one volt is full scale at the inputs.
const LEVEL_DBFS: f64 = -12.0;
const SWEEP_S: f64 = 5.0;

/// What the bench's markings say. The truth lies somewhere within the half-widths, drawn from the seed.
const SENSE_OHM: Stated = Stated::within(47.0, 0.47);
const CHECK_OHM: Stated = Stated::within(22.0, 0.05);
const MASS_KG: Stated = Stated::within(2.0e-3, 0.02e-3);
const VOLUME_M3: Stated = Stated::within(1.0e-3, 0.01e-3);
const CONE_M: Stated = Stated::within(64e-3, 1e-3);
const LEAD_OHM: Stated = Stated::within(0.05, 0.02);

/// The air is what it is said to be: Vas depends on it by definition.
const AIR: Air = Air {
    temperature_k: 296.15,
    pressure_pa: 97_500.0,
    relative_humidity: 0.45,
};

pub fn run(args: &DemoArgs) -> Result<u8, Failure> {
    let driver = demo_driver();
    let (session, sheet_path) = write_session(&args.out, driver, args.seed)?;
    // From here on as `farcone fit DIR` does it, with what is on the disk.
    let sheet = sheet_of(
        store::read_session(&args.out)?,
        &args.out,
        vec![],
        args.quiet,
    )?;
    store::write_new_text(&sheet_path, &sheet.to_json()?)?;
    if !args.quiet {
        let look = Look::of_stdout();
        let truths = Truths::new(driver, &AIR);
        let made = format!(
            "The virtual bench recorded {} takes of \"{}\", a {}.",
            session.takes.len(),
            driver.label,
            driver.description
        );
        let mut text = view::paragraph(&made, look);
        text.push('\n');
        text.push_str(&view::sheet(&sheet, Some(&truths), look));
        text.push_str(&view::plot(&sheet, look));
        text.push_str(&view::chat(&ChatLine::of(&sheet, None), look));
        text.push_str(&written(&args.out, &session, &sheet_path));
        console::print(&text)?;
    }
    Ok(exit_code(&sheet))
}

fn written(folder: &Path, session: &SessionFile, sheet_path: &Path) -> String {
    let mut text = String::from("\nWritten\n");
    let takes = session.takes.iter().flat_map(|take| &take.files);
    for path in [Path::new("session.json")]
        .into_iter()
        .chain(takes.map(PathBuf::as_path))
    {
        text.push_str(&format!("  {}\n", folder.join(path).display()));
    }
    text.push_str(&format!("  {}\n", sheet_path.display()));
    text.push_str(&format!(
        "\nNext: farcone report {} --net 2.4L\n      farcone fit {}\n",
        sheet_path.display(),
        folder.display()
    ));
    text
}

/// Makes the takes and writes them; returns the session and where its sheet belongs.
fn write_session(
    folder: &Path,
    driver: &InventedDriver,
    seed: u64,
) -> Result<(SessionFile, PathBuf), Failure> {
    let stimulus = SynchronizedSweep {
        duration_s: SWEEP_S,
        envelope: Envelope {
            sample_rate_hz: f64::from(RATE_HZ),
            level_dbfs: LEVEL_DBFS,
            ..Envelope::default()
        },
        ..SynchronizedSweep::default()
    }
    .samples()?;
    let folder_of_session = SessionFolder::create(folder)?;
    let mut generator = Pcg64::seed_from_u64(seed);
    let bench = bench(&mut generator);
    let check_ohm = drawn(CHECK_OHM, &mut generator);
    let added_mass_kg = drawn(MASS_KG, &mut generator);
    let volume_m3 = drawn(VOLUME_M3, &mut generator);
    let in_box = Mounting::TestBox {
        volume_m3,
        rho_c2_pa: AIR.bulk_modulus_pa(),
        air_load_kg: 0.0,
        inverse_ql: 0.0,
    };
    let with_mass = Mounting::AddedMass { added_mass_kg };
    let parts = [
        ("free-air-1", Condition::FreeAir, Some(Mounting::FreeAir)),
        ("free-air-2", Condition::FreeAir, Some(Mounting::FreeAir)),
        (
            "added-mass-1",
            Condition::AddedMass { mass_kg: MASS_KG },
            Some(with_mass),
        ),
        (
            "test-box-1",
            Condition::TestBox {
                volume_m3: VOLUME_M3,
            },
            Some(in_box),
        ),
        (
            "check-resistor-1",
            Condition::CheckResistor { ohm: CHECK_OHM },
            None,
        ),
    ];
    let mut takes = Vec::<TakeFile>::new();
    for (name, condition, mounting) in parts {
        let seed = generator.next_u64();
        let made = match mounting {
            Some(mounting) => {
                let (circuit, values) = driver.set_up(&mounting);
                let element = Element::Driver {
                    circuit: &circuit,
                    values: &values,
                };
                bench.record(&element, &stimulus, f64::from(RATE_HZ), seed)?
            }
            None => {
                let element = Element::Resistor(check_ohm);
                bench.record(&element, &stimulus, f64::from(RATE_HZ), seed)?
            }
        };
        let take = Take::new(RATE_HZ, made.source, made.driver).map_err(Failure::BenchTake)?;
        takes.push(folder_of_session.add_take(name, condition, &take)?);
    }
    let session = SessionFile {
        jig: Some(JigInput {
            wiring: Wiring::AcrossDriver,
            sense_ohm: SENSE_OHM,
            lead_ohm: Some(LEAD_OHM),
            input_load_ohm: [None, None],
            swap_channels: false,
        }),
        air: AirInput {
            temperature_k: Some(Stated::within(AIR.temperature_k, 1.0)),
            pressure: Some(PressureInput::Pressure(Stated::within(
                AIR.pressure_pa,
                200.0,
            ))),
            relative_humidity: Some(Stated::within(AIR.relative_humidity, 0.05)),
        },
        cone: Some(Cone::Diameter(CONE_M)),
        seed,
        ..SessionFile::new(driver.label, takes)
    };
    folder_of_session.save(&session)?;
    let name = format!("{}.driver.json", store::safe_file_name(driver.label));
    Ok((session, folder.join(name)))
}

/// A cheap but decent recorder: inputs that differ by up to a percent and a fraction of a sample, some noise, some hum.
fn bench(generator: &mut Pcg64) -> Bench {
    let input = Channel {
        coupling_hz: Some(2.0),
        noise: Noise::Rms(1e-5),
        hum_peak: vec![4e-5, 1e-5, 2e-5],
        bits: Some(24),
        ..Channel::default()
    };
    let around_zero = |half_width| Stated::within(0.0, half_width);
    let mut bench = Bench::new(BenchWiring::AcrossDriver, drawn(SENSE_OHM, generator));
    bench.source_ohm = 2.0;
    bench.lead_ohm = drawn(LEAD_OHM, generator);
    bench.skew_samples = drawn(around_zero(0.1), generator);
    bench.driver = Channel {
        gain: 1.0 + drawn(around_zero(0.01), generator),
        ..input.clone()
    };
    bench.source = input;
    bench
}

/// A true value somewhere within what the marking says.
fn drawn(stated: Stated, generator: &mut Pcg64) -> f64 {
    let Spread::HalfWidth(half_width) = stated.spread else {
        return stated.value;
    };
    Uniform::new_inclusive(-half_width, half_width)
        .map(|uniform| stated.value + uniform.sample(generator))
        .unwrap_or(stated.value)
}
