//! What coins and putty weigh together.

use super::{Coin, CoinError};
use crate::quantity::{Spread, Stated};

/// By how much a worn coin may be off, relative, as a half-width (common practice, no source).
const WEAR: f64 = 0.01;
/// Most coins of one kind on a cone.
pub(super) const MOST: u32 = 8;

/// A pea of putty that nobody weighed (common practice, no source).
pub const PUTTY: Stated = Stated::within(0.5e-3, 0.3e-3);

/// Mass of some coins of several kinds and of the putty that holds them, kg, (M1). Putty without a spread gets that of [`PUTTY`].
///
/// # Errors
/// [`CoinError`] for an unknown coin, a magnetic one, none at all, or too many.
pub fn total(coins: &[(&str, u32)], putty: Option<Stated>) -> Result<Stated, CoinError> {
    if coins.is_empty() {
        return Err(CoinError::Count {
            count: 0,
            most: MOST,
        });
    }
    let (mut value, mut variance) = (0.0, 0.0);
    for &(id, count) in coins {
        let coin = Coin::find(id)?;
        if let Some(reason) = coin.magnetic {
            return Err(CoinError::Magnetic {
                coin: coin.name.to_owned(),
                reason,
            });
        }
        if !(1..=MOST).contains(&count) {
            return Err(CoinError::Count { count, most: MOST });
        }
        let n = f64::from(count);
        value += n * coin.mass_kg;
        // The unprinted digit is the same in all of them; wear is each one's own.
        let printed = n * coin.half_digit_kg;
        let worn = n.sqrt() * WEAR * coin.mass_kg;
        variance += (printed * printed + worn * worn) / 3.0;
    }
    if let Some(putty) = putty {
        let doubt = match (putty.spread, PUTTY.standard_uncertainty()) {
            (Spread::Unstated, usual) => usual,
            _ => putty.standard_uncertainty(),
        };
        value += putty.value;
        variance += doubt.map_or(0.0, |u| u * u);
    }
    Ok(Stated {
        value,
        spread: Spread::Standard(variance.sqrt()),
    })
}
