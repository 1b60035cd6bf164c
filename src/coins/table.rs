//! The coins.

use super::CoinError;

/// A coin as its issuer publishes it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Coin {
    /// Stable name, for example `eur-20ct`.
    pub id: &'static str,
    /// What people call one.
    pub name: &'static str,
    /// What people call several.
    pub plural: &'static str,
    /// Published mass, kg.
    pub mass_kg: f64,
    /// Half of the last published digit, kg.
    pub half_digit_kg: f64,
    /// What it is made of.
    pub material: &'static str,
    /// Why it is refused; `None` if it serves.
    pub magnetic: Option<&'static str>,
    /// Who publishes the mass.
    pub source: &'static str,
}

/// The coins of a currency.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Currency {
    /// Stable name: the ISO 4217 code in small letters.
    pub id: &'static str,
    /// What people call it.
    pub name: &'static str,
    /// Its coins, those that serve first.
    pub coins: &'static [Coin],
}

const EU: &str = "Council Regulation (EC) 975/98 as amended, recast as (EU) 729/2014, Annex I";
const US: &str = "31 U.S.C. 5112(a) (from memory)";
const JAPAN: &str = "Japan Mint specification (from memory)";

const NORDIC_GOLD: &str = "Nordic gold";
const COPPER_NICKEL: &str = "copper-nickel";
const COVERED_STEEL: &str = "copper-covered steel";
const LAYERED: &str = "layered, with a nickel core";

/// One coin; the mass in milligrams and the last published digit.
const fn coin(
    names: (&'static str, &'static str, &'static str),
    milligrams: (u32, u32),
    material: &'static str,
    magnetic: Option<&'static str>,
    source: &'static str,
) -> Coin {
    Coin {
        id: names.0,
        name: names.1,
        plural: names.2,
        mass_kg: milligrams.0 as f64 * 1e-6,
        half_digit_kg: 0.5e-6 * milligrams.1 as f64,
        material,
        magnetic,
        source,
    }
}

const STEEL: Option<&str> = Some(COVERED_STEEL);
const NICKEL: Option<&str> = Some("its core is nickel, weakly magnetic");

/// All coins that are known here.
pub const CURRENCIES: &[Currency] = &[
    Currency {
        id: "eur",
        name: "euro",
        coins: &[
            coin(
                ("eur-10ct", "10 cent coin", "10 cent coins"),
                (4_100, 100),
                NORDIC_GOLD,
                None,
                EU,
            ),
            coin(
                ("eur-20ct", "20 cent coin", "20 cent coins"),
                (5_700, 100),
                NORDIC_GOLD,
                None,
                EU,
            ),
            coin(
                ("eur-50ct", "50 cent coin", "50 cent coins"),
                (7_800, 100),
                NORDIC_GOLD,
                None,
                EU,
            ),
            coin(
                ("eur-1ct", "1 cent coin", "1 cent coins"),
                (2_300, 100),
                COVERED_STEEL,
                STEEL,
                EU,
            ),
            coin(
                ("eur-2ct", "2 cent coin", "2 cent coins"),
                (3_000, 100),
                COVERED_STEEL,
                STEEL,
                EU,
            ),
            coin(
                ("eur-5ct", "5 cent coin", "5 cent coins"),
                (3_900, 100),
                COVERED_STEEL,
                STEEL,
                EU,
            ),
            coin(
                ("eur-1", "1 euro coin", "1 euro coins"),
                (7_500, 100),
                LAYERED,
                NICKEL,
                EU,
            ),
            coin(
                ("eur-2", "2 euro coin", "2 euro coins"),
                (8_500, 100),
                LAYERED,
                NICKEL,
                EU,
            ),
        ],
    },
    Currency {
        id: "usd",
        name: "US dollar",
        coins: &[
            coin(
                ("usd-10c", "dime", "dimes"),
                (2_268, 1),
                COPPER_NICKEL,
                None,
                US,
            ),
            coin(
                ("usd-5c", "5 cent coin", "5 cent coins"),
                (5_000, 1),
                COPPER_NICKEL,
                None,
                US,
            ),
            coin(
                ("usd-25c", "quarter", "quarters"),
                (5_670, 1),
                COPPER_NICKEL,
                None,
                US,
            ),
        ],
    },
    Currency {
        id: "jpy",
        name: "yen",
        coins: &[
            coin(
                ("jpy-1", "1 yen coin", "1 yen coins"),
                (1_000, 100),
                "aluminium",
                None,
                JAPAN,
            ),
            coin(
                ("jpy-5", "5 yen coin", "5 yen coins"),
                (3_750, 10),
                "brass",
                None,
                JAPAN,
            ),
            coin(
                ("jpy-10", "10 yen coin", "10 yen coins"),
                (4_500, 100),
                "bronze",
                None,
                JAPAN,
            ),
            coin(
                ("jpy-100", "100 yen coin", "100 yen coins"),
                (4_800, 100),
                COPPER_NICKEL,
                None,
                JAPAN,
            ),
        ],
    },
];

impl Currency {
    /// The currency of that name.
    ///
    /// # Errors
    /// [`CoinError::NoCurrency`].
    pub fn find(id: &str) -> Result<&'static Self, CoinError> {
        let found = CURRENCIES.iter().find(|currency| currency.id == id);
        found.ok_or_else(|| CoinError::NoCurrency {
            found: id.to_owned(),
            known: names(CURRENCIES.iter().map(|currency| currency.id)),
        })
    }
}

impl Coin {
    /// The coin of that name, whether it serves or not.
    ///
    /// # Errors
    /// [`CoinError::Unknown`].
    pub fn find(id: &str) -> Result<&'static Self, CoinError> {
        let all = || CURRENCIES.iter().flat_map(|currency| currency.coins);
        all()
            .find(|coin| coin.id == id)
            .ok_or_else(|| CoinError::Unknown {
                found: id.to_owned(),
                known: names(
                    all()
                        .filter(|coin| coin.magnetic.is_none())
                        .map(|coin| coin.id),
                ),
            })
    }
}

fn names(ids: impl Iterator<Item = &'static str>) -> String {
    ids.collect::<Vec<_>>().join(", ")
}
