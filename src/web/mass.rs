//! A known mass from coins.

use serde::Deserialize;
use serde_json::{Value, json};

use super::answer::{Answer, Refusal};
use super::frame::Request;
use super::text::shown;
use crate::coins::{CURRENCIES, Coin, Currency, DriverClass, MovingMass, PUTTY, plan, total};
use crate::quantity::{Dimension, DisplayUnit};
use crate::session::{read_stated, stated_json};

/// The coins that are known here.
pub(super) fn coins() -> Answer {
    let coin = |coin: &Coin| {
        json!({
            "id": coin.id,
            "name": coin.name,
            "mass_kg": coin.mass_kg,
            "usable": coin.magnetic.is_none(),
            "reason": coin.magnetic,
            "source": coin.source,
        })
    };
    let currency = |of: &Currency| {
        json!({
            "id": of.id,
            "name": of.name,
            "coins": of.coins.iter().map(coin).collect::<Vec<_>>(),
        })
    };
    json!({"currencies": CURRENCIES.iter().map(currency).collect::<Vec<_>>()}).into()
}

#[derive(Deserialize)]
struct Planned {
    currency: String,
    class: String,
    #[serde(default)]
    fs_hz: Option<f64>,
    #[serde(default)]
    mms_kg: Option<f64>,
    #[serde(default)]
    sd_m2: Option<f64>,
}

/// Relative standard uncertainty of a moving mass that one take with a mass gave, for planning the second.
const MMS_DOUBT: f64 = 0.1;

/// Which coins to stick on, and what resonance they should give.
pub(super) fn planned(request: &Request<'_>) -> Result<Answer, Refusal> {
    let args: Planned = request.args()?;
    let class = DriverClass::parse(&args.class)
        .ok_or_else(|| Refusal::new(format!("\"{}\" is no class of driver", args.class)))?;
    let moving = match (args.mms_kg, args.sd_m2) {
        (Some(mms_kg), _) => MovingMass::known(mms_kg, MMS_DOUBT * mms_kg),
        (None, Some(sd_m2)) => MovingMass::of_cone(sd_m2),
        (None, None) => MovingMass::of_class(class),
    };
    let plan = plan(&args.currency, &moving, Some(PUTTY))?;
    Ok(json!({
        "sentence": plan.sentence(args.fs_hz),
        "coins": [{"id": plan.coin.id, "count": plan.count}],
        "putty": plan.putty_kg.map(|putty| stated_json(&putty, "kg")),
        "mass": stated_json(&plan.mass_kg, "kg"),
        "expect_hz": args.fs_hz.map(|fs_hz| plan.expect_hz(fs_hz)),
    })
    .into())
}

#[derive(Deserialize)]
struct Counted {
    coins: Vec<Count>,
    putty: Option<Value>,
}

#[derive(Deserialize)]
struct Count {
    id: String,
    count: u32,
}

/// What coins and putty weigh together.
pub(super) fn counted(request: &Request<'_>) -> Result<Answer, Refusal> {
    let args: Counted = request.args()?;
    let coins: Vec<(&str, u32)> = args
        .coins
        .iter()
        .map(|of| (of.id.as_str(), of.count))
        .collect();
    let putty = args
        .putty
        .map(|putty| read_stated(putty, "the putty", "kg"))
        .transpose()?;
    let mass_kg = total(&coins, putty)?;
    Ok(json!({
        "mass": stated_json(&mass_kg, "kg"),
        "shown": shown(&mass_kg, Dimension::Mass, DisplayUnit::Gram),
    })
    .into())
}
