//! `farcone kit`: the page for a helper far away.

use std::path::PathBuf;

use clap::Args;
use farcone::coins::DriverClass;
use farcone::kit::{Kit, KitBox, KitDriver, Method};
use farcone::quantity::Stated;

use super::EXIT_GOOD;
use super::console;
use super::failure::Failure;
use super::values;
use crate::store;

/// Make the page that turns a far-away helper into a measuring bench: one HTML file, to be sent by mail or chat
///
/// The helper opens it in a browser: it explains, draws, plays, records and judges every take on the spot, with the same core as this
/// program, and saves one bundle for each driver, which comes back to you for `farcone receive`. It needs no installation, no account and
/// no network.
#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct KitArgs {
    /// A driver to measure: its label, its class (small, woofer, tweeter) and, if known, its nominal impedance ("left unit,small,8ohm")
    ///
    /// Sweep range and level follow the class: a tweeter gets no low frequencies, and is asked for no weight and no box. May be given several
    /// times.
    #[arg(long = "driver", value_name = "LABEL,CLASS[,IMPEDANCE]", required = true, value_parser = driver)]
    drivers: Vec<KitDriver>,

    /// How the moving mass is found: a known mass on the cone, a closed test box, or both
    #[arg(long, default_value = "added-mass", value_parser = values::kit_method())]
    method: Method,

    /// The sense resistor that the helper is asked for
    #[arg(long, value_name = "QUANTITY", default_value = "47ohm", value_parser = values::resistance)]
    sense: Stated,

    /// The air that the cone closes off on the test box, as `farcone test-box` prints it (1.500L+-0.014L)
    #[arg(long = "box", value_name = "VOLUME", value_parser = values::volume)]
    box_volume: Option<Stated>,

    /// A message to the helper, shown first
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,

    /// The file to write; an existing one is never overwritten
    #[arg(long, short, value_name = "FILE.html", default_value = "kit.html")]
    output: PathBuf,

    /// Open the page in this computer's browser once it is written
    #[arg(long)]
    open: bool,
}

const EXAMPLES: &str = "\
Examples:
  Two drivers on somebody else's bench
    farcone kit --driver \"left unit,small,8ohm\" --driver \"right unit,small,8ohm\" --note \"Thank you! The paper bag has the resistors.\"

  With a printed test box, the volume as farcone test-box says it
    farcone kit --driver \"unit 3,woofer\" --method both --box 1.500L+-0.014L -o unit-3.html

  What comes back
    farcone receive left-unit.zip right-unit.zip --kit kit.html

Cautions: the page shows the usual ones before the first sound, and so should you on the call: no bridged amplifier outputs, phantom \
and plug-in power off, nobody with headphones on, tweeters quiet, fingers clear of magnets; mains equipment is for qualified people, and \
local codes apply.

Exit codes: 0 the page is written, 1 it could not be written or opened, 2 usage.";

pub fn run(args: &KitArgs) -> Result<u8, Failure> {
    if args.box_volume.is_some() && args.method == Method::AddedMass {
        return Err(Failure::usage(
            "--box is about a test box, and the method is added-mass",
            "add --method both or --method test-box",
        ));
    }
    let takes_boxes = |driver: &KitDriver| driver.class != DriverClass::Tweeter;
    if args.box_volume.is_some() && !args.drivers.iter().any(takes_boxes) {
        return Err(Failure::usage(
            "--box is about a test box, and all drivers are tweeters, which sit on none",
            "leave out --box",
        ));
    }
    store::refuse_existing(&args.output)?;
    let kit = Kit {
        drivers: args.drivers.clone(),
        method: args.method,
        sense_ohm: args.sense,
        note: args.note.clone().filter(|note| !note.trim().is_empty()),
        test_box: args.box_volume.map(|volume_m3| KitBox { volume_m3 }),
        made: super::now(),
    };
    let page = kit.page()?;
    store::write_new_text(&args.output, &page)?;
    let mut text = format!(
        "Kit {}: {} ({} kB), for {}.\n",
        kit.id(),
        args.output.display(),
        page.len() / 1000,
        match kit.drivers.len() {
            1 => "1 driver".to_owned(),
            n => format!("{n} drivers"),
        }
    );
    text.push_str(
        "Send that one file. The helper opens it in Chromium or Firefox on a computer; telephones,\ntablets and Safari get a route by hand. \
         Go through it yourself first (--open).\n",
    );
    text.push_str(&format!(
        "What comes back: farcone receive BUNDLE.zip --kit {}\n",
        args.output.display()
    ));
    console::print(&text)?;
    if args.open {
        open::that_detached(&args.output).map_err(|source| Failure::Browser {
            path: args.output.display().to_string(),
            source,
        })?;
    }
    Ok(EXIT_GOOD)
}

/// One driver of a kit, read from the right: a label may hold commas.
pub fn driver(text: &str) -> Result<KitDriver, String> {
    let short = |text: &str| text.trim().chars().take(60).collect::<String>();
    let wrong = |why: &str| {
        format!(
            "\"{}\" does not name a driver: {why}; write its label, its class (small, woofer, tweeter) and, if known, its impedance, as in \
             \"left unit,small,8ohm\"",
            short(text)
        )
    };
    let no_class = |name: &str| wrong(&format!("\"{}\" is no class", short(name)));
    let class = |name: &str| DriverClass::parse(name.trim());
    let (front, last) = text
        .rsplit_once(',')
        .ok_or_else(|| wrong("it has no class"))?;
    let (label, class, nominal_ohm) = match (class(last), front.rsplit_once(',')) {
        (Some(class), _) => (front, class, None),
        (None, None) => return Err(no_class(last)),
        (None, Some((label, name))) => {
            let nominal = values::resistance(last.trim());
            let wrong_one = if nominal.is_ok() { name } else { last };
            let class = class(name).ok_or_else(|| no_class(wrong_one))?;
            let nominal = nominal.map_err(|error| error.to_string())?;
            (label, class, Some(nominal.value))
        }
    };
    if label.trim().is_empty() {
        return Err(wrong("it has no label"));
    }
    Ok(KitDriver {
        label: label.trim().to_owned(),
        class,
        nominal_ohm,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_driver_is_read_from_the_right() {
        let plain = driver("left unit,small").unwrap();
        assert_eq!(
            (plain.label.as_str(), plain.nominal_ohm),
            ("left unit", None)
        );
        let full = driver("4 inch, paper , woofer , 8ohm").unwrap();
        assert_eq!(full.label, "4 inch, paper");
        assert_eq!(
            (full.class, full.nominal_ohm),
            (DriverClass::Woofer, Some(8.0))
        );
        for (text, named) in [
            ("left unit", "it has no class"),
            ("left unit,big", "\"big\" is no class"),
            (",small", "it has no label"),
            ("left unit,small,8", "8ohm"),
            ("left unit,tiny,8ohm", "\"tiny\" is no class"),
            ("4 inch, paper, wofer", "\"wofer\" is no class"),
        ] {
            let said = driver(text).unwrap_err();
            assert!(said.contains(named), "{text}: {said}");
        }
    }
}
