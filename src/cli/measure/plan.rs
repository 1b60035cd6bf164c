//! What is still missing: the order of the guided measurement follows from it, so that a session left half-way goes on where
//! it stopped.

use farcone::session::{Condition, SessionFile};

/// One screen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// Behind an amplifier: what full scale is in volts.
    Volts,
    /// Which input is which.
    Tap,
    /// Both inputs on one node.
    SameNode,
    /// The leads open.
    Open,
    /// The leads shorted.
    Shorted,
    /// A known resistor.
    Check,
    /// The driver alone.
    FreeAir,
    /// The driver alone, taken out and put back.
    Again,
    /// How large the cone is.
    Cone,
    /// A known mass, or a known volume.
    Loaded,
    /// Temperature and altitude.
    Air,
    /// How it is mounted.
    Mounting,
    /// All there is.
    Sheet,
}

/// What a session file does not know.
#[derive(Clone, Debug, Default)]
pub struct Ticked {
    done: Vec<Part>,
}

impl Ticked {
    /// Done, or skipped on request.
    pub fn tick(&mut self, part: Part) {
        self.done.push(part);
    }

    fn has(&self, part: Part) -> bool {
        self.done.contains(&part)
    }
}

/// The next screen.
pub fn next(session: &SessionFile, ticked: &Ticked) -> Part {
    let takes = |kind: &str| {
        session
            .takes
            .iter()
            .filter(|take| !take.aside && take.condition.as_str() == kind)
            .count()
    };
    let n_loaded = takes("added-mass") + takes("test-box");
    let missing = [
        (
            Part::Volts,
            session.amplifier && session.source_full_scale_v.is_none(),
        ),
        // Once there are takes, the channels were told apart.
        (Part::Tap, session.takes.is_empty()),
        (Part::SameNode, takes("same-node") == 0),
        (Part::Open, takes("open-leads") == 0),
        (Part::Shorted, takes("shorted-leads") == 0),
        (Part::Check, takes("check-resistor") == 0),
        (Part::FreeAir, takes("free-air") == 0),
        (Part::Again, takes("free-air") < 2),
        (Part::Cone, session.cone.is_none()),
        (Part::Loaded, n_loaded == 0),
        (Part::Air, session.air.temperature_k.is_none()),
        (Part::Mounting, session.dimensions.is_empty()),
    ];
    missing
        .into_iter()
        .find(|(part, is_missing)| *is_missing && !ticked.has(*part))
        .map_or(Part::Sheet, |(part, _)| part)
}

/// Steps that were asked for and are not there yet: a list that is given again goes on where it stopped.
pub fn remaining(steps: &[Condition], session: &SessionFile) -> Vec<Condition> {
    let mut there: Vec<Condition> = session
        .takes
        .iter()
        .filter(|take| !take.aside)
        .map(|take| take.condition)
        .collect();
    steps
        .iter()
        .filter(
            |step| match there.iter().position(|condition| condition == *step) {
                Some(at) => {
                    there.remove(at);
                    false
                }
                None => true,
            },
        )
        .copied()
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use farcone::quantity::Stated;
    use farcone::session::{Cone, TakeFile};

    fn take(condition: Condition) -> TakeFile {
        TakeFile::new(condition.as_str(), condition, vec!["x.wav".into()])
    }

    #[test]
    fn the_order_follows_what_is_missing() {
        let mut session = SessionFile::new("x", vec![]);
        let mut ticked = Ticked::default();
        session.amplifier = true;
        assert_eq!(next(&session, &ticked), Part::Volts);
        session.source_full_scale_v = Some(Stated::unstated(2.0));
        assert_eq!(next(&session, &ticked), Part::Tap);
        // Left half-way: what is there is not asked for again, whatever came first.
        session.takes = vec![take(Condition::FreeAir), take(Condition::SameNode)];
        assert_eq!(next(&session, &ticked), Part::Open);
        for part in [Part::Open, Part::Shorted, Part::Check] {
            ticked.tick(part);
        }
        assert_eq!(next(&session, &ticked), Part::Again);
        session.takes.push(take(Condition::FreeAir));
        assert_eq!(next(&session, &ticked), Part::Cone);
        session.cone = Some(Cone::Diameter(Stated::unstated(0.078)));
        assert_eq!(next(&session, &ticked), Part::Loaded);
        ticked.tick(Part::Loaded);
        assert_eq!(next(&session, &ticked), Part::Air);
        ticked.tick(Part::Air);
        assert_eq!(next(&session, &ticked), Part::Mounting);
        session.dimensions.depth_m = Some(0.05);
        assert_eq!(next(&session, &ticked), Part::Sheet);
    }

    #[test]
    fn steps_that_are_there_are_not_made_again() {
        let mass = Condition::AddedMass {
            mass_kg: Stated::within(2e-3, 1e-5),
        };
        let steps = [Condition::FreeAir, Condition::FreeAir, mass];
        let mut session = SessionFile::new("x", vec![]);
        assert_eq!(remaining(&steps, &session), steps);
        session.takes = vec![take(Condition::FreeAir)];
        assert_eq!(remaining(&steps, &session), [Condition::FreeAir, mass]);
        session.takes[0].aside = true;
        assert_eq!(remaining(&steps, &session), steps);
    }
}
