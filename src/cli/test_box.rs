//! `farcone test-box`: a closed box to print.

use std::path::PathBuf;

use clap::Args;
use farcone::quantity::{Spread, Stated};
use farcone::test_box::{Screws, Solid, TestBox, Wanted, hollow_half_width, hollow_of_cone};

use super::EXIT_GOOD;
use super::console::{self, Look};
use super::failure::Failure;
use super::values::{self, Bed};
use super::view::wrapped;
use crate::store;

/// Make a closed round test box to print: an STL file whose air volume is exact
///
/// The driver lies on it inverted: magnet outside, cone facing into the box. So no wire goes through the box, the gasket lies on a flat rim, and
/// no magnet takes up air. The air in the cone's hollow and inside the gasket counts, and the box is made smaller by it.
#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct TestBoxArgs {
    /// The air that the cone is to close off, all included (L, ml, cm3, in3)
    ///
    /// Best is about as much as the driver's expected Vas, up to three times as much: the resonance then rises by 15 to 40 %.
    #[arg(long, value_name = "VOLUME", value_parser = values::volume_m3)]
    volume: f64,

    /// Diameter of the box's mouth: the hole that the driver needs in a panel (mm, cm, in)
    ///
    /// The surround must move freely in it: if the surround, seen from the front, is wider than the hole for the basket, state its outer diameter.
    #[arg(long, value_name = "DIAMETER", value_parser = values::length_m)]
    cutout: f64,

    /// Outer diameter of the driver's flange (mm, cm, in)
    #[arg(long, value_name = "DIAMETER", value_parser = values::length_m)]
    flange: f64,

    /// Diameter of the circle through the middles of the flange's holes, for blind pilot holes of 2.5 mm; without it, clamp the driver
    #[arg(long, value_name = "DIAMETER", value_parser = values::length_m, requires = "screws")]
    screw_circle: Option<f64>,

    /// How many screws
    #[arg(long, value_name = "N", requires = "screw_circle")]
    screws: Option<usize>,

    /// Thickness of the wall where it is thinnest (mm)
    #[arg(long, value_name = "LENGTH", default_value = "3mm", value_parser = values::length_m)]
    wall: f64,

    /// The air between the cone and the plane of the flange's front (12ml+-1ml)
    ///
    /// Lay the driver face up, lay cling film into the cone, fill rice, sand or water level with the flange, and measure what went in. Where the
    /// surround or a dome stands out before the flange instead, state what it takes up with a minus (-3ml). Without +- a half-width of 10 % is
    /// assumed. Units: L, ml, cm3, in3.
    #[arg(long, value_name = "VOLUME", value_parser = values::hollow, allow_hyphen_values = true, conflicts_with = "cone_depth")]
    hollow: Option<Stated>,

    /// Instead of --hollow: how deep the cone is, from the flange's front to the edge of the dust cap (mm); needs --cone and --dust-cap
    ///
    /// The hollow is worked out as a straight cone, with a half-width of 25 %.
    #[arg(long, value_name = "LENGTH", value_parser = values::length_m, requires_all = ["cone", "dust_cap"])]
    cone_depth: Option<f64>,

    /// With --cone-depth: diameter of the cone, middle of the surround to middle of the surround (mm)
    #[arg(long, value_name = "DIAMETER", value_parser = values::length_m, requires = "cone_depth")]
    cone: Option<f64>,

    /// With --cone-depth: diameter of the dust cap (mm)
    #[arg(long, value_name = "DIAMETER", value_parser = values::length_m, requires = "cone_depth")]
    dust_cap: Option<f64>,

    /// Thickness of the gasket as pressed (2mm+-0.3mm); its inner edge is taken to be the cut-out
    ///
    /// Without +- a half-width of 25 % is assumed. A gasket that is already on the flange's front counts as well.
    #[arg(long, value_name = "LENGTH", default_value = "0mm", value_parser = values::thickness)]
    gasket: Stated,

    /// What the printer prints: width, depth and height
    #[arg(long, value_name = "WxDxH", default_value = "220x220x250mm", value_parser = values::bed)]
    bed: Bed,

    /// The file to write (binary STL, in mm); an existing one is never overwritten
    #[arg(long, short, value_name = "FILE.stl", default_value = "test-box.stl")]
    output: PathBuf,
}

const EXAMPLES: &str = "\
Cautions:
  A magnet outside attracts screws, tools and the screwdriver, which may go through the cone: put them away first.
  Never seal the driver in with glue. Push the cone with a flat finger near its middle, gently, and never by the dust cap.
  Varnish needs its full time to dry, in fresh air: its vapour attacks some surrounds.

Examples:
  A box with four screws and a gasket of 2 mm
    farcone test-box --volume 1.5L --cutout 92mm --flange 118mm --screw-circle 105mm --screws 4 --hollow 12ml --gasket 2mm

  The hollow worked out, the driver clamped, a small printer
    farcone test-box --volume 0.5L --cutout 72mm --flange 93mm --cone-depth 14mm --cone 62mm --dust-cap 22mm --bed 180x180x180mm

  Afterwards, with the doubt that this command prints
    farcone fit --free-air free.wav --test-box box.wav --volume 1.5000L+-0.014L --sense 47ohm+-1% --wiring across-driver

Exit codes: 0 the file is written, 1 it could not be written, 2 usage, or no such box can be printed.";

impl TestBoxArgs {
    fn hollow(&self) -> Result<Stated, Failure> {
        if let Some(hollow) = self.hollow {
            let assumed = hollow_half_width(hollow.value);
            return Ok(hollow.or_half_width(assumed).0);
        }
        match (self.cone_depth, self.cone, self.dust_cap) {
            (Some(depth_m), Some(cone_m), Some(cap_m)) => {
                Ok(hollow_of_cone(cone_m, cap_m, depth_m)?)
            }
            _ => Err(Failure::usage(
                "the air in the cone's hollow is not stated, and it is part of the volume",
                "lay the driver face up, lay cling film into the cone, fill rice, sand or water level with the flange, and state what went in, \
                 as in --hollow 12ml; or measure --cone-depth 18mm --cone 78mm --dust-cap 30mm",
            )),
        }
    }
}

pub fn run(args: &TestBoxArgs) -> Result<u8, Failure> {
    let screws = args
        .screw_circle
        .zip(args.screws)
        .map(|(circle_m, n)| Screws { circle_m, n });
    let made = TestBox::design(&Wanted {
        volume_m3: args.volume,
        cutout_m: args.cutout,
        flange_m: args.flange,
        screws,
        wall_m: args.wall,
        hollow_m3: args.hollow()?,
        gasket_m: args.gasket,
        bed_m: args.bed.0,
    })?;
    let solid = made.solid();
    store::write_new_stl(&args.output, &solid)?;
    let name = args.output.display().to_string();
    console::print(&told(&made, &solid, &name, Look::of_stdout()))?;
    Ok(EXIT_GOOD)
}

/// What is printed about a box.
fn told(made: &TestBox, solid: &Solid, name: &str, look: Look) -> String {
    let mut text = format!("{name}: a closed round box for a driver that lies on it inverted\n\n");
    for (what, size) in sizes(made, solid) {
        text.push_str(&format!("  {what:<10}{size}\n"));
    }
    text.push_str("\nPrinting and sealing\n");
    for note in notes(made) {
        for (i, line) in wrapped(&note, look.width - 4).iter().enumerate() {
            text.push_str(&format!("  {} {line}\n", if i == 0 { "-" } else { " " }));
        }
    }
    text.push_str(&format!(
        "\nAfterwards\n  farcone fit --free-air FREE.wav --test-box BOX.wav --volume {volume} ...\n\
         In a page for a helper who prints it\n  farcone kit --driver \"LABEL,small\" --method test-box --box {volume}\n",
        volume = volume_argument(made)
    ));
    text
}

/// The volume with its doubt, as `--volume` takes it. The doubt is rounded up to a millilitre.
fn volume_argument(made: &TestBox) -> String {
    let Stated { value, spread } = made.volume_m3;
    let half_width_ml = match spread {
        Spread::HalfWidth(half_width) => (1e6 * half_width).ceil(),
        _ => f64::NAN,
    };
    format!("{:.4}L+-{:.3}L", 1e3 * value, half_width_ml / 1e3)
}

fn sizes(made: &TestBox, solid: &Solid) -> Vec<(&'static str, String)> {
    let mm = |length_m: f64| format!("{:.1} mm", 1e3 * length_m);
    let ml = |volume_m3: f64| format!("{:.1} ml", 1e6 * volume_m3);
    let inside = if made.mouth_length_m > 0.0 {
        format!(
            "mouth {} across, body {} across, {} deep",
            mm(2.0 * made.mouth_radius_m),
            mm(2.0 * made.body_radius_m),
            mm(made.depth_m())
        )
    } else {
        format!(
            "{} across, {} deep",
            mm(2.0 * made.body_radius_m),
            mm(made.depth_m())
        )
    };
    let mut sizes = vec![
        (
            "volume",
            format!(
                "{} = cup {} + gasket {} + cone's hollow {}",
                ml(made.volume_m3.value),
                ml(made.cup_m3),
                ml(made.gasket_m3),
                ml(made.wanted.hollow_m3.value)
            ),
        ),
        (
            "outside",
            format!(
                "{} across, {} high",
                mm(made.across_m()),
                mm(made.height_m())
            ),
        ),
        ("inside", inside),
        (
            "plastic",
            format!(
                "wall {}, floor {}, {:.0} cm3 in all",
                mm(made.outer_radius_m - made.body_radius_m),
                mm(made.floor_m),
                1e6 * solid.volume_m3()
            ),
        ),
    ];
    if let Some(Screws { circle_m, n }) = made.wanted.screws {
        sizes.push((
            "screws",
            format!(
                "{n} blind pilot holes of 2.5 mm, 8 mm deep, on a circle of {}",
                mm(circle_m)
            ),
        ));
    }
    sizes
}

fn notes(made: &TestBox) -> Vec<String> {
    let mut notes = vec![
        "Print it as it stands, mouth up, in mm; it needs no supports.".to_owned(),
        "Make it solid: 100 % infill, or so many perimeters and bottom layers that no hollow is left. Walls that give make the box seem larger."
            .to_owned(),
        "Varnish the inside, all of it, and the corner at the floor twice: prints leak between their lines. Let it dry fully.".to_owned(),
        format!(
            "Check: fill it with water to the rim and weigh the water: {:.0} g at 20 C. What it holds more or less belongs to --volume.",
            // The density of water at 20 degrees Celsius is 0.998 g/ml.
            1e6 * made.cup_m3 * 0.998
        ),
    ];
    if made.gasket_m3 > 0.0 {
        notes.push(format!(
            "Cut the gasket's hole to the mouth, {:.1} mm, of foam or rubber with closed cells.",
            1e3 * made.wanted.cutout_m
        ));
    } else {
        notes.push(
            "No gasket was counted. If you lay one between, make the box anew with --gasket, or add its air to --volume.".to_owned(),
        );
    }
    notes.push(match made.wanted.screws {
        Some(_) => "Screws of 3 to 3.5 mm, self-tapping, no longer than 8 mm plus flange and gasket: a longer one may break through into the air. \
                    Seal every hole and every wire passage of the flange with putty."
            .to_owned(),
        None => "Clamp the flange evenly all around, or load it with a weight that does not touch the magnet's vent. Seal the flange's holes \
                 with putty or tape."
            .to_owned(),
    });
    notes.push(
        "Lay the driver on with its cone facing in and its magnet up, and keep its back free. What stands out before the flange must not touch the rim."
            .to_owned(),
    );
    notes.push(
        "Leak test: push the cone in gently and let go. It returns slowly if the box is tight; if it jumps back at once, find the leak.".to_owned(),
    );
    notes
}
