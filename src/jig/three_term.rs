//! The three-term correction of impedance metrology: (J4), with its derivatives, (J5).

use num_complex::Complex64;

/// An impedance and what moves it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct ThreeTerm {
    /// Impedance at the driver's terminals, ohm.
    pub z_ohm: Complex64,
    /// Its derivative by the measured ratio, ohm.
    pub by_ratio: Complex64,
    /// Its derivatives by the three standards' ratios, in the order of [`Ratios`], ohm.
    pub by_standard: [Complex64; 3],
}

/// What the jig shows of the three standards.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Ratios {
    /// Terminals open.
    pub open: Complex64,
    /// Terminals shorted.
    pub short: Complex64,
    /// A load in the driver's place.
    pub load: Complex64,
    /// That load, ohm.
    pub load_ohm: f64,
}

impl Ratios {
    /// (J4) and (J5).
    pub fn impedance(&self, h: Complex64) -> ThreeTerm {
        let (o, s, l) = (self.open, self.short, self.load);
        let to_open = o - h;
        let of_load = l - s;
        ThreeTerm {
            z_ohm: self.load_ohm * (h - s) * (o - l) / (to_open * of_load),
            by_ratio: self.load_ohm * (o - l) * (o - s) / (to_open * to_open * of_load),
            by_standard: [
                self.load_ohm * (h - s) * (l - h) / (of_load * to_open * to_open),
                self.load_ohm * (o - l) * (h - l) / (to_open * of_load * of_load),
                -self.load_ohm * (h - s) * (o - s) / (to_open * of_load * of_load),
            ],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The formula undoes any Möbius map, and its derivatives are those of differences.
    #[test]
    fn undoes_a_moebius_map() {
        let c = Complex64::new;
        let (p, q, r, t) = (c(0.9, 0.1), c(0.3, -0.2), c(0.021, 0.004), c(1.1, 0.05));
        let map = |z: Complex64| (p * z + q) / (r * z + t);
        let ratios = Ratios {
            open: p / r,
            short: q / t,
            load: map(c(22.0, 0.0)),
            load_ohm: 22.0,
        };
        for z in [c(3.6, 0.2), c(40.0, -12.0), c(8.0, 30.0)] {
            let h = map(z);
            let there = ratios.impedance(h);
            const ROUNDING: f64 = 1e-12;
            assert!((there.z_ohm - z).norm() < ROUNDING * z.norm());
            const METHOD: f64 = 1e-6;
            let step = c(1e-6, 1e-6);
            let close = |numeric: Complex64, slope: Complex64| {
                assert!((numeric - slope).norm() < METHOD * slope.norm());
            };
            let by = |change: &dyn Fn(Complex64) -> (Ratios, Complex64)| {
                let at = |d| {
                    let (ratios, h) = change(d);
                    ratios.impedance(h).z_ohm
                };
                (at(step) - at(-step)) / (2.0 * step)
            };
            close(by(&|d| (ratios, h + d)), there.by_ratio);
            let [open, short, load] = there.by_standard;
            let changed = |open, short, load| Ratios {
                open: ratios.open + open,
                short: ratios.short + short,
                load: ratios.load + load,
                load_ohm: ratios.load_ohm,
            };
            let none = Complex64::ZERO;
            close(by(&|d| (changed(d, none, none), h)), open);
            close(by(&|d| (changed(none, d, none), h)), short);
            close(by(&|d| (changed(none, none, d), h)), load);
        }
    }
}
