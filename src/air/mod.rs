//! Air: density and speed of sound from temperature, pressure or altitude, and humidity.
//!
//! [`Air`] is a plain state of moist air with pure functions on it, cheap enough for a Monte Carlo run. [`AirInput`] is
//! what somebody stated about the air at the bench; [`AirInput::resolve`] fills in documented defaults, turns an
//! altitude into a pressure, and says in findings what it assumed.
//!
//! Conventions: temperatures in kelvin, pressures in pascal *at the bench* (weather services report pressure reduced to
//! sea level, which is too high anywhere else), relative humidity as a number from 0 to 1. Dry air holds 400 ppm of
//! carbon dioxide. The formulas and their sources are on the page `docs/air.md`.

mod formulas;
mod input;

pub use formulas::{Air, standard_pressure_pa};
pub use input::{AirError, AirInput, PressureInput, ResolvedAir, parse_air};
