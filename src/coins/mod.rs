//! Coins as known masses: which serve, what some of them weigh together, and which to stick on a cone.
//!
//! Masses are those that the issuers publish; where they come from stands beside each coin and in `docs/coins.md`. A magnetic coin is
//! refused: a driver's magnet pulls it into the cone. Everything is SI (kilograms).

mod moving_mass;
mod plan;
mod table;
mod text;
mod total;

pub use moving_mass::{DriverClass, MovingMass};
pub use plan::{Plan, plan};
pub use table::{CURRENCIES, Coin, Currency};
pub use text::parse_coins;
pub use total::{PUTTY, total};

use crate::quantity::QuantityError;

/// Why some coins give no mass.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum CoinError {
    /// A name that no coin here has.
    #[error("\"{found}\" is no coin that is known here; known are {known}")]
    Unknown {
        /// What was said.
        found: String,
        /// The names that there are.
        known: String,
    },
    /// A currency that is not known here.
    #[error(
        "no coins of \"{found}\" are known here; known are {known}. Weigh something else that does not stick to a magnet"
    )]
    NoCurrency {
        /// What was said.
        found: String,
        /// The currencies that there are.
        known: String,
    },
    /// A coin that a magnet pulls at.
    #[error(
        "the {coin} is magnetic ({reason}): the driver's magnet would pull it into the cone; take another"
    )]
    Magnetic {
        /// The coin.
        coin: String,
        /// What makes it magnetic.
        reason: &'static str,
    },
    /// No coins, or more than any cone needs.
    #[error("{count} coins of one kind are no use here; take 1 to {most}")]
    Count {
        /// How many were said.
        count: u32,
        /// The most.
        most: u32,
    },
    /// Text that names no coins.
    #[error("\"{text}\" names no coins; write for example coins:2xeur-20ct+putty0.5g+-0.1g")]
    Text {
        /// What was said.
        text: String,
    },
    /// The putty's mass cannot be read.
    #[error("the putty's mass: {0}")]
    Putty(#[from] QuantityError),
    /// The cone is too light for the lightest of the coins.
    #[error(
        "the cone moves about {moving_g:.1} g, and the lightest coin with its putty weighs {lightest_g:.1} g, too much for it: use a \
         test box, or a weighed pea of putty of {low_g:.2} g to {high_g:.2} g"
    )]
    TooLight {
        /// Moving mass, g.
        moving_g: f64,
        /// The lightest coin with its putty, g.
        lightest_g: f64,
        /// Least mass that serves, g.
        low_g: f64,
        /// Most that serves, g.
        high_g: f64,
    },
    /// No number of equal coins comes near.
    #[error(
        "no {most} coins or fewer of one kind weigh {low_g:.1} g to {high_g:.1} g with their putty: weigh something else that does not \
         stick to a magnet"
    )]
    NoneFits {
        /// Most coins that are tried.
        most: u32,
        /// Least mass that serves, g.
        low_g: f64,
        /// Most that serves, g.
        high_g: f64,
    },
}
