//! The closed-box line: does the volume stand a chance?

use super::Options;
use super::markup::{Cell, Level, Table, remark, section};
use crate::enclosure::{Chance, ClosedBox, Doubtful, EnclosureError, MOST_QTC, SmallDriver};
use crate::parameters::Key;
use crate::quantity::{DisplayUnit, format_estimate};
use crate::sheet::Sheet;

fn closed(sheet: &Sheet, net_m3: f64) -> Result<ClosedBox, EnclosureError> {
    let figure = |key: Key| {
        let entry = sheet.parameters.get(key)?;
        Some(Doubtful {
            value: entry.value,
            takes: entry.standard_uncertainty,
            setup: entry.setup_uncertainty,
        })
    };
    let coefficient = |a: Key, b: Key| sheet.correlation.as_ref()?.coefficient(a, b);
    let all = || {
        Some([
            coefficient(Key::Fs, Key::Qts)?,
            coefficient(Key::Fs, Key::Vas)?,
            coefficient(Key::Qts, Key::Vas)?,
        ])
    };
    let driver = SmallDriver {
        fs_hz: figure(Key::Fs),
        qts: figure(Key::Qts),
        vas_m3: figure(Key::Vas),
        correlation: all(),
    };
    ClosedBox::new(&driver, net_m3)
}

/// Three significant digits, in millilitres below a decilitre.
fn litres(m3: f64) -> String {
    const ML_BELOW_M3: f64 = 1e-4;
    let (scaled, unit) = if m3 < ML_BELOW_M3 {
        (1e6 * m3, "mL")
    } else {
        (DisplayUnit::Litre.from_si(m3), "L")
    };
    let decimals = (2 - scaled.log10().floor() as i32).clamp(0, 9) as usize;
    format!("{scaled:.decimals$} {unit}")
}

/// In a word, for a table of several sheets; `None` if nobody asked.
pub fn word(sheet: &Sheet, options: &Options) -> Option<String> {
    let word = match closed(sheet, options.net_m3?) {
        Err(_) => "cannot be said",
        Ok(box_) => match box_.chance() {
            Chance::Good => "yes",
            Chance::Roomy => "yes, roomy",
            Chance::Vast => "far too large",
            Chance::Tiny => "far too small",
            Chance::Poor => "hardly",
            _ => "perhaps",
        },
    };
    Some(word.to_owned())
}

/// `closed box of 2.40 L`; `None` if nobody asked.
pub fn asked(options: &Options) -> Option<String> {
    Some(format!("closed box of {}", litres(options.net_m3?)))
}

/// One plain sentence; `None` if nobody asked.
pub fn sentence(sheet: &Sheet, options: &Options) -> Option<String> {
    let net_m3 = options.net_m3?;
    let net = litres(net_m3);
    let box_ = match closed(sheet, net_m3) {
        Ok(box_) => box_,
        Err(error) => {
            return Some(format!(
                "Whether {net} stand a chance cannot be said: {error}."
            ));
        }
    };
    let qtc = format_estimate(box_.qtc.value, box_.qtc.half_width(), DisplayUnit::Plain);
    let qtc = format!("Qtc {}", qtc.with_doubt());
    let f3 = DisplayUnit::Hertz.from_si(box_.f3_hz.value);
    let larger = match box_.least_m3 {
        Some(least) => format!("from {} on Qtc is {MOST_QTC} or less", litres(least)),
        None => String::from("no closed box helps, since Qts itself is as high"),
    };
    Some(match box_.chance() {
        Chance::Good => format!(
            "Yes, a closed box of {net} stands a chance: {qtc}, and the bass reaches down to about {f3:.0} Hz."
        ),
        Chance::Roomy => format!(
            "Yes, a closed box of {net} stands a chance, and less would do: {qtc}, with the bass falling early; about {f3:.0} Hz are reached."
        ),
        Chance::Vast => format!(
            "{net} are far more than useful: the driver behaves nearly as in free air ({qtc}, about {f3:.0} Hz are reached); about {} would do.",
            litres(box_.enough_m3)
        ),
        Chance::Tiny => format!(
            "No: in {net} the air is {:.0} times as stiff as the suspension. Were litres meant? {}.",
            box_.alpha,
            capital(&larger)
        ),
        Chance::Poor => format!(
            "Hardly: in {net} closed the air is too stiff. {qtc} means bass that is {:.1} dB too loud and lingers; {larger}.",
            box_.peak_db
        ),
        _ => format!(
            "Perhaps: {net} closed are on the edge. {qtc} may or may not exceed {MOST_QTC}, above which the bass is too loud and lingers; {larger}."
        ),
    })
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|c| c.to_ascii_uppercase());
    first.into_iter().chain(letters).collect()
}

/// The line with its intervals; empty if nobody asked, and where the verdict says already why it cannot be told.
pub fn line(sheet: &Sheet, options: &Options, id: &str, level: Level) -> String {
    let Some(net_m3) = options.net_m3 else {
        return String::new();
    };
    let heading = format!("{id}closed-box");
    let title = format!("In a closed box of {}", litres(net_m3));
    let Ok(box_) = closed(sheet, net_m3) else {
        return String::new();
    };
    let row = |symbol: &str, what: &str, figure: &Doubtful, unit: DisplayUnit| {
        let [value, takes] = shown(figure.value, figure.half_width_takes(), unit);
        let [_, setup] = shown(figure.value, figure.half_width_setup(), unit);
        let interval = figure.interval().map_or_else(
            || String::from("unknown"),
            |[low, high]| {
                let half = figure.half_width();
                let end = |x| format_estimate(x, half, unit).value;
                format!("{} to {}", end(low), end(high))
            },
        );
        vec![
            Cell::Text(symbol.to_owned()),
            Cell::Number(value),
            Cell::Number(takes),
            Cell::Number(setup),
            Cell::Text(unit.symbol().to_owned()),
            Cell::Number(interval),
            Cell::Text(what.to_owned()),
        ]
    };
    let rows = [
        row(
            "fc",
            "resonance in the box",
            &box_.fc_hz,
            DisplayUnit::Hertz,
        ),
        row("Qtc", "total Q in the box", &box_.qtc, DisplayUnit::Plain),
        row(
            "f3",
            "where the level is 3 dB down",
            &box_.f3_hz,
            DisplayUnit::Hertz,
        ),
    ];
    let table = Table {
        id: &format!("{id}closed-box-table"),
        caption: "95 % intervals, within these takes, from set-up to set-up, and both together",
        head: &[
            ("box", false),
            ("value", true),
            ("± takes", true),
            ("± set-up", true),
            ("unit", false),
            ("both together", true),
            ("meaning", false),
        ],
    };
    let peak = if box_.peak_db > 0.0 {
        format!(
            "the response rises to {:.1} dB above its level at high frequencies",
            box_.peak_db
        )
    } else {
        String::from("the response has no peak")
    };
    let said = format!(
        "Vas over the volume is {:.2}; {peak}. Net volume, the driver's own losses alone: damping material and leaks lower Qtc a little.",
        box_.alpha
    );
    section(
        &heading,
        &title,
        level,
        &(table.rows(&rows) + &remark(&said)),
    )
}

fn shown(value: f64, half: Option<f64>, unit: DisplayUnit) -> [String; 2] {
    let shown = format_estimate(value, half, unit);
    [shown.value, shown.plus_minus]
}
