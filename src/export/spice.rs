//! The driver as a subcircuit: `docs/export-spice.md`.
//!
//! The mechanical side is in the mobility analogy: volts are metres per second (or metres, or cubic metres per second) and
//! amperes are newtons (or pascals), so that each side is a node against ground that can be read and loaded.

use super::error::ExportError;
use super::label::{circuit_name, one_line};
use super::misfit::misfit_line;
use crate::circuit::{Circuit, CoilFamily, CoilLadder, CreepLadder, LADDER_BAND_HZ};
use crate::sheet::{CircuitEntry, Sheet};

/// Resistor in series with an inductor that lies across a chain of others, ohm: without any, their loop has no DC solution. At
/// 10 Hz it is less than a millionth of a driver's impedance.
const LOOP_OHM: f64 = 1e-6;

/// The driver of the sheet's circuit as a subcircuit, the first one in the text.
///
/// # Errors
/// [`ExportError::NoCircuit`], and what a sheet with impossible values causes.
pub fn spice(sheet: &Sheet) -> Result<String, ExportError> {
    let entry = sheet
        .circuit
        .as_ref()
        .ok_or(ExportError::NoCircuit { format: "spice" })?;
    let (circuit, values) = entry.driver()?;
    let mut writer = Writer {
        entry,
        values: circuit
            .parameters()
            .iter()
            .map(|parameter| parameter.name.to_string())
            .zip(values)
            .collect(),
        netlist: String::new(),
        notes: vec![],
    };
    let known = entry.mechanical_values_known;
    let sd_m2 = known
        .then(|| sheet.parameters.sd.as_ref().map(|sd| sd.value))
        .flatten()
        .filter(|value| *value > 0.0 && value.is_finite());
    writer.coil()?;
    writer.mechanical_side(known)?;
    if let Some(sd_m2) = sd_m2 {
        writer.acoustical_side(sd_m2);
    }
    let mut pins = vec!["plus", "minus"];
    pins.extend(
        known
            .then_some(["velocity", "displacement"])
            .into_iter()
            .flatten(),
    );
    pins.extend(sd_m2.map(|_| "volume_velocity"));
    let name = circuit_name(&sheet.label);
    let mut text = head(sheet, &name, &pins, &writer.notes);
    text.push_str(&format!(
        ".subckt {name} {}\n{}.ends {name}\n",
        pins.join(" "),
        writer.netlist
    ));
    Ok(text)
}

/// The comments before the subcircuit.
fn head(sheet: &Sheet, name: &str, pins: &[&str], notes: &[String]) -> String {
    let mut lines = vec![
        format!(
            "farcone-spice/1, by farcone {}",
            one_line(&sheet.origin.version)
        ),
        format!("Driver: {}", one_line(&sheet.label)),
        format!(
            "Small-signal circuit in free air; verdict {}. SI units throughout.",
            one_line(&sheet.verdict)
        ),
        format!("{}.", misfit_line(sheet)),
        String::new(),
        format!(
            "Use:  .include this file, then  Xdriver {} {name}",
            pins.join(" ")
        ),
        "plus, minus      electrical terminals".to_owned(),
    ];
    if pins.contains(&"velocity") {
        lines.push(
            "velocity         cone, V against ground = m/s, forwards for a current into plus;"
                .to_owned(),
        );
        lines.push("                 what draws current here loads the cone, A = N. A mass is a capacitor, F = kg".to_owned());
        lines.push("displacement     V against ground = m; only to be read".to_owned());
    } else {
        lines.push("No mechanical pins: without an added mass or a test box the takes do not tell the mechanical values.".to_owned());
        lines.push("Those below stand for any driver of the same electrical behaviour.".to_owned());
    }
    if pins.contains(&"volume_velocity") {
        lines.push("volume_velocity  V against ground = m3/s; what draws current here loads the cone, A = Pa.".to_owned());
        lines.push("                 Air in a closed box of volume V is an inductor, H = V/(rho*c^2), in series with 1e-12 ohm;".to_owned());
        let air = &sheet.conditions.air;
        let stiffness_pa = air.density_kg_per_m3 * air.speed_of_sound_m_per_s.powi(2);
        lines.push(format!(
            "                 rho*c^2 was {stiffness_pa:.0} Pa in the air of this sheet"
        ));
    } else if pins.contains(&"velocity") {
        lines.push("No pin volume_velocity: the cone's area is unknown.".to_owned());
    }
    lines.extend(notes.iter().cloned());
    lines
        .iter()
        .map(|line| format!("* {line}").trim_end().to_owned() + "\n")
        .collect()
}

struct Writer<'a> {
    entry: &'a CircuitEntry,
    values: Vec<(String, f64)>,
    netlist: String,
    /// For the head of the file.
    notes: Vec<String>,
}

impl Writer<'_> {
    /// A value by its name. [`CircuitEntry::driver`] has made sure that it is there; NaN would show in every test.
    fn value(&self, name: &str) -> f64 {
        self.values
            .iter()
            .find(|(known, _)| known == name)
            .map_or(f64::NAN, |(_, value)| *value)
    }

    fn values(&self, names: &[&str]) -> Vec<f64> {
        names.iter().map(|name| self.value(name)).collect()
    }

    fn comment(&mut self, text: &str) {
        self.netlist.push_str(&format!("* {text}\n"));
    }

    /// A part between two nodes.
    fn part(&mut self, name: &str, nodes: &str, value: f64) {
        self.netlist
            .push_str(&format!("{name} {nodes} {value:?}\n"));
    }

    /// From `plus` to the node `emf`.
    fn coil(&mut self) -> Result<(), ExportError> {
        self.comment("wire, with a source of no volts that senses the current");
        self.netlist.push_str("Vcurrent plus wire 0\n");
        self.part("Rwire", "wire coil", self.value("re_ohm"));
        let family = CoilFamily::parse(&self.entry.coil);
        match family {
            Some(CoilFamily::Plain) => {
                self.comment("coil");
                self.part("Lcoil", "coil emf", self.value("le_h"));
            }
            Some(CoilFamily::Lr2) => {
                self.comment("coil: one inductor, and one that eddy currents shunt");
                self.part("Lcoil", "coil shunted", self.value("le_h"));
                self.part("L2", "shunted emf", self.value("l2_h"));
                self.part("R2", "shunted emf", self.value("r2_ohm"));
            }
            Some(CoilFamily::PowerLaw) => {
                let values = self.values(&["coil_1khz_ohm", "coil_exponent"]);
                self.ladder(CoilFamily::PowerLaw, &values)?;
            }
            Some(CoilFamily::SemiInductor) => {
                let names = ["leb_h", "le_parallel_h", "ke_1khz_ohm", "rss_ohm"];
                let values = self.values(&names);
                self.ladder(CoilFamily::SemiInductor, &values)?;
            }
            // A family that was added and has no netlist yet.
            _ => return Err(ExportError::NoLadder { what: "coil" }),
        }
        self.comment("what the moving coil induces");
        self.part("Eemf", "emf minus velocity 0", self.value("bl_t_m"));
        Ok(())
    }

    fn ladder(&mut self, family: CoilFamily, values: &[f64]) -> Result<(), ExportError> {
        let ladder =
            CoilLadder::new(family, values).ok_or(ExportError::NoLadder { what: "coil" })?;
        self.notes.push(format!(
            "Coil: {}, here a ladder; its impedance is {} off at most, {}.",
            family.as_str(),
            percent(ladder.worst_error),
            band()
        ));
        self.comment(&format!("coil: {} as a ladder", family.as_str()));
        let mut node = "coil".to_owned();
        if let Some(series_h) = ladder.series_h {
            self.part("Lseries", "coil chain", series_h);
            node = "chain".to_owned();
        }
        if let Some(beside) = ladder.beside {
            self.part("Lbeside", &format!("{node} loop"), beside.le_parallel_h);
            self.part("Rloop", "loop emf", LOOP_OHM);
            self.part("Rbeside", &format!("{node} emf"), beside.rss_ohm);
        }
        let n = ladder.sections.len();
        for (i, section) in ladder.sections.iter().enumerate() {
            let next = if i + 1 == n {
                "emf".to_owned()
            } else {
                format!("ladder{}", i + 1)
            };
            let nodes = format!("{node} {next}");
            self.part(&format!("Rladder{}", i + 1), &nodes, section.r_ohm);
            self.part(&format!("Lladder{}", i + 1), &nodes, section.l_h);
            node = next;
        }
        Ok(())
    }

    fn mechanical_side(&mut self, known: bool) -> Result<(), ExportError> {
        self.comment(if known {
            "cone, V = m/s and A = N: force, mass (F = kg), resistance (ohm = s/kg)"
        } else {
            "cone, electrically equivalent only: force, mass, resistance"
        });
        self.part("Fforce", "0 velocity Vcurrent", self.value("bl_t_m"));
        self.part("Cmass", "velocity 0", self.value("mms_kg"));
        self.part("Rloss", "velocity 0", 1.0 / self.value("rms_kg_per_s"));
        self.comment("displacement is the integral of velocity");
        self.netlist.push_str("Gintegral 0 integral velocity 0 1\nCintegral integral 0 1\nEdisplacement displacement 0 integral 0 1\n");
        self.comment("suspension, V = m and A = N: ohm = m/N, F = kg/s");
        self.netlist
            .push_str("Vsuspension displacement spring 0\nFsuspension velocity 0 Vsuspension 1\n");
        let Some(reference_hz) = self.entry.creep_reference_hz else {
            self.part("Rspring", "spring 0", self.value("cms_m_per_n"));
            return Ok(());
        };
        let names = ["bl_t_m", "mms_kg", "cms_m_per_n", "rms_kg_per_s", "creep"];
        let ladder = CreepLadder::new(reference_hz, &self.values(&names))
            .ok_or(ExportError::NoLadder { what: "suspension" })?;
        self.notes.push(format!(
            "Suspension: creeps, here a chain of springs and dampers; the mechanical impedance is {} off at most, {}.",
            percent(ladder.worst_error),
            band()
        ));
        let n = ladder.sections.len();
        let first = if n == 0 { "spring 0" } else { "spring creep0" };
        self.part("Rspring", first, ladder.instant_m_per_n);
        for (i, section) in ladder.sections.iter().enumerate() {
            let next = if i + 1 == n {
                "0".to_owned()
            } else {
                format!("creep{}", i + 1)
            };
            let nodes = format!("creep{i} {next}");
            self.part(
                &format!("Rcreep{}", i + 1),
                &nodes,
                section.compliance_m_per_n,
            );
            self.part(
                &format!("Ccreep{}", i + 1),
                &nodes,
                section.resistance_kg_per_s,
            );
        }
        Ok(())
    }

    fn acoustical_side(&mut self, sd_m2: f64) {
        self.comment(
            "air that the cone moves, V = m3/s and A = Pa; what loads it is felt by the cone",
        );
        self.part("Evolume", "volume 0 velocity 0", sd_m2);
        self.netlist
            .push_str("Vpressure volume volume_velocity 0\n");
        self.part("Fpressure", "velocity 0 Vpressure", sd_m2);
    }
}

/// A relative error, rounded up.
fn percent(error: f64) -> String {
    format!("{:.3} %", (1e5 * error).ceil() / 1e3)
}

fn band() -> String {
    let (low_hz, high_hz) = LADDER_BAND_HZ;
    format!("{low_hz} Hz to {high_hz} Hz")
}
