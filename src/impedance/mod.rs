//! Takes and a jig become an impedance curve; ready tables become the same.
//!
//! Conventions: frequencies in hertz, impedances in ohm with the time convention e^(+jωt), so an inductor's
//! reactance is positive. The reference plane is the driver's terminals once the leads have been taken off.

mod curve;
pub mod table;

pub use curve::ImpedanceCurve;
