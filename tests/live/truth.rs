//! What the simulated jig holds, in closed form: what the program has to find.

use std::f64::consts::PI;

use farcone::Complex64;

/// A driver behind a sense resistor.
#[derive(Clone, Copy, Debug)]
pub struct Circuit {
    pub re_ohm: f64,
    /// Height of the resonance above Re, ohm; 0 for none, which leaves a resistor.
    pub res_ohm: f64,
    pub f0_hz: f64,
    pub qms: f64,
    pub sense_ohm: f64,
    pub le_h: f64,
}

/// An invented driver with a plain coil.
pub const DRIVER: Circuit = Circuit {
    re_ohm: 6.2,
    res_ohm: 38.0,
    f0_hz: 62.0,
    qms: 4.3,
    sense_ohm: 47.0,
    le_h: 0.25e-3,
};

/// The parameters that a sheet has to state.
#[derive(Clone, Copy, Debug)]
pub struct Parameters {
    pub fs_hz: f64,
    pub re_ohm: f64,
    pub qms: f64,
    pub qes: f64,
    pub qts: f64,
}

impl Circuit {
    /// Impedance at the terminals of the circuit itself, ohm.
    pub fn impedance_ohm(&self, f_hz: f64) -> Complex64 {
        let coil = Complex64::new(self.re_ohm, 2.0 * PI * f_hz * self.le_h);
        if self.res_ohm == 0.0 {
            return coil;
        }
        let detuning = self.qms * (f_hz / self.f0_hz - self.f0_hz / f_hz);
        coil + self.res_ohm / Complex64::new(1.0, detuning)
    }

    /// Channel 2 over channel 1 as the plug-in makes it: the bilinear transform gives it at f what the circuit has at
    /// (rate/π)·tan(πf/rate).
    pub fn ratio(&self, f_hz: f64, rate_hz: f64, load_ohm: Option<f64>) -> Complex64 {
        let warped_hz = rate_hz / PI * (PI * f_hz / rate_hz).tan();
        let load_s = load_ohm.map_or(0.0, |ohm| 1.0 / ohm);
        let below = self.impedance_ohm(warped_hz).inv() + load_s;
        (1.0 + self.sense_ohm * below).inv()
    }

    /// What the plug-in has for fs, Re and the Qs. Its resonance lies at (rate/π)·atan(πf0/rate), and Qms follows from the
    /// two frequencies where the resonance has fallen to 1/√2, each moved likewise; resistances stay. At 100 Hz and
    /// 48 kHz the resonance moves by 1.4e-5 of itself.
    pub fn discretised(&self, rate_hz: f64) -> Parameters {
        let moved = |f_hz: f64| rate_hz / PI * (PI * f_hz / rate_hz).atan();
        let fs_hz = moved(self.f0_hz);
        let half_width = 0.5 / self.qms;
        let middle = (1.0 + half_width * half_width).sqrt();
        let low_hz = moved(self.f0_hz * (middle - half_width));
        let high_hz = moved(self.f0_hz * (middle + half_width));
        let qms = fs_hz / (high_hz - low_hz);
        let qes = qms * self.re_ohm / self.res_ohm;
        Parameters {
            fs_hz,
            re_ohm: self.re_ohm,
            qms,
            qes,
            qts: qms * qes / (qms + qes),
        }
    }
}

#[test]
fn warping_is_as_small_as_stated() {
    let circuit = Circuit {
        f0_hz: 100.0,
        ..DRIVER
    };
    let found = circuit.discretised(48_000.0);
    let moved = 1.0 - found.fs_hz / 100.0;
    assert!((1.3e-5..1.5e-5).contains(&moved), "{moved}");
    // Far from the resonance's own width the formula would fail; here both ends move almost alike.
    assert!((found.qms / circuit.qms - 1.0).abs() < 5e-5, "{found:?}");
    // The half-width formula itself: at these frequencies |Z - Re| is Res/√2.
    let half_width = 0.5 / circuit.qms;
    let f_hz = 100.0 * ((1.0 + half_width * half_width).sqrt() + half_width);
    let no_coil = Circuit {
        le_h: 0.0,
        ..circuit
    };
    let height = (no_coil.impedance_ohm(f_hz) - circuit.re_ohm).norm() / circuit.res_ohm;
    const ROUNDING: f64 = 1e-12;
    assert!(
        (height - 0.5_f64.sqrt()).abs() < ROUNDING,
        "{height} at {f_hz}"
    );
}
