//! Coins as they are typed: `coins:2xeur-20ct+putty0.5g+-0.1g`.

use super::{CoinError, PUTTY, total};
use crate::quantity::{Dimension, Stated, parse_quantity};

const PREFIX: &str = "coins:";

/// Reads coins and putty, kg: kinds as `2xeur-20ct` with a plus between them, and `putty` (a pea of it) or `putty0.5g+-0.1g` last. `None` for a
/// text that does not begin with `coins:`.
///
/// # Errors
/// [`CoinError`], with a message that says what to type.
///
/// ```
/// use farcone::coins::parse_coins;
/// let mass = parse_coins("coins:2xeur-20ct+putty").unwrap()?;
/// assert!((mass.value - 11.9e-3).abs() < 1e-9);
/// assert!(parse_coins("5.2g").is_none());
/// # Ok::<(), farcone::coins::CoinError>(())
/// ```
pub fn parse_coins(text: &str) -> Option<Result<Stated, CoinError>> {
    text.trim().strip_prefix(PREFIX).map(coins)
}

fn coins(text: &str) -> Result<Stated, CoinError> {
    let wrong = || CoinError::Text {
        text: format!("{PREFIX}{}", text.chars().take(40).collect::<String>()),
    };
    let (kinds, putty) = match text.split_once("putty") {
        None => (text, None),
        Some((kinds, "")) => (kinds, Some(PUTTY)),
        Some((kinds, mass)) => (kinds, Some(parse_quantity(mass, Dimension::Mass)?)),
    };
    let kinds = match putty {
        Some(_) => kinds.strip_suffix('+').ok_or_else(wrong)?,
        None => kinds,
    };
    let list: Option<Vec<(&str, u32)>> = kinds
        .split('+')
        .map(|kind| {
            let (count, id) = kind.trim().split_once('x')?;
            Some((id.trim(), count.trim().parse().ok()?))
        })
        .collect();
    total(&list.ok_or_else(wrong)?, putty)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn coins_are_typed() {
        let grams = |text: &str| 1e3 * parse_coins(text).unwrap().unwrap().value;
        const ROUNDING: f64 = 1e-9;
        for (text, expected) in [
            ("coins:2xeur-20ct", 11.4),
            ("coins: 2xeur-20ct + 1xeur-10ct ", 15.5),
            ("coins:1xusd-10c+putty0.3g", 2.568),
            ("coins:4xjpy-1+putty", 4.5),
        ] {
            assert!((grams(text) - expected).abs() < ROUNDING, "{text}");
        }
        for (text, says) in [
            ("coins:", "names no coins"),
            ("coins:two", "names no coins"),
            ("coins:putty", "names no coins"),
            ("coins:2xeur-20ctputty", "names no coins"),
            ("coins:1xeur-1", "magnetic"),
            ("coins:9xeur-20ct", "1 to 8"),
            ("coins:2xeur-30ct", "eur-20ct"),
            ("coins:2xeur-20ct+putty0.5", "putty"),
        ] {
            let said = parse_coins(text).unwrap().unwrap_err().to_string();
            assert!(said.contains(says), "{text}: {said}");
        }
    }
}
