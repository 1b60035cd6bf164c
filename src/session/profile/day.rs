//! A date without a time.

use std::fmt;

/// A day of the Gregorian calendar, written as ISO 8601 has it: `2026-03-01`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Day {
    year: u16,
    month: u8,
    day: u8,
}

impl Day {
    /// A day; `None` if there is none of that number.
    pub fn new(year: u16, month: u8, day: u8) -> Option<Self> {
        let leap =
            year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400));
        let n_days = match month {
            2 if leap => 29,
            2 => 28,
            4 | 6 | 9 | 11 => 30,
            1..=12 => 31,
            _ => return None,
        };
        let exists = (1..=9999).contains(&year) && (1..=n_days).contains(&day);
        exists.then_some(Self { year, month, day })
    }

    /// Reads `YYYY-MM-DD`; `None` for anything else.
    pub fn parse(text: &str) -> Option<Self> {
        let mut parts = text.split('-');
        let mut number = |n_digits| {
            let part = parts.next()?;
            let digits = part.len() == n_digits && part.bytes().all(|b| b.is_ascii_digit());
            digits.then(|| part.parse::<u16>().ok()).flatten()
        };
        let (year, month, day) = (number(4)?, number(2)?, number(2)?);
        if parts.next().is_some() {
            return None;
        }
        Self::new(year, u8::try_from(month).ok()?, u8::try_from(day).ok()?)
    }

    /// Days from `earlier` to this day; negative if it is later.
    pub fn days_since(self, earlier: Self) -> i64 {
        self.number() - earlier.number()
    }

    /// Days since a fixed day: years begin in March, so that the leap day comes last; 153 days in five months of 31 and 30.
    fn number(self) -> i64 {
        let month = (i64::from(self.month) + 9) % 12;
        let year = i64::from(self.year) - month / 10;
        365 * year + year / 4 - year / 100
            + year / 400
            + (153 * month + 2) / 5
            + i64::from(self.day)
    }
}

impl fmt::Display for Day {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:04}-{:02}-{:02}", self.year, self.month, self.day)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> Day {
        Day::parse(text).unwrap()
    }

    /// Every day from 1999 to 2105 is one after the day before it.
    #[test]
    fn days_follow_each_other() {
        let mut last: Option<Day> = None;
        let mut n = 0;
        for year in 1999..=2105 {
            for month in 1..=12 {
                for day in (1..=31).filter_map(|day| Day::new(year, month, day)) {
                    if let Some(last) = last {
                        assert_eq!(day.days_since(last), 1, "{last} {day}");
                    }
                    assert_eq!(Day::parse(&day.to_string()), Some(day));
                    (last, n) = (Some(day), n + 1);
                }
            }
        }
        // 107 years with 26 leap days: 2000 to 2104 without 2100.
        assert_eq!(n, 107 * 365 + 26);
        assert_eq!(day("2000-01-01").days_since(day("1970-01-01")), 10_957);
        assert_eq!(day("2026-01-01").days_since(day("2026-03-01")), -59);
    }

    #[test]
    fn other_texts_are_no_days() {
        for text in [
            "",
            "2026-3-1",
            "2026-02-29",
            "2026-13-01",
            "2026-00-10",
            "2026-01-00",
            "0000-01-01",
            "26-01-01",
            "2026-01-01T",
            "2026-01-01-",
            "+026-01-01",
            "2026/01/01",
            "2100-02-29",
        ] {
            assert_eq!(Day::parse(text), None, "{text}");
        }
    }
}
