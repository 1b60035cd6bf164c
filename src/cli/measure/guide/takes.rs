//! The screens that make a take, and what each says at once.

use farcone::finding::Verdict;
use farcone::quantity::{DisplayUnit, format_estimate};
use farcone::session::Condition;
use farcone::sheet::Sheet;

use super::Wanted;
use super::questions::ask;
use crate::cli::failure::Failure;
use crate::cli::measure::ask::Ready;
use crate::cli::measure::job::{Done, Job};
use crate::cli::measure::{chat_line, screens, start};
use crate::cli::{values, view};

/// A calibration take; may be skipped.
pub fn calibrate(job: &mut Job, heading: &str, condition: Condition) -> Result<(), Failure> {
    job.dialogue.heading(heading);
    job.dialogue
        .say(&screens::arrange(&condition, job.wiring()));
    loop {
        if job.dialogue.ready("Ready?", true)? == Ready::Skip
            || job.take(condition, false)? == Done::Dropped
        {
            return Ok(());
        }
        let reading = job.read_jig()?;
        let about = reading.findings.iter().filter(|finding| {
            finding
                .take
                .as_deref()
                .is_some_and(|take| take.starts_with(condition.as_str()))
        });
        let about: Vec<_> = about.cloned().collect();
        job.report(&about);
        let line = match condition {
            Condition::SameNode => reading.channels.map(|h| {
                format!(
                    "Channel 2 shows {:.2} % of channel 1; that is taken out from now on.",
                    100.0 * h.norm()
                )
            }),
            Condition::OpenLeads => reading.load_ohm.map(|ohm| {
                if ohm.abs() > 1e5 {
                    "The inputs draw next to nothing.".to_owned()
                } else {
                    format!(
                        "The inputs draw like {:.1} kilohm; that is taken out from now on.",
                        ohm / 1000.0
                    )
                }
            }),
            Condition::ShortedLeads => reading
                .leads_ohm
                .map(|ohm| format!("The leads have {ohm:.3} ohm; they are taken out from now on.")),
            _ => None,
        };
        if let Some(line) = line {
            job.dialogue.say(&line);
        }
        if about.is_empty() || !again(job, &condition)? {
            return Ok(());
        }
    }
}

/// Whether a take with findings is made again; it is taken back then.
fn again(job: &mut Job, condition: &Condition) -> Result<bool, Failure> {
    let answers = [
        "change it and make this take again".to_owned(),
        "go on with it".to_owned(),
    ];
    let again = job.dialogue.choose("What now?", &answers)? == 0;
    if again {
        job.take_back(condition)?;
    }
    Ok(again)
}

pub fn check(job: &mut Job, wanted: &Wanted<'_>) -> Result<(), Failure> {
    let sense_ohm = job.sense_ohm();
    job.dialogue
        .heading("Does the jig read a known resistor right?");
    job.dialogue.say(
        "Any resistor whose value you know well, at least twice or at most half the sense resistor: equal ones hide a wrong wiring.",
    );
    let stated = match wanted.check_ohm {
        Some(stated) => stated,
        None => {
            let typed = job.dialogue.text(
                "Its value with its tolerance (such as 22ohm+-1%; Enter: there is none)",
                Some(""),
                |text| {
                    if text.is_empty() {
                        return Ok(None);
                    }
                    let stated = values::resistance(text).map_err(|error| error.to_string())?;
                    start::refuse_equal_check(sense_ohm, stated.value)
                        .map_err(|error| error.to_string())?;
                    Ok::<_, String>(Some(stated))
                },
            )?;
            match typed {
                Some(stated) => stated,
                None => return Ok(()),
            }
        }
    };
    let condition = Condition::CheckResistor { ohm: stated };
    job.dialogue
        .say(&screens::arrange(&condition, job.wiring()));
    loop {
        if job.dialogue.ready("Ready?", true)? == Ready::Skip
            || job.take(condition, false)? == Done::Dropped
        {
            return Ok(());
        }
        let Some(check) = job.last_check()? else {
            return Ok(());
        };
        let (read_ohm, off) = (check.read_ohm, check.off());
        match check.passes() {
            Some(true) => {
                job.dialogue.say(&format!(
                    "{} ohm reads {read_ohm:.2} ohm: good.",
                    stated.value
                ));
                return Ok(());
            }
            None => {
                job.dialogue.say(
                    "It matches the two inputs, since there is no take with both on one node. Whether the jig is right, it cannot tell \
                     then.",
                );
                return Ok(());
            }
            Some(false) => {}
        }
        job.dialogue.warn(&format!(
            "{} ohm reads {read_ohm:.2} ohm: off by {:.0} %. Check both resistors' values, the wiring against the drawing, and that the \
             knobs were not touched since both inputs were on one node.",
            stated.value,
            100.0 * off
        ));
        let answers = [
            "change it and make this take again".to_owned(),
            "stop here and start over".to_owned(),
            "go on all the same".to_owned(),
        ];
        match job.dialogue.choose("What now?", &answers)? {
            0 => job.take_back(&condition)?,
            1 => {
                return Err(Failure::SetUp {
                    message: format!(
                        "the check resistor of {} ohm reads {read_ohm:.2} ohm; start over in a new folder once the jig is right",
                        stated.value
                    ),
                });
            }
            _ => return Ok(()),
        }
    }
}

/// A take of the driver, with what it says at once.
pub fn driver_take(
    job: &mut Job,
    heading: &str,
    condition: Condition,
    remounted: bool,
) -> Result<(), Failure> {
    if !heading.is_empty() {
        job.dialogue.heading(heading);
    }
    job.dialogue
        .say(&screens::arrange(&condition, job.wiring()));
    loop {
        if job
            .dialogue
            .ready("Ready?", remounted || condition != Condition::FreeAir)?
            == Ready::Skip
            || job.take(condition, remounted)? == Done::Dropped
        {
            return Ok(());
        }
        let Some(sheet) = job.look()? else {
            return Ok(());
        };
        job.dialogue.say(&so_far(&sheet));
        job.dialogue
            .show(&chat_line(job, &sheet, job.dialogue.look()));
        let about = job.about_last(&sheet);
        job.dialogue.show(&about);
        if about.is_empty() && sheet.verdict != Verdict::Redo.as_str() {
            return Ok(());
        }
        if sheet.verdict == Verdict::Redo.as_str() && about.is_empty() {
            job.dialogue.show(&view::findings_of_sheet(
                &sheet.findings,
                job.dialogue.look(),
            ));
        }
        if !again(job, &condition)? {
            return Ok(());
        }
    }
}

/// The result so far in a line.
fn so_far(sheet: &Sheet) -> String {
    let parameters = &sheet.parameters;
    let part = |name: &str, entry: &Option<farcone::sheet::ParameterEntry>, unit: DisplayUnit| {
        entry.as_ref().map(|entry| {
            let shown = format_estimate(entry.value, entry.standard_uncertainty, unit);
            format!("{name} {} {}", shown.value, unit.symbol())
                .trim_end()
                .to_owned()
        })
    };
    let parts: Vec<String> = [
        part("fs", &parameters.fs, DisplayUnit::Hertz),
        part("Re", &parameters.re, DisplayUnit::Ohm),
        part("Qms", &parameters.qms, DisplayUnit::Plain),
        part("Qts", &parameters.qts, DisplayUnit::Plain),
        part("Vas", &parameters.vas, DisplayUnit::Litre),
        part("Mms", &parameters.mms, DisplayUnit::Gram),
    ]
    .into_iter()
    .flatten()
    .collect();
    if parts.is_empty() {
        "Nothing can be told from it yet.".to_owned()
    } else {
        format!("So far: {}.", parts.join(", "))
    }
}

/// A known mass on the cone, or a closed box: one of them is needed for everything mechanical.
pub fn loaded(job: &mut Job, wanted: &Wanted<'_>) -> Result<(), Failure> {
    job.dialogue.heading("How heavy is the cone?");
    if let Some(mass_kg) = wanted.mass_kg {
        return driver_take(job, "", Condition::AddedMass { mass_kg }, false);
    }
    if let Some(volume_m3) = wanted.volume_m3 {
        return driver_take(job, "", Condition::TestBox { volume_m3 }, false);
    }
    let answers = [
        "stick a known mass on the cone: about three quarters of what the cone itself weighs, so that fs drops by 20 to 30 %"
            .to_owned(),
        "put the driver on a closed, airtight box of known volume".to_owned(),
        "neither: Vas, Mms and Bl stay unknown".to_owned(),
    ];
    let condition = match job.dialogue.choose("Which?", &answers)? {
        0 => Condition::AddedMass {
            mass_kg: ask(
                &job.dialogue,
                "Everything you add, putty included (such as 2.4g+-0.05g)",
                values::mass,
            )?,
        },
        1 => Condition::TestBox {
            volume_m3: ask(
                &job.dialogue,
                "The air it closes off (such as 2.00L+-0.02L)",
                values::volume,
            )?,
        },
        _ => return Ok(()),
    };
    driver_take(job, "", condition, false)
}
