//! The jig as a voltage divider.

use num_complex::Complex64;

use super::Bench;

/// Which of the two elements has its foot on ground.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Wiring {
    /// Source, resistor, driver, ground: channel 2 across the driver.
    AcrossDriver,
    /// Source, driver, resistor, ground: channel 2 across the resistor.
    AcrossResistor,
}

/// What hangs between the sense points, leads included.
#[derive(Clone, Copy, Debug)]
pub(super) enum Between {
    /// An admittance in siemens; zero where the terminals are open.
    SensePoints(Complex64),
    /// Both inputs are on the source node, and nothing is at the terminals.
    SameNode,
}

impl Bench {
    /// Voltages at channel 1's and channel 2's node for one volt of the source, (C17) and (C18).
    ///
    /// Admittances throughout: open terminals and inputs that draw nothing are then plain zeros.
    pub(super) fn node_voltages(&self, between: Between) -> [Complex64; 2] {
        let load_1 = self.source.load_siemens();
        let load_2 = self.driver.load_siemens();
        let element = match between {
            Between::SameNode => {
                let v = Complex64::from(1.0 / (1.0 + self.source_ohm * (load_1 + load_2)));
                return [v, v];
            }
            Between::SensePoints(siemens) => siemens,
        };
        let resistor = Complex64::from(1.0 / self.sense_ohm);
        let (top, foot) = match self.wiring {
            Wiring::AcrossDriver => (resistor, element),
            Wiring::AcrossResistor => (element, resistor),
        };
        let below = foot + load_2;
        let share = top / (top + below);
        let drawn = share * below + load_1;
        let v_1 = (drawn * self.source_ohm + 1.0).inv();
        [v_1, v_1 * share]
    }
}
