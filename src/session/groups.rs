//! What groups of takes are called, and which takes a name in a finding means.

use super::session::Condition;

struct Named {
    take: String,
    condition: Condition,
    aside: bool,
    group: String,
}

/// The takes of a session with the groups that they are in. A group is named after its kind, and numbered where there are several of
/// one kind.
pub struct TakeGroups(Vec<Named>);

impl TakeGroups {
    /// Name, condition and whether it is aside, of all takes.
    pub fn of<'a>(takes: impl Iterator<Item = (&'a str, Condition, bool)>) -> Self {
        let named = |(take, condition, aside): (&str, Condition, bool)| Named {
            take: take.to_owned(),
            condition,
            aside,
            group: String::new(),
        };
        let mut all = Self(takes.map(named).collect());
        for i in 0..all.0.len() {
            let group = all.group_name(all.0[i].condition);
            all.0[i].group = group;
        }
        all
    }

    /// The first take of each condition of a kind, in order.
    fn firsts(&self, kind: &str) -> Vec<&Named> {
        let mut firsts: Vec<&Named> = vec![];
        for named in self.0.iter().filter(|named| !named.aside) {
            if named.condition.as_str() == kind
                && firsts
                    .iter()
                    .all(|first| first.condition != named.condition)
            {
                firsts.push(named);
            }
        }
        firsts
    }

    /// What the group of a condition is called.
    pub fn group_name(&self, condition: Condition) -> String {
        let kind = condition.as_str();
        let firsts = self.firsts(kind);
        if firsts.len() < 2 {
            return kind.to_owned();
        }
        let numbered = |i: usize| format!("{kind}-{}", i + 1);
        // Takes are numbered by tries: a group's number must not be another group's take.
        let misleads = firsts.iter().enumerate().any(|(i, first)| {
            let mut others = self.0.iter().filter(|of| of.condition != first.condition);
            others.any(|of| of.take == numbered(i))
        });
        let at = firsts.iter().position(|first| first.condition == condition);
        match at.and_then(|i| Some((i, firsts.get(i)?))) {
            Some((_, first)) if misleads => first.take.clone(),
            Some((i, _)) => numbered(i),
            None => kind.to_owned(),
        }
    }

    /// The takes that a finding's subject means: one by its own name, those of a group, or all of a condition.
    pub fn meant_by(&self, subject: &str) -> Vec<&str> {
        let is_meant = |named: &&Named| {
            let grouped = named.group == subject || named.condition.as_str() == subject;
            named.take == subject || (grouped && !named.aside)
        };
        let meant = self.0.iter().filter(is_meant);
        meant.map(|named| named.take.as_str()).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Stated;

    fn mass(g: f64) -> Condition {
        Condition::AddedMass {
            mass_kg: Stated::within(1e-3 * g, 1e-5),
        }
    }

    fn groups(takes: &[(&'static str, Condition)]) -> TakeGroups {
        TakeGroups::of(takes.iter().map(|(name, of)| (*name, *of, false)))
    }

    #[test]
    fn groups_are_named_by_order() {
        let all = groups(&[
            ("free-air-1", Condition::FreeAir),
            ("free-air-2", Condition::FreeAir),
            ("added-mass-1", mass(5.0)),
            ("added-mass-2", mass(8.0)),
        ]);
        assert_eq!(all.group_name(Condition::FreeAir), "free-air");
        assert_eq!(all.group_name(mass(5.0)), "added-mass-1");
        assert_eq!(all.group_name(mass(8.0)), "added-mass-2");
        assert_eq!(all.meant_by("free-air"), ["free-air-1", "free-air-2"]);
        assert_eq!(all.meant_by("free-air-2"), ["free-air-2"]);
        assert_eq!(all.meant_by("added-mass-2"), ["added-mass-2"]);
        assert_eq!(all.meant_by("added-mass"), ["added-mass-1", "added-mass-2"]);
        assert!(all.meant_by("before any sound").is_empty());
    }

    /// The first mass was tried twice.
    #[test]
    fn no_group_is_called_like_a_take_of_another() {
        let all = groups(&[("added-mass-2", mass(5.0)), ("added-mass-3", mass(8.0))]);
        assert_eq!(all.group_name(mass(5.0)), "added-mass-2");
        assert_eq!(all.group_name(mass(8.0)), "added-mass-3");
        assert_eq!(all.meant_by("added-mass-2"), ["added-mass-2"]);
        assert_eq!(all.meant_by("added-mass-3"), ["added-mass-3"]);
        let far = groups(&[("added-mass-7", mass(5.0)), ("added-mass-9", mass(8.0))]);
        assert_eq!(far.meant_by("added-mass-2"), ["added-mass-9"]);
    }

    #[test]
    fn takes_aside_are_in_no_group() {
        let takes = [("a", false), ("loud", true)];
        let all = TakeGroups::of(
            takes
                .map(|(name, aside)| (name, Condition::FreeAir, aside))
                .into_iter(),
        );
        assert_eq!(all.meant_by("free-air"), ["a"]);
        assert_eq!(all.meant_by("loud"), ["loud"]);
    }
}
