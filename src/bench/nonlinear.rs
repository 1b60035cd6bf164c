//! A driver that is not linear: what it does to both channels, by integrating its equations of motion in time.
//!
//! (C29) to (C33): the loop of source, sense resistor and coil; a force factor and a stiffness that change with excursion; and a
//! cone that rubs, carries something loose, or hits a stop. Without any of these it is the linear bench with an LR-2 coil.

use num_complex::Complex64;

use super::channel::delay;
use super::response::Spectrum;
use super::{Bench, BenchError, BenchTake, Element, InventedDriver, Wiring};
use crate::circuit::{CoilFamily, coil_inductance_h};

/// The cone rubs on one side: friction of constant size while it is beyond a place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rub {
    /// Beyond this displacement, m; −∞ rubs everywhere.
    pub from_m: f64,
    /// Friction, N.
    pub friction_n: f64,
    /// Share by which it varies from place to place, as a rough surface does.
    pub roughness: f64,
    /// Distance between the rough places, m.
    pub grain_m: f64,
    /// Speed at which three quarters of the friction act, m/s: real friction does not jump either.
    pub speed_m_per_s: f64,
}

/// Something loose that rests on the cone, leaves it when the cone falls away faster, and hits it when it comes back.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Buzz {
    /// Its mass, kg.
    pub mass_kg: f64,
    /// Force that holds it on the cone, N: its weight or a weak spring.
    pub held_n: f64,
    /// Stiffness of the contact, N/m.
    pub contact_n_per_m: f64,
    /// Damping of the contact, kg/s.
    pub contact_kg_per_s: f64,
}

/// Something hard on both sides of the cone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stop {
    /// Displacement where it begins, m.
    pub at_m: f64,
    /// Stiffness, N/m.
    pub stiffness_n_per_m: f64,
    /// Damping, kg/s.
    pub damping_kg_per_s: f64,
}

/// A driver with an LR-2 coil whose constants change with excursion.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NonlinearDriver {
    /// DC resistance, ohm.
    pub re_ohm: f64,
    /// Inductance that stands alone, H; above zero.
    pub le_h: f64,
    /// Inductance with a resistor across it, H; zero leaves both out.
    pub l2_h: f64,
    /// That resistor, ohm.
    pub r2_ohm: f64,
    /// Force factor at rest, T·m.
    pub bl_t_m: f64,
    /// Bl(x) = Bl·(1 + b1·x + b2·x²): b1 in 1/m, b2 in 1/m².
    pub bl_bend: [f64; 2],
    /// Moving mass, with what is stuck to the cone, kg.
    pub mms_kg: f64,
    /// Stiffness at rest, N/m.
    pub stiffness_n_per_m: f64,
    /// K(x) = K·(1 + k1·x + k2·x²): k1 in 1/m, k2 in 1/m².
    pub stiffness_bend: [f64; 2],
    /// Mechanical resistance, kg/s.
    pub rms_kg_per_s: f64,
    /// Whether it rubs.
    pub rub: Option<Rub>,
    /// Whether it buzzes.
    pub buzz: Option<Buzz>,
    /// Whether it hits something.
    pub stop: Option<Stop>,
}

/// How many times finer than the samples the motion is followed: harmonics up to there do not fold back.
const FINER: usize = 8;
/// Longest step, in time constants of the fastest part: RK4 is stable up to 2.8 and exact to 1e-4 a step here.
const LONGEST_STEP: f64 = 0.8;

impl NonlinearDriver {
    /// An invented driver in free air, still linear, with `added_mass_kg` on its cone. Creep is left out, and coils of other families
    /// become the LR-2 coil with the same inductance at 1 kHz and 10 kHz.
    pub fn like(driver: &InventedDriver, added_mass_kg: f64) -> Self {
        let values = driver.coil.values;
        let (le_h, l2_h, r2_ohm) = match driver.coil.family {
            CoilFamily::Plain => (values[0], 0.0, 0.0),
            CoilFamily::Lr2 => (values[0], values[1], values[2]),
            _ => {
                let coil = driver.coil.family.coil();
                let low_h = coil_inductance_h(coil.as_ref(), values, 1_000.0);
                let high_h = coil_inductance_h(coil.as_ref(), values, 10_000.0);
                let l2_h = low_h - 0.8 * high_h;
                (0.8 * high_h, l2_h, std::f64::consts::TAU * 3_000.0 * l2_h)
            }
        };
        Self {
            re_ohm: driver.re_ohm,
            le_h,
            l2_h,
            r2_ohm,
            bl_t_m: driver.bl_t_m,
            bl_bend: [0.0; 2],
            mms_kg: driver.mms_kg + added_mass_kg,
            stiffness_n_per_m: 1.0 / driver.cms_m_per_n,
            stiffness_bend: [0.0; 2],
            rms_kg_per_s: driver.rms_kg_per_s,
            rub: None,
            buzz: None,
            stop: None,
        }
    }

    fn check(&self) -> Result<(), BenchError> {
        for (setting, value) in [
            ("re_ohm", self.re_ohm),
            ("le_h", self.le_h),
            ("bl_t_m", self.bl_t_m),
            ("mms_kg", self.mms_kg),
            ("stiffness_n_per_m", self.stiffness_n_per_m),
        ] {
            if !(value > 0.0 && value.is_finite()) {
                return Err(BenchError::Setting {
                    setting,
                    value,
                    allowed: "positive and finite",
                });
            }
        }
        Ok(())
    }

    /// Slopes of a state, (C29) to (C33), for an electromotive force behind a resistance.
    fn slopes(&self, state: &State, emf_v: f64, loop_ohm: f64) -> State {
        let [x, v, i, i2, part_x, part_v] = *state;
        let bl = self.bl_t_m * (1.0 + x * (self.bl_bend[0] + x * self.bl_bend[1]));
        let stiffness = self.stiffness_n_per_m
            * (1.0 + x * (self.stiffness_bend[0] + x * self.stiffness_bend[1]));
        let across_v = self.r2_ohm * (i - i2);
        let mut force = bl * i - stiffness * x - self.rms_kg_per_s * v;
        if let Some(rub) = self.rub.filter(|rub| x > rub.from_m) {
            // Three waves that never meet again stand for a rough surface.
            let place = x / rub.grain_m;
            let rough =
                (6.3 * place).sin() + (10.1 * place + 1.0).sin() + (17.7 * place + 2.0).sin();
            let friction = rub.friction_n * (1.0 + rub.roughness * rough / 3.0);
            force -= friction * (v / rub.speed_m_per_s).tanh();
        }
        if let Some(stop) = self.stop.filter(|stop| x.abs() > stop.at_m) {
            let beyond = x - stop.at_m.copysign(x);
            force -= stop.stiffness_n_per_m * beyond + stop.damping_kg_per_s * v;
        }
        let mut part_force = 0.0;
        if let Some(buzz) = self.buzz {
            let pressed_m = x - part_x;
            let pressed_n = buzz.contact_n_per_m * pressed_m + buzz.contact_kg_per_s * (v - part_v);
            let contact_n = if pressed_m > 0.0 && pressed_n > 0.0 {
                pressed_n
            } else {
                0.0
            };
            // What holds the part also holds the cone up, so that all is at rest at zero.
            force += buzz.held_n - contact_n;
            part_force = (contact_n - buzz.held_n) / buzz.mass_kg;
        }
        [
            v,
            force / self.mms_kg,
            (emf_v - (loop_ohm + self.re_ohm) * i - across_v - bl * v) / self.le_h,
            if self.l2_h > 0.0 {
                across_v / self.l2_h
            } else {
                0.0
            },
            part_v,
            part_force,
        ]
    }

    /// The current at each of the emf's samples, A.
    fn currents(&self, emf_v: &[f64], step_s: f64, loop_ohm: f64) -> Vec<f64> {
        let fastest_per_s = (loop_ohm + self.re_ohm + self.r2_ohm) / self.le_h;
        let contact_per_s = self.buzz.map_or(0.0, |buzz| {
            (buzz.contact_n_per_m / buzz.mass_kg).sqrt() + buzz.contact_kg_per_s / buzz.mass_kg
        });
        let rate_per_s = fastest_per_s + contact_per_s;
        let n_steps = (step_s * rate_per_s / LONGEST_STEP).ceil().clamp(1.0, 1e4);
        let h = step_s / n_steps;
        let mut state: State = [0.0; 6];
        if let Some(buzz) = self.buzz {
            state[4] = -buzz.held_n / buzz.contact_n_per_m;
        }
        let mut currents = Vec::with_capacity(emf_v.len());
        let at = |k: isize| {
            let k = k.clamp(0, emf_v.len() as isize - 1);
            emf_v[k as usize]
        };
        for k in 0..emf_v.len() as isize {
            currents.push(state[2]);
            let near = [at(k - 1), at(k), at(k + 1), at(k + 2)];
            for n in 0..n_steps as usize {
                let part = n as f64 / n_steps;
                state = self.stepped(&state, h, loop_ohm, |share| {
                    between(&near, part + share / n_steps)
                });
            }
        }
        currents
    }

    /// One step of the classical fourth-order method of Runge and Kutta.
    fn stepped(&self, state: &State, h: f64, loop_ohm: f64, emf_v: impl Fn(f64) -> f64) -> State {
        let (begin, middle, end) = (emf_v(0.0), emf_v(0.5), emf_v(1.0));
        let k1 = self.slopes(state, begin, loop_ohm);
        let k2 = self.slopes(&moved(state, &k1, 0.5 * h), middle, loop_ohm);
        let k3 = self.slopes(&moved(state, &k2, 0.5 * h), middle, loop_ohm);
        let k4 = self.slopes(&moved(state, &k3, h), end, loop_ohm);
        std::array::from_fn(|j| state[j] + h / 6.0 * (k1[j] + 2.0 * (k2[j] + k3[j]) + k4[j]))
    }
}

/// Displacement, speed, current, current of the second inductor; displacement and speed of what is loose.
type State = [f64; 6];

fn moved(state: &State, slope: &State, by: f64) -> State {
    std::array::from_fn(|j| state[j] + by * slope[j])
}

/// A cubic through four values, between the second and the third.
fn between(near: &[f64; 4], part: f64) -> f64 {
    let [a, b, c, d] = *near;
    let third = (d - a) / 6.0 + 0.5 * (b - c);
    let second = 0.5 * (a + c) - b;
    let first = c - b - second - third;
    b + part * (first + part * (second + part * third))
}

impl Bench {
    /// [`Bench::record`] with a driver that is not linear. Inputs draw no current and nothing drifts here.
    ///
    /// # Errors
    /// As [`Bench::record`]; also where an input has a load or `re_drift` is not zero.
    pub fn record_nonlinear(
        &self,
        driver: &NonlinearDriver,
        stimulus: &[f64],
        sample_rate_hz: f64,
        seed: u64,
    ) -> Result<BenchTake, BenchError> {
        self.check(&Element::Resistor(driver.re_ohm), stimulus, sample_rate_hz)?;
        driver.check()?;
        let loads = [self.source.load_ohm, self.driver.load_ohm];
        for (setting, value) in [
            ("load_ohm", loads[0].or(loads[1]).unwrap_or(0.0)),
            ("re_drift", self.re_drift),
        ] {
            if value != 0.0 {
                return Err(BenchError::Setting {
                    setting,
                    value,
                    allowed: "absent where a driver is not linear",
                });
            }
        }
        let fine_hz = sample_rate_hz * FINER as f64;
        // Band-limited: anything that the samples do not say is not played.
        let inside = |f_hz: f64| f64::from(u8::from(f_hz < 0.5 * sample_rate_hz));
        let mut sparse = vec![0.0; stimulus.len() * FINER];
        for (slot, sample) in sparse.iter_mut().step_by(FINER).zip(stimulus) {
            *slot = *sample * FINER as f64;
        }
        let [emf_v, _] = Spectrum::of(&sparse, fine_hz)?
            .through(|f_hz| [inside(f_hz).into(), Complex64::ZERO])?;
        drop(sparse);
        let loop_ohm = self.source_ohm + self.sense_ohm + self.lead_ohm;
        let currents = driver.currents(&emf_v, 1.0 / fine_hz, loop_ohm);
        let (mut node_1, mut node_2) = (emf_v, vec![]);
        for (v, i) in node_1.iter_mut().zip(&currents) {
            *v -= self.source_ohm * i;
            node_2.push(match self.wiring {
                Wiring::AcrossDriver => *v - self.sense_ohm * i,
                Wiring::AcrossResistor => self.sense_ohm * i,
            });
        }
        let skew_s = self.skew_samples / sample_rate_hz;
        let heard = |node: &[f64], response: &dyn Fn(f64) -> Complex64| {
            let [fine, _] = Spectrum::of(node, fine_hz)?
                .through(|f_hz| [response(f_hz) * inside(f_hz), Complex64::ZERO])?;
            Ok::<Vec<f64>, BenchError>(fine.into_iter().step_by(FINER).collect())
        };
        let source = heard(&node_1, &|f_hz| self.source.response(f_hz))?;
        let second = heard(&node_2, &|f_hz| {
            self.driver.response(f_hz) * delay(f_hz, skew_s)
        })?;
        Ok(self.converted(source, second, stimulus, sample_rate_hz, seed))
    }
}

#[cfg(test)]
mod tests;
