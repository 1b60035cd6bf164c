//! Which coins to stick on.

use super::moving_mass::SHARES;
use super::total::MOST;
use super::{Coin, CoinError, Currency, MovingMass, PUTTY, total};
use crate::quantity::Stated;

/// A mass is near enough to the best one within this factor, as a natural logarithm: the resonance then drops by 21 to 29 %.
const NEAR: f64 = 0.22;

/// Coins of one kind, and what is to be expected of them.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// The coin.
    pub coin: &'static Coin,
    /// How many.
    pub count: u32,
    /// Putty that holds them, kg; `None` if something weightless does.
    pub putty_kg: Option<Stated>,
    /// All of it, kg.
    pub mass_kg: Stated,
    /// Resonance over the free one, lowest and highest, (M3).
    pub drop: (f64, f64),
}

/// The fewest coins of one kind that lower the resonance by 20 to 30 %, in pairs if possible, so that they can lie opposite each other. `putty` is
/// what holds them: [`PUTTY`] if nobody weighed it, `None` for something weightless.
///
/// # Errors
/// [`CoinError`] for an unknown currency, and where no coin serves: then a sentence says what does.
pub fn plan(currency: &str, moving: &MovingMass, putty: Option<Stated>) -> Result<Plan, CoinError> {
    let currency = Currency::find(currency)?;
    let (low_kg, best_kg, high_kg) = (
        SHARES.0 * moving.best_kg,
        SHARES.1 * moving.best_kg,
        SHARES.2 * moving.best_kg,
    );
    let usable = || currency.coins.iter().filter(|coin| coin.magnetic.is_none());
    let mut fitting = vec![];
    for coin in usable() {
        for count in 1..=MOST {
            let mass_kg = total(&[(coin.id, count)], putty)?;
            if (low_kg..=high_kg).contains(&mass_kg.value) {
                let off = (mass_kg.value / best_kg).ln().abs();
                fitting.push((coin, count, mass_kg, off));
            }
        }
    }
    // Near before far, pairs before a single one before what lies lopsided, few before many.
    let rank = |&(_, count, _, off): &(&Coin, u32, Stated, f64)| {
        let lopsided = match count {
            1 => 1,
            odd if odd % 2 == 1 => 2,
            _ => 0,
        };
        (off > NEAR, lopsided, count)
    };
    let best = fitting
        .into_iter()
        .min_by(|a, b| rank(a).cmp(&rank(b)).then(a.3.total_cmp(&b.3)));
    let Some((coin, count, mass_kg, _)) = best else {
        let putty_kg = putty.map_or(0.0, |putty| putty.value);
        let lightest = usable()
            .map(|coin| coin.mass_kg + putty_kg)
            .min_by(f64::total_cmp);
        let (low_g, high_g) = (1e3 * low_kg, 1e3 * high_kg);
        return Err(match lightest.filter(|lightest| *lightest > high_kg) {
            Some(lightest_kg) => CoinError::TooLight {
                moving_g: 1e3 * moving.best_kg,
                lightest_g: 1e3 * lightest_kg,
                low_g,
                high_g,
            },
            None => CoinError::NoneFits {
                most: MOST,
                low_g,
                high_g,
            },
        });
    };
    let doubt = 2.0 * mass_kg.standard_uncertainty().unwrap_or(0.0);
    let ratio = |added_kg: f64, moving_kg: f64| (1.0 + added_kg / moving_kg).sqrt().recip();
    Ok(Plan {
        coin,
        count,
        putty_kg: putty,
        mass_kg,
        drop: (
            ratio(mass_kg.value + doubt, moving.low_kg),
            ratio(mass_kg.value - doubt, moving.high_kg),
        ),
    })
}

impl Plan {
    /// Lowest and highest resonance to be expected, Hz, where the free one is known, Hz.
    pub fn expect_hz(&self, fs_hz: f64) -> (f64, f64) {
        (fs_hz * self.drop.0, fs_hz * self.drop.1)
    }

    /// What to do, in words: "Two 20 cent coins opposite each other and a pea of putty, about 11.9 g; expect 67 to 77 Hz."
    pub fn sentence(&self, fs_hz: Option<f64>) -> String {
        const NUMBERS: [&str; 8] = [
            "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight",
        ];
        let number = NUMBERS[(self.count as usize - 1).min(NUMBERS.len() - 1)];
        let name = if self.count == 1 {
            self.coin.name
        } else {
            self.coin.plural
        };
        let place = match self.count {
            1 => " in the middle",
            2 => " opposite each other",
            _ => " spread evenly",
        };
        let putty = match self.putty_kg {
            None => "",
            Some(putty) if putty == PUTTY => " and a pea of putty",
            Some(_) => " and the putty",
        };
        let expect = fs_hz.map_or(String::new(), |fs_hz| {
            let (low_hz, high_hz) = self.expect_hz(fs_hz);
            format!("; expect {low_hz:.0} to {high_hz:.0} Hz")
        });
        format!(
            "{number} {name}{place}{putty}, about {:.1} g{expect}.",
            1e3 * self.mass_kg.value
        )
    }
}
