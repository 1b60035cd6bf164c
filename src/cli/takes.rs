//! From flags to a session: which quantity belongs to which take, and what does not go together.

use clap::ArgMatches;
use farcone::jig::Wiring;
use farcone::quantity::Stated;
use farcone::session::{Condition, Cone, JigInput, SessionFile, TakeFile};
use farcone::signal::Period;

use super::args::{AnalysisArgs, DriverArgs, JigArgs, TakeArgs};
use super::failure::Failure;
use super::values::TakePath;
use crate::store::is_table;

/// The sense resistor where a headphone or line output drives the jig, ohm.
const DEFAULT_SENSE_OHM: f64 = 47.0;

/// Rate in which a period that is typed in seconds is counted, Hz: a multiple of the usual ones, so that a whole number of frames at
/// any of them stays whole.
const PERIOD_RATE_HZ: u32 = 28_224_000;

/// Name of a driver that nobody named.
pub const UNNAMED: &str = "unnamed driver";

impl TakeArgs {
    /// Whether any take was given.
    pub fn any(&self) -> bool {
        let lists = [&self.free_air, &self.added_mass, &self.test_box];
        lists.iter().any(|list| !list.is_empty()) || self.first_calibration().is_some()
    }

    /// The first flag of a take that is about the jig.
    fn first_calibration(&self) -> Option<&'static str> {
        [
            ("--check-resistor", &self.check_resistor),
            ("--same-node", &self.same_node),
            ("--shorted-leads", &self.shorted_leads),
            ("--open-leads", &self.open_leads),
        ]
        .into_iter()
        .find_map(|(flag, take)| take.as_ref().map(|_| flag))
    }

    /// The takes as a session lists them. `matches` knows in which order the flags came.
    pub fn takes(&self, matches: &ArgMatches) -> Result<Vec<TakeFile>, Failure> {
        let masses = belonging(matches, &MASS)?;
        let volumes = belonging(matches, &VOLUME)?;
        let mut takes = Vec::new();
        for (i, path) in self.free_air.iter().enumerate() {
            takes.push(TakeFile {
                remounted: self.remounted && i > 0,
                ..self.take(&format!("free-air-{}", i + 1), Condition::FreeAir, path)
            });
        }
        for (i, (path, &k)) in self.added_mass.iter().zip(&masses).enumerate() {
            let condition = Condition::AddedMass {
                mass_kg: self.mass[k],
            };
            takes.push(self.take(&format!("added-mass-{}", i + 1), condition, path));
        }
        for (i, (path, &k)) in self.test_box.iter().zip(&volumes).enumerate() {
            let condition = Condition::TestBox {
                volume_m3: self.volume[k],
            };
            takes.push(self.take(&format!("test-box-{}", i + 1), condition, path));
        }
        if let (Some(path), Some(ohm)) = (&self.check_resistor, self.check_ohm) {
            takes.push(self.take("check-resistor-1", Condition::CheckResistor { ohm }, path));
        }
        for (name, condition, path) in [
            ("same-node-1", Condition::SameNode, &self.same_node),
            (
                "shorted-leads-1",
                Condition::ShortedLeads,
                &self.shorted_leads,
            ),
            ("open-leads-1", Condition::OpenLeads, &self.open_leads),
        ] {
            takes.extend(path.iter().map(|path| self.take(name, condition, path)));
        }
        if self.remounted && self.free_air.len() < 2 {
            return Err(Failure::usage(
                "--remounted needs at least two free-air takes",
                "take the driver out, put it back, record again, and give all takes: --free-air a.wav b.wav c.wav",
            ));
        }
        Ok(takes)
    }

    fn take(&self, name: &str, condition: Condition, path: &TakePath) -> TakeFile {
        // By the second, since nobody says at which rate it was played.
        let period = |period_s: f64| Period {
            frames: (period_s * f64::from(PERIOD_RATE_HZ)).round() as u32,
            sample_rate_hz: PERIOD_RATE_HZ,
        };
        TakeFile {
            channels: self.channels,
            one_input: self.one_input.map(period),
            ..TakeFile::new(name, condition, path.0.clone())
        }
    }
}

/// A quantity that follows its take.
struct Follows {
    take: &'static str,
    quantity: &'static str,
    example: &'static str,
}

const MASS: Follows = Follows {
    take: "added_mass",
    quantity: "mass",
    example: "--added-mass mass.wav --mass 5.2g+-0.05g",
};
const VOLUME: Follows = Follows {
    take: "test_box",
    quantity: "volume",
    example: "--test-box box.wav --volume 2.00L+-0.02L",
};

/// For each take the position of the quantity behind it.
fn belonging(matches: &ArgMatches, kind: &Follows) -> Result<Vec<usize>, Failure> {
    let indices = |id| -> Vec<usize> {
        matches
            .indices_of(id)
            .map(Iterator::collect)
            .unwrap_or_default()
    };
    let take_flag = format!("--{}", kind.take.replace('_', "-"));
    let flag = format!("--{}", kind.quantity);
    let hint = || {
        format!(
            "each take is followed by its own quantity: {}",
            kind.example
        )
    };
    assign(&indices(kind.take), &indices(kind.quantity)).map_err(|mismatch| {
        let message = match mismatch {
            Mismatch::Early => format!("a {flag} stands before any {take_flag}"),
            Mismatch::Second(i) => {
                format!("{flag} is given twice for take {} of {take_flag}", i + 1)
            }
            Mismatch::Missing(i) => format!("take {} of {take_flag} has no {flag}", i + 1),
        };
        Failure::usage(message, hint())
    })
}

#[derive(Debug, PartialEq, Eq)]
enum Mismatch {
    /// A quantity before the first take.
    Early,
    /// A second quantity for this take.
    Second(usize),
    /// None for this take.
    Missing(usize),
}

/// Gives each quantity to the nearest take before it, by their positions on the command line.
fn assign(takes: &[usize], quantities: &[usize]) -> Result<Vec<usize>, Mismatch> {
    let mut of_take = vec![None; takes.len()];
    for (k, at) in quantities.iter().enumerate() {
        let before = takes.iter().filter(|take| *take < at).count();
        let take = before.checked_sub(1).ok_or(Mismatch::Early)?;
        if of_take[take].replace(k).is_some() {
            return Err(Mismatch::Second(take));
        }
    }
    of_take
        .into_iter()
        .enumerate()
        .map(|(take, quantity)| quantity.ok_or(Mismatch::Missing(take)))
        .collect()
}

/// The session that flags describe, with file names as they were typed. The jig is that of a profile, if there is one.
pub fn session_of_flags(
    takes: &TakeArgs,
    jig: &JigArgs,
    profile: Option<JigInput>,
    matches: &ArgMatches,
) -> Result<SessionFile, Failure> {
    if takes.free_air.is_empty() {
        return Err(Failure::usage(
            "there is no free-air take, and nothing can be told without the driver alone",
            "give a recording (--free-air free.wav --sense 47.0ohm+-0.5ohm --wiring across-driver), or the folder of a session",
        ));
    }
    let mut session = SessionFile::new(UNNAMED, takes.takes(matches)?);
    let is_table = |take: &TakeFile| take.files.iter().any(|file| is_table(file));
    let n_tables = session.takes.iter().filter(|take| is_table(take)).count();
    if n_tables == 0 {
        session.jig = Some(match profile {
            Some(profile) => profile,
            None => jig.needed()?,
        });
    } else {
        no_jig(takes, jig)?;
        if let Some(recording) = session.takes.iter().find(|take| !is_table(take)) {
            let files: Vec<_> = recording
                .files
                .iter()
                .map(|file| file.display().to_string())
                .collect();
            return Err(Failure::usage(
                format!(
                    "recordings and impedance tables do not mix in one call; {} is a recording",
                    files.join(",")
                ),
                "fit them in two calls",
            ));
        }
    }
    let is_pair = |take: &&TakeFile| take.files.len() > 1;
    if takes.channels.is_some()
        && let Some(pair) = session.takes.iter().find(is_pair)
    {
        return Err(Failure::usage(
            format!(
                "--channels picks from one file, but {} is given as two mono files",
                pair.name
            ),
            "leave --channels out; the source's file comes first",
        ));
    }
    if takes.one_input.is_some()
        && let Some(pair) = session.takes.iter().find(is_pair)
    {
        return Err(Failure::usage(
            format!(
                "--one-input is about one channel, but {} is given as two files",
                pair.name
            ),
            "give the one recording in which the clip was moved",
        ));
    }
    Ok(session)
}

/// Tables are impedances already.
fn no_jig(takes: &TakeArgs, jig: &JigArgs) -> Result<(), Failure> {
    let given = [
        ("--sense", jig.sense.is_some()),
        ("--wiring", jig.wiring.is_some()),
        ("--swap-channels", jig.swap_channels),
        ("--lead", jig.lead.is_some()),
        ("--input-load", jig.input_load.is_some()),
        ("--channels", takes.channels.is_some()),
        ("--one-input", takes.one_input.is_some()),
    ];
    let flag = given
        .into_iter()
        .find_map(|(flag, given)| given.then_some(flag))
        .or(takes.first_calibration());
    match flag {
        None => Ok(()),
        Some(flag) => Err(Failure::usage(
            format!("{flag} is about recordings, but an impedance table was given"),
            format!("leave {flag} out; a table holds impedances at the driver's terminals already"),
        )),
    }
}

impl JigArgs {
    /// The jig of recordings.
    fn needed(&self) -> Result<JigInput, Failure> {
        let sense_ohm = self.sense.ok_or_else(|| {
            Failure::usage(
                "recordings need the value of the sense resistor",
                "add --sense 47.0ohm+-0.5ohm, with the value that you measured or that is printed on it",
            )
        })?;
        let wiring = self.wiring.ok_or_else(|| {
            Failure::usage(
                "recordings need the wiring of the jig",
                "add --wiring across-driver if ground is at the driver's minus, or --wiring across-resistor if ground is \
                 at the resistor's foot",
            )
        })?;
        let mut input = JigInput {
            wiring,
            sense_ohm,
            lead_ohm: None,
            input_load_ohm: [None, None],
            swap_channels: false,
        };
        self.put_into(&mut input);
        Ok(input)
    }

    /// The jig of a live measurement: 47 ohm across the driver, where nothing else is said.
    pub fn with_defaults(&self) -> Result<JigInput, Failure> {
        let mut jig = JigInput {
            wiring: Wiring::AcrossDriver,
            sense_ohm: Stated::unstated(DEFAULT_SENSE_OHM),
            lead_ohm: None,
            input_load_ohm: [None, None],
            swap_channels: false,
        };
        if self.wiring == Some(Wiring::AcrossResistor) && self.sense.is_none() {
            return self.needed();
        }
        self.put_into(&mut jig);
        Ok(jig)
    }

    /// Lets what was typed outrank what is there.
    fn put_into(&self, jig: &mut JigInput) {
        jig.sense_ohm = self.sense.unwrap_or(jig.sense_ohm);
        jig.wiring = self.wiring.unwrap_or(jig.wiring);
        jig.lead_ohm = self.lead.or(jig.lead_ohm);
        jig.swap_channels |= self.swap_channels;
        if let Some(load) = self.input_load {
            jig.input_load_ohm = [Some(load.0), Some(load.1)];
        }
    }

    /// Whether anything was typed.
    pub fn any(&self) -> bool {
        self.sense.is_some()
            || self.wiring.is_some()
            || self.swap_channels
            || self.lead.is_some()
            || self.input_load.is_some()
    }
}

/// Lets what was typed about everything but the takes outrank what the session says.
pub fn outrank(
    session: &mut SessionFile,
    jig: &JigArgs,
    driver: &DriverArgs,
    analysis: &AnalysisArgs,
) -> Result<(), Failure> {
    match &mut session.jig {
        Some(input) => jig.put_into(input),
        None if jig.any() => {
            return Err(Failure::usage(
                "this session is made of impedance tables, which need no jig",
                "leave the flags about the jig out",
            ));
        }
        None => {}
    }
    if let Some(label) = &driver.label {
        session.label.clone_from(label);
    }
    let diameter = driver.cone.map(Cone::Diameter);
    session.cone = diameter.or(driver.area.map(Cone::Area)).or(session.cone);
    session.meter_re_ohm = driver.meter_re.or(session.meter_re_ohm);
    if let Some(dimensions) = driver.dimensions {
        session.dimensions = session.dimensions.outranked_by(dimensions);
        // Each alone may be right and both together wrong.
        session.dimensions.check().map_err(|error| {
            Failure::usage(
                error.to_string(),
                "the session has dimensions already; state the others anew as well",
            )
        })?;
    }
    if let Some(air) = driver.air {
        air.resolve().map_err(|error| {
            Failure::usage(error.to_string(), "write for example --air 23C,1013hPa,45%")
        })?;
        session.air = air;
    }
    if let Some(band) = analysis.band {
        session.band_hz = (band.0, band.1);
    }
    if !analysis.coil.is_empty() {
        session.choice.coils.clone_from(&analysis.coil);
    }
    session.choice.creep &= !analysis.no_creep;
    session.n_draws = analysis.draws.map_or(session.n_draws, |n| n as usize);
    session.seed = analysis.seed.unwrap_or(session.seed);
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quantity_belongs_to_the_nearest_take_before_it() {
        assert_eq!(assign(&[], &[]), Ok(vec![]));
        assert_eq!(assign(&[1, 5], &[3, 9]), Ok(vec![0, 1]));
        assert_eq!(assign(&[5], &[3]), Err(Mismatch::Early));
        assert_eq!(assign(&[1, 5], &[7, 9]), Err(Mismatch::Second(1)));
        assert_eq!(assign(&[1, 5], &[7]), Err(Mismatch::Missing(0)));
        assert_eq!(assign(&[1, 5], &[3]), Err(Mismatch::Missing(1)));
    }
}
