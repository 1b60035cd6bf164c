//! One input for both nodes: a periodic signal plays without a break while the input's clip is moved.

use std::f64::consts::TAU;

use num_complex::Complex64;
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;
use rand_pcg::rand_core::SeedableRng;
use realfft::RealFftPlanner;

use super::response::Spectrum;
use super::{Bench, BenchError, Element};

/// The clip leaves its node and arrives at the other.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ClipMove {
    /// When it leaves, s from the start of the recording.
    pub leaves_s: f64,
    /// When it arrives, s.
    pub arrives_s: f64,
}

/// Frames that the recorder loses, or writes twice.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Slip {
    /// Where, frame of the recording as it would have been.
    pub at_frame: usize,
    /// Frames written twice (positive) or lost (negative).
    pub n_frames: i64,
}

/// What happens while one clip records both nodes.
#[derive(Clone, Debug, PartialEq)]
pub struct OneClip {
    /// Silence before the signal, s.
    pub lead_in_s: f64,
    /// When the signal ends, s.
    pub ends_s: f64,
    /// Length of the recording, s.
    pub length_s: f64,
    /// By how much the recorder's clock is faster than the player's, parts per million, in the middle of the recording.
    pub drift_ppm: f64,
    /// By how much that grows from the first frame to the last, parts per million.
    pub bend_ppm: f64,
    /// Moves, each to the other node; the clip begins on the source node.
    pub moves: Vec<ClipMove>,
    /// Peak of the hum that a clip in the air picks up, full scale.
    pub air_hum_peak: f64,
    /// RMS of what a clip that leaves or arrives crackles for half a second, full scale.
    pub crackle_rms: f64,
    /// Lost and repeated frames, ascending.
    pub slips: Vec<Slip>,
    /// When the volume is changed, s, and by how much, dB.
    pub volume: Option<(f64, f64)>,
}

impl OneClip {
    /// A recording without faults: the signal from `lead_in_s` on, `on_node_s` on each node, and so many moves of `in_air_s`.
    pub fn new(lead_in_s: f64, on_node_s: f64, in_air_s: f64, n_moves: usize) -> Self {
        let leaves_s = |i: usize| lead_in_s + on_node_s + i as f64 * (on_node_s + in_air_s);
        let moves: Vec<ClipMove> = (0..n_moves)
            .map(|i| ClipMove {
                leaves_s: leaves_s(i),
                arrives_s: leaves_s(i) + in_air_s,
            })
            .collect();
        let ends_s = leaves_s(n_moves);
        Self {
            lead_in_s,
            ends_s,
            length_s: ends_s + 1.0,
            drift_ppm: 0.0,
            bend_ppm: 0.0,
            moves,
            air_hum_peak: 0.0,
            crackle_rms: 0.0,
            slips: vec![],
            volume: None,
        }
    }
}

/// Points between two samples of the signal at which its band-limited course is known.
const FINE: usize = 8;
/// How long a clip crackles, s.
const CRACKLE_S: f64 = 0.5;

impl Bench {
    /// Plays a period (volt) over and over and records one node after the other through channel 1's input; channel 2's is taken as
    /// the same one. The same seed gives the same noise and hum.
    ///
    /// # Errors
    /// See [`BenchError`].
    pub fn record_one_input(
        &self,
        element: &Element<'_>,
        period: &[f64],
        clip: &OneClip,
        sample_rate_hz: f64,
        seed: u64,
    ) -> Result<Vec<f32>, BenchError> {
        self.check(element, period, sample_rate_hz)?;
        let n_frames = (clip.length_s * sample_rate_hz) as usize;
        let course = Course::of(period)?;
        let stimulus: Vec<f64> = (0..n_frames)
            .map(|n| {
                let t_s = n as f64 / sample_rate_hz;
                if t_s < clip.lead_in_s || t_s >= clip.ends_s {
                    return 0.0;
                }
                let changed = clip.volume.filter(|(at_s, _)| t_s >= *at_s);
                let gain = changed.map_or(1.0, |(_, db)| 10.0_f64.powf(db / 20.0));
                let share = n as f64 / n_frames as f64;
                let behind = 1e-6 * (clip.drift_ppm + 0.5 * clip.bend_ppm * (share - 1.0));
                gain * course.at(n as f64 * (1.0 - behind))
            })
            .collect();
        let mut spectrum = Spectrum::of(&stimulus, sample_rate_hz)?;
        let nodes = spectrum.through(|f_hz| self.responses(element, f_hz, 0.0))?;
        let mut generator = Pcg64::seed_from_u64(seed);
        let hum = self.hum(sample_rate_hz, &mut generator);
        let mut heard: Vec<f64> = (0..n_frames)
            .map(|n| {
                let t_s = n as f64 / sample_rate_hz;
                let arrived = clip.moves.iter().filter(|m| m.arrives_s <= t_s).count();
                let left = clip.moves.iter().filter(|m| m.leaves_s <= t_s).count();
                let mut sample = if left > arrived {
                    clip.air_hum_peak * (TAU * self.mains_hz * t_s).sin()
                } else {
                    nodes[arrived % 2][n]
                };
                let crackles = |m: &ClipMove| {
                    (0.0..CRACKLE_S).contains(&(t_s - m.leaves_s))
                        || (0.0..CRACKLE_S).contains(&(m.arrives_s - t_s))
                };
                if clip.crackle_rms > 0.0 && clip.moves.iter().any(crackles) {
                    let normal: f64 = StandardNormal.sample(&mut generator);
                    sample += clip.crackle_rms * normal;
                }
                sample
            })
            .collect();
        // Noise and rounding come before frames are lost: what is written twice is the same twice.
        let playing = 0..heard.len();
        let recorded =
            self.source
                .convert(std::mem::take(&mut heard), playing, &hum, &mut generator);
        Ok(slipped(&recorded, &clip.slips))
    }
}

fn slipped(recorded: &[f32], slips: &[Slip]) -> Vec<f32> {
    let mut written = Vec::with_capacity(recorded.len());
    let mut from = 0;
    for slip in slips {
        let at = slip.at_frame.clamp(from, recorded.len());
        written.extend_from_slice(&recorded[from..at]);
        let n = slip.n_frames.unsigned_abs() as usize;
        from = if slip.n_frames > 0 {
            at.saturating_sub(n)
        } else {
            (at + n).min(recorded.len())
        };
    }
    written.extend_from_slice(&recorded[from..]);
    written
}

/// A periodic signal between its samples.
struct Course {
    fine: Vec<f64>,
}

impl Course {
    /// Zeros behind the spectrum put points between the samples (textbook).
    fn of(period: &[f64]) -> Result<Self, BenchError> {
        let failed = |error: realfft::FftError| BenchError::Transform(error.to_string());
        let n = period.len();
        let mut planner = RealFftPlanner::<f64>::new();
        let forward = planner.plan_fft_forward(n);
        let mut bins = forward.make_output_vec();
        forward
            .process(&mut period.to_vec(), &mut bins)
            .map_err(failed)?;
        let inverse = planner.plan_fft_inverse(FINE * n);
        let mut padded = inverse.make_input_vec();
        let n_bins = (n - 1) / 2 + 1;
        for (slot, bin) in padded.iter_mut().zip(&bins[..n_bins]) {
            *slot = *bin / n as f64;
        }
        padded[0] = Complex64::new(padded[0].re, 0.0);
        let mut fine = inverse.make_output_vec();
        inverse.process(&mut padded, &mut fine).map_err(failed)?;
        Ok(Self { fine })
    }

    /// The value at a place in samples, by Lagrange's polynomial through six fine points (textbook): at 20 kHz of 48 kHz it errs by
    /// 10⁻⁵.
    fn at(&self, place: f64) -> f64 {
        let n = self.fine.len();
        let fine = place * FINE as f64;
        let whole = fine.floor();
        let x = fine - whole;
        let first = (whole as i64 - 2).rem_euclid(n as i64) as usize;
        let mut sum = 0.0;
        for i in 0..6 {
            let mut weight = 1.0;
            for j in (0..6).filter(|&j| j != i) {
                weight *= (x + 2.0 - f64::from(j)) / f64::from(i - j);
            }
            sum += weight * self.fine[(first + i as usize) % n];
        }
        sum
    }
}
