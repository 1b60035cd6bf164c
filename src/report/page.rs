//! The document and the order of its parts.

use base64::Engine;
use sha2::{Digest, Sha256};

use super::draw::{Kind, traces};
use super::markup::{Level, escaped, off_paper, paragraph, remark, section};
use super::{
    Options, ReportError, budget, comparison, conditions, findings, letter, overlay_label,
    parameters, photos, verdict, volume,
};
use crate::sheet::Sheet;

const STYLE: &str = concat!(
    include_str!("light.css"),
    include_str!("dark.css"),
    include_str!("page.css"),
    include_str!("plot.css")
);

/// A cone seen from the front: surround, cone, dust cap.
const ORNAMENT: &str = "<svg class=\"cone\" aria-hidden=\"true\" viewBox=\"0 0 100 100\"><circle cx=\"50\" cy=\"50\" r=\"48\"/>\
    <circle cx=\"50\" cy=\"50\" r=\"43\"/><circle cx=\"50\" cy=\"50\" r=\"38\"/><circle cx=\"50\" cy=\"50\" r=\"14\"/></svg>";

/// Shown only where there is a pointer: not on a telephone, nor on paper.
const POINTER: &str =
    "<p class=\"remark pointer\">Hold the pointer over the plot for values.</p>\n";

/// Shown only on paper, of several sheets.
const ON_PAPER: &str = "<p class=\"remark on-paper\">On paper each sheet is shortened. What its fit leaves over, the complex plane, where the doubt \
    comes from and how each value came about stand in this page on a screen, and in the printed report of that sheet alone.</p>\n";

pub fn page(sheets: &[Sheet], options: &Options) -> Result<String, ReportError> {
    let title = match sheets {
        [only] => only.label.clone(),
        several => format!("{} drivers side by side", several.len()),
    };
    let mut main = String::new();
    match sheets {
        [only] => main.push_str(&one(only, options, "", Level(2))?),
        several => {
            main.push_str(&overview(several, options)?);
            main.push_str(&conditions::common_cautions());
            main.push_str(ON_PAPER);
            for (i, sheet) in several.iter().enumerate() {
                let id = format!("{}-", i + 1);
                let body = one(sheet, options, &id, Level(3))?;
                let title = format!("{}  {}", letter(i), sheet.label);
                main.push_str(&format!(
                    "<article class=\"unit\" aria-labelledby=\"{id}unit\">\n<h2 id=\"{id}unit\"><bdi>{}</bdi></h2>\n{body}</article>\n",
                    escaped(&title)
                ));
            }
        }
    }
    let kicker = match sheets {
        [_] => "Loudspeaker driver: small-signal parameters",
        _ => "Loudspeaker drivers: small-signal parameters",
    };
    let hash = base64::engine::general_purpose::STANDARD.encode(Sha256::digest(STYLE.as_bytes()));
    // Pictures are allowed where there are some, and only those within the page.
    let pictures = if options.photos.is_empty() {
        ""
    } else {
        "img-src data:; "
    };
    Ok(format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'sha256-{hash}'; {pictures}base-uri 'none'; form-action 'none'\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<meta name=\"color-scheme\" content=\"light dark\">\n\
         <meta name=\"referrer\" content=\"no-referrer\">\n<title>{}</title>\n<style>{STYLE}</style>\n</head>\n<body>\n\
         <header>\n{ORNAMENT}\n<div><p class=\"kicker\">{kicker}</p>\n<h1><bdi>{}</bdi></h1></div>\n</header>\n<main>\n{main}</main>\n\
         <footer>\n<p>{}</p>\n</footer>\n</body>\n</html>\n",
        escaped(&format!("{title}: driver report")),
        escaped(&title),
        escaped(&made_by(sheets)),
    ))
}

fn made_by(sheets: &[Sheet]) -> String {
    let mut versions: Vec<String> = sheets
        .iter()
        .map(|sheet| format!("{} {}", sheet.origin.program, sheet.origin.version))
        .collect();
    versions.sort();
    versions.dedup();
    format!(
        "Computed by {}. This page loads nothing and runs nothing; it can be kept, printed and sent as it is.",
        versions.join(", ")
    )
}

/// Everything about one sheet.
fn one(sheet: &Sheet, options: &Options, id: &str, level: Level) -> Result<String, ReportError> {
    let mut out = verdict::card(sheet, options, id, level);
    let needs_repeat = sheet.verdict != "good" && sheet.verdict != "usable";
    if needs_repeat {
        out.push_str(&findings::list(sheet, id, level));
    }
    let curves = traces(std::slice::from_ref(sheet));
    if curves.is_empty() {
        let body = paragraph("The sheet holds no curve, so there is nothing to draw.");
        out.push_str(&section(
            &format!("{id}impedance"),
            "Impedance",
            level,
            &body,
        ));
    }
    let mut behind = String::new();
    for kind in Kind::ALL {
        let drawn = plot(kind, &curves, &sheet.label, id)?;
        if drawn.is_empty() {
            continue;
        }
        let (title, said) = match kind {
            Kind::Impedance => ("Impedance", impedance_remark(sheet, &curves)),
            Kind::Residuals => (
                "What the fit leaves over",
                String::from(
                    "Measured less fitted magnitude, in per cent. Dots inside the shaded area are explained by noise; a bow outside of it is something that the circuit does not know.",
                ),
            ),
            Kind::Plane => ("In the complex plane", String::from(plane_remark(sheet))),
        };
        let mut body = format!("{drawn}{}", remark(&said));
        if kind == Kind::Impedance {
            body.push_str(POINTER);
        }
        let part = section(&format!("{id}{}", kind.as_str()), title, level, &body);
        match kind {
            Kind::Impedance => out.push_str(&part),
            Kind::Residuals | Kind::Plane => behind.push_str(&part),
        }
    }
    out.push_str(&off_paper(&behind, level));
    out.push_str(&parameters::table(sheet, id, level));
    out.push_str(&volume::line(sheet, options, id, level));
    out.push_str(&off_paper(&budget::bars(sheet, id, level), level));
    if !needs_repeat {
        out.push_str(&findings::list(sheet, id, level));
    }
    out.push_str(&conditions::sections(sheet, id, level));
    out.push_str(&photos::gallery(sheet, options, id, level));
    Ok(out)
}

fn plane_remark(sheet: &Sheet) -> &'static str {
    if sheet.circuit.is_none() {
        return "Both axes have one scale. A resonance draws a circle; the line is broken where frequencies were left out, such as those of hum.";
    }
    "Both axes have one scale. A resonance draws a circle: dots beside the line, or a dent in it, say that something rubs, leaks or moved. \
     Where dots are missing, frequencies were left out, such as those of hum."
}

fn impedance_remark(sheet: &Sheet, curves: &[super::draw::Trace]) -> String {
    if sheet.circuit.is_none() {
        return String::from(
            "As measured: no circuit was fitted, so there is no fitted curve and no band.",
        );
    }
    let band = if curves.iter().any(|trace| trace.band.is_some()) {
        "The shaded band around the free-air curve is its 95 % interval within these takes; where it cannot be seen it is thinner than the line."
    } else {
        "The sheet does not tell enough for a band around the fitted curve."
    };
    format!("Lines are fitted, dots measured. {band}")
}

/// A plot for wide and narrow pages; empty if there is nothing to draw.
fn plot(
    kind: Kind,
    curves: &[super::draw::Trace],
    label: &str,
    id: &str,
) -> Result<String, ReportError> {
    let draw = |narrow: bool| {
        let suffix = if narrow { "-n" } else { "-w" };
        kind.draw(
            curves,
            label,
            narrow,
            &format!("{id}{}{suffix}", kind.as_str()),
            None,
        )
    };
    let (Some(wide), Some(narrow)) = (draw(false)?, draw(true)?) else {
        return Ok(String::new());
    };
    Ok(format!("<figure>\n{wide}{narrow}</figure>\n"))
}

/// Several sheets: their verdicts, their curves in one plot, and the comparison.
fn overview(sheets: &[Sheet], options: &Options) -> Result<String, ReportError> {
    let mut out = verdict::several(sheets, options);
    let drawn = plot(
        Kind::Impedance,
        &traces(sheets),
        &overlay_label(sheets),
        "all-",
    )?;
    if !drawn.is_empty() {
        let said = "Free-air curves. Lines are fitted, dots measured; shaded bands are 95 % intervals within the takes.";
        let body = format!("{drawn}{}", remark(said));
        out.push_str(&section(
            "all-impedance",
            "Impedance of all",
            Level(2),
            &body,
        ));
    }
    out.push_str(&comparison::section_of(sheets));
    Ok(out)
}
