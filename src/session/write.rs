//! The sheet is written from what came out.

use std::collections::BTreeMap;

use super::analyse::Outcome;
use super::curves::{Group, Measured, parts, uncertainties_ohm};
use super::session::{Condition, Data, Session};
use super::typed::{TypedList, Which};
use crate::air::ResolvedAir;
use crate::finding::{Finding, Verdict};
use crate::fit::{Fit, Observation};
use crate::parameters::{Key, Known, SmallSignal, SpreadOrigin, rating_ohm};
use crate::quantity::Stated;
use crate::sheet::{
    AirEntry, CandidateEntry, CircuitEntry, Conditions, Correlation, CurveEntry, JigEntry, Origin,
    ParameterEntry, Parameters, PhotoEntry, SCHEMA, Share, Sheet, StatedEntry, TakeEntry,
    ValueEntry,
};

/// Everything that goes into a sheet.
pub(super) struct Whole<'a> {
    pub session: &'a Session,
    pub measured: &'a Measured,
    pub typed: &'a TypedList,
    pub air: &'a ResolvedAir,
    pub outcome: Outcome,
    pub findings: Vec<Finding>,
    pub origin: Origin,
}

pub(super) fn sheet(result: &Whole<'_>) -> Sheet {
    let outcome = &result.outcome;
    let mut findings = result.findings.clone();
    // What needs action first; the order of detection otherwise.
    findings.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    let minimum = outcome
        .parameters
        .as_ref()
        .and_then(|p| p.get(Key::MinimumImpedance));
    Sheet {
        schema: SCHEMA.to_owned(),
        label: result.session.label.clone(),
        verdict: Verdict::of(&findings).as_str().to_owned(),
        findings: findings.iter().map(Into::into).collect(),
        parameters: outcome
            .parameters
            .as_ref()
            .map(parameters)
            .unwrap_or_default(),
        correlation: outcome.parameters.as_ref().map(correlation),
        circuit: outcome
            .fit
            .as_ref()
            .map(|fit| circuit(fit, outcome.parameters.as_ref(), outcome.known)),
        derived_rating_ohm: minimum.and_then(|minimum| rating_ohm(minimum.value)),
        dimensions: Some(result.session.dimensions).filter(|dimensions| !dimensions.is_empty()),
        conditions: conditions(result),
        levels: outcome.levels.clone(),
        curves: curves(result),
        origin: result.origin.clone(),
    }
}

/// Where the result comes from; before the takes are used up.
pub(super) fn origin(session: &Session) -> Origin {
    let take = |take: &super::SessionTake| TakeEntry {
        name: take.name.clone(),
        condition: take.condition.as_str().to_owned(),
        stated: match take.condition {
            Condition::AddedMass { mass_kg } => Some(stated(&mass_kg, "kg")),
            Condition::TestBox { volume_m3 } => Some(stated(&volume_m3, "m3")),
            Condition::CheckResistor { ohm } => Some(stated(&ohm, "Ohm")),
            _ => None,
        },
        kind: match take.data {
            Data::Recording(_) => "recording".to_owned(),
            Data::OneInput(_) => "one-input".to_owned(),
            Data::Table(_) => "table".to_owned(),
        },
        sha256: take.sha256.clone(),
        remounted: take.remounted,
        playback_dbfs: take.level.map(|level| level.playback_dbfs),
        driver_peak_v: take.level.and_then(|level| level.driver_peak_v),
        aside: take.aside,
    };
    let photo = |photo: &super::Photo| PhotoEntry {
        of: photo.of.clone(),
        // Its name alone: where it lies on somebody's disk is nobody's business.
        file: photo
            .file
            .file_name()
            .map_or(String::new(), |name| name.to_string_lossy().into_owned()),
        sha256: photo.sha256.clone(),
    };
    Origin {
        program: "farcone".to_owned(),
        version: env!("CARGO_PKG_VERSION").to_owned(),
        draws: session.n_draws as u64,
        seed: session.seed,
        takes: session.takes.iter().map(take).collect(),
        photos: session.photos.iter().map(photo).collect(),
    }
}

fn stated(stated: &Stated, unit: &str) -> StatedEntry {
    StatedEntry {
        value: stated.value,
        unit: unit.to_owned(),
        standard_uncertainty: stated.standard_uncertainty(),
    }
}

/// A number as JSON can hold it: what is not finite is unknown.
fn known(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}

fn parameters(result: &SmallSignal) -> Parameters {
    let mut parameters = Parameters::default();
    for parameter in result
        .parameters
        .iter()
        .filter(|parameter| parameter.value.is_finite())
    {
        let setup = parameter.setup_uncertainty;
        let share = |c: &crate::parameters::Contribution| Share {
            source: c.source.clone(),
            standard_uncertainty: c.standard_uncertainty,
            share: c.share,
            advice: c.advice.clone(),
        };
        let entry = ParameterEntry {
            value: parameter.value,
            unit: parameter.key.unit().to_owned(),
            standard_uncertainty: parameter.standard_uncertainty.and_then(known),
            setup_uncertainty: setup.map(|(u, _)| u),
            setup_origin: setup.map(|(_, origin)| match origin {
                SpreadOrigin::Measured => "measured".to_owned(),
                SpreadOrigin::Assumed => "assumed".to_owned(),
            }),
            interval_95: parameter.interval_95,
            budget: parameter.budget.iter().map(share).collect(),
        };
        parameters.set(parameter.key, entry);
    }
    parameters
}

fn correlation(result: &SmallSignal) -> Correlation {
    let n = result.correlation.n();
    Correlation {
        parameters: result
            .parameters
            .iter()
            .map(|p| p.key.as_str().to_owned())
            .collect(),
        matrix: (0..n)
            .map(|i| (0..n).map(|j| result.correlation.get(i, j)).collect())
            .collect(),
    }
}

fn circuit(fit: &Fit, parameters: Option<&SmallSignal>, known: Option<Known>) -> CircuitEntry {
    let best = fit.best();
    let mut values: BTreeMap<String, ValueEntry> = BTreeMap::new();
    for (parameter, value) in best.circuit_parameters(0) {
        let name = parameter.name.to_string();
        let uncertain = parameters.and_then(|p| {
            p.circuit
                .iter()
                .find(|(other, _, _)| other.name == parameter.name)
        });
        let standard_uncertainty = uncertain.and_then(|(_, _, u)| self::known(*u));
        values.insert(
            name,
            ValueEntry {
                value,
                unit: parameter.unit.to_owned(),
                standard_uncertainty,
            },
        );
    }
    let first = best.aicc();
    CircuitEntry {
        coil: best.coil().as_str().to_owned(),
        creep_reference_hz: best.creep_reference_hz(),
        values,
        mechanical_values_known: known.is_some_and(|known| known.mass),
        candidates: fit
            .candidates
            .iter()
            .map(|candidate| CandidateEntry {
                coil: candidate.coil().as_str().to_owned(),
                creep: candidate.creep_reference_hz().is_some(),
                leak: candidate.leak(),
                weight: candidate.weight(),
                aicc_behind: candidate.aicc() - first,
                reduced_loss: candidate.reduced_loss(),
            })
            .collect(),
    }
}

fn conditions(result: &Whole<'_>) -> Conditions {
    let air = result.air.air();
    let jig = result.session.jig.map(|jig| {
        let of = |which: Which| result.typed.0.iter().find(|typed| typed.which == which);
        let measured_by =
            |pick: fn(&Condition) -> bool| result.measured.jig.iter().any(|g| pick(&g.condition));
        let leads = !measured_by(|c| matches!(c, Condition::ShortedLeads));
        let load = !measured_by(|c| matches!(c, Condition::OpenLeads));
        JigEntry {
            wiring: jig.wiring.as_str().to_owned(),
            sense: of(Which::Sense).map_or(stated(&jig.sense_ohm, "Ohm"), |typed| {
                stated(&typed.stated, "Ohm")
            }),
            leads: of(Which::Lead)
                .filter(|_| leads)
                .map(|typed| stated(&typed.stated, "Ohm")),
            input_load: jig.input_load_ohm[1]
                .filter(|_| load)
                .map(|ohm| stated(&ohm, "Ohm")),
            calibrated_by: result
                .measured
                .jig
                .iter()
                .map(|group| group.name.clone())
                .collect(),
        }
    });
    Conditions {
        air: AirEntry {
            temperature: stated(&result.air.temperature_k, "K"),
            pressure: stated(&result.air.pressure_pa, "Pa"),
            relative_humidity: stated(&result.air.relative_humidity, "1"),
            density_kg_per_m3: air.density_kg_per_m3(),
            speed_of_sound_m_per_s: air.speed_of_sound_m_per_s(),
        },
        jig,
        level_dbfs: result.measured.level_dbfs.and_then(known),
        driver_peak_v: result.measured.driver_peak_v,
        band_hz: [result.session.band_hz.0, result.session.band_hz.1],
    }
}

fn curves(result: &Whole<'_>) -> Vec<CurveEntry> {
    let outcome = &result.outcome;
    let curve = |(i, observation): (usize, &Observation)| {
        let f_hz = observation.curve.frequency_hz();
        let (measured_re_ohm, measured_im_ohm) = parts(observation.curve.z_ohm());
        let model = outcome.fit.as_ref().map(|fit| {
            let (circuit, values) = (fit.best().circuit(i), fit.best().circuit_values(i));
            parts(
                &f_hz
                    .iter()
                    .map(|&f| circuit.impedance(f, &values))
                    .collect::<Vec<_>>(),
            )
        });
        let (modelled_re_ohm, modelled_im_ohm) = model.unzip();
        let (uncertainty_re_ohm, uncertainty_im_ohm) =
            uncertainties_ohm(&observation.curve).unzip();
        CurveEntry {
            name: observation.name.clone(),
            takes: takes_of(result.measured, &observation.name),
            frequency_hz: f_hz.to_vec(),
            measured_re_ohm,
            measured_im_ohm,
            uncertainty_re_ohm,
            uncertainty_im_ohm,
            modelled_re_ohm,
            modelled_im_ohm,
            spread: outcome.spreads.get(i).copied().flatten(),
        }
    };
    outcome.observations.iter().enumerate().map(curve).collect()
}

fn takes_of(measured: &Measured, name: &str) -> Vec<String> {
    let group = measured
        .driver
        .iter()
        .find(|group: &&Group| group.name == name);
    group
        .map(|group| group.members.iter().map(|m| m.name.clone()).collect())
        .unwrap_or_default()
}
