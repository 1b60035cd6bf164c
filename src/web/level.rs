//! The search for the level, burst by burst.

use serde::Deserialize;
use serde_json::{Value, json};

use super::answer::{Answer, Refusal};
use super::frame::Request;
use super::given::{One, SoundJson};
use super::sound::{findings_json, take_of};
use crate::capture::Recorded;
use crate::desk::{Desk, LevelSearch, Step, burst_line, chosen_line};
use crate::session::Condition;

/// Searches under way, by number.
#[derive(Default)]
pub(super) struct Searches(Vec<Search>);

struct Search {
    desk: Desk,
    condition: Condition,
    search: LevelSearch,
}

#[derive(Deserialize)]
struct Start {
    session: Value,
    take: Value,
    sound: SoundJson,
    sample_rate_hz: u32,
}

#[derive(Deserialize)]
struct Burst {
    search: usize,
    n_reported_losses: u32,
}

impl Searches {
    /// Begins a search; one that was begun before is dropped.
    pub fn start(&mut self, request: &Request<'_>) -> Result<Answer, Refusal> {
        let args: Start = request.args()?;
        let one = One::read(args.session, args.take)?;
        let desk = one.desk(args.sound.at(args.sample_rate_hz))?;
        let condition = one.take.condition;
        let search = LevelSearch::new(&desk, condition);
        let next = next(&desk, condition, &search);
        self.0 = vec![Search {
            desk,
            condition,
            search,
        }];
        Ok(json!({"search": 0, "next": next}).into())
    }

    /// Takes note of a burst.
    pub fn burst(&mut self, request: &Request<'_>) -> Result<Answer, Refusal> {
        let args: Burst = request.args()?;
        let Search {
            desk,
            condition,
            search,
        } = self
            .0
            .get_mut(args.search)
            .ok_or_else(|| Refusal::new("the search for the level is over; begin it again"))?;
        let Step::Burst(level_dbfs) = search.next() else {
            return Err(Refusal::new("the search for the level is over"));
        };
        let playback = desk.sound.burst(level_dbfs)?;
        let recorded = Recorded {
            take: take_of(request, desk.sound.sample_rate_hz)?,
            n_reported_losses: args.n_reported_losses,
        };
        let reading = search.saw(desk, &playback, &recorded);
        Ok(json!({
            "search": args.search,
            "line": reading.as_ref().map(burst_line),
            "input_peak_dbfs": reading.as_ref().and_then(|r| super::sound::finite(r.input_peak_dbfs)),
            "next": next(desk, *condition, search),
        })
        .into())
    }
}

fn next(desk: &Desk, condition: Condition, search: &LevelSearch) -> Value {
    match search.next() {
        Step::Burst(level_dbfs) => json!({"burst": level_dbfs}),
        Step::Use(chosen) => json!({"use": {
            "playback_dbfs": chosen.playback_dbfs,
            "relative_uncertainty": chosen.relative_uncertainty,
            "sentence": chosen_line(&chosen, &desk.goal(condition), None),
        }}),
        Step::Damaged(findings) => json!({"damaged": findings_json(&findings)}),
        Step::Exchanged => json!({"exchanged": true}),
    }
}
