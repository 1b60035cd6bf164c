//! Faults of a finished take: what recorders, systems and people do to its samples.

use super::BenchTake;

/// One fault of a take's samples. Levels are relative to full scale, times count from the take's first frame.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum Spoil {
    /// Automatic gain that keeps the peak near a target. It begins at its largest gain.
    AutomaticGain {
        /// Peak that it aims at, full scale.
        target_peak: f64,
        /// Largest gain, dB; the smallest is 0 dB.
        most_db: f64,
        /// How fast it turns down, s.
        attack_s: f64,
        /// How fast it turns up, s.
        release_s: f64,
        /// Whether both channels get the gain of the louder one.
        linked: bool,
    },
    /// A gate: whatever is below the threshold for 50 ms is turned down.
    Gate {
        /// Peak below which it closes, full scale.
        threshold_peak: f64,
        /// How far it turns down, dB; infinite for silence.
        depth_db: f64,
    },
    /// Frames that are not there, in both channels.
    LostFrames {
        /// Where, s.
        at_s: f64,
        /// How many.
        n_frames: usize,
    },
    /// Frames that are there twice, in both channels.
    RepeatedFrames {
        /// Where, s.
        at_s: f64,
        /// How many.
        n_frames: usize,
    },
    /// Zeros instead of the recording, in both channels.
    Blank {
        /// Where, s.
        at_s: f64,
        /// For how long, s.
        length_s: f64,
    },
    /// Both channels change their level.
    LevelStep {
        /// When, s.
        at_s: f64,
        /// By how much, dB.
        step_db: f64,
    },
    /// Each channel gets a share of the other.
    Mixed {
        /// The share.
        share: f64,
    },
    /// A steady offset on the driver channel.
    Offset {
        /// Full scale.
        offset: f64,
    },
    /// The recording begins and ends elsewhere.
    Cut {
        /// What is cut off at the start, s.
        from_start_s: f64,
        /// What is cut off at the end, s.
        from_end_s: f64,
    },
    /// Both channels are rounded softly near a limit, x/(1 + (x/limit)²)^½.
    SoftLimit {
        /// The limit, full scale.
        limit: f64,
    },
    /// The header states another rate than the recording has.
    WrongRate {
        /// What it states, Hz.
        stated_hz: f64,
    },
}

impl BenchTake {
    /// The take with a fault.
    #[must_use]
    pub fn spoiled(mut self, spoil: &Spoil) -> Self {
        let rate_hz = self.sample_rate_hz;
        let frame = |at_s: f64| (at_s * rate_hz).round() as usize;
        match *spoil {
            Spoil::AutomaticGain {
                target_peak,
                most_db,
                attack_s,
                release_s,
                linked,
            } => {
                let gain = Gain {
                    target_peak,
                    most: 10_f64.powf(most_db / 20.0),
                    attack: (-1.0 / (attack_s * rate_hz)).exp(),
                    release: (-1.0 / (release_s * rate_hz)).exp(),
                };
                gain.applied(&mut self, linked);
            }
            Spoil::Gate {
                threshold_peak,
                depth_db,
            } => {
                let closed = 10_f64.powf(-depth_db / 20.0);
                let hold = frame(0.05);
                for channel in [&mut self.source, &mut self.driver] {
                    gate(channel, threshold_peak, closed, hold);
                }
            }
            Spoil::LostFrames { at_s, n_frames } => self.each(|channel| {
                let at = frame(at_s).min(channel.len());
                let end = (at + n_frames).min(channel.len());
                channel.drain(at..end);
            }),
            Spoil::RepeatedFrames { at_s, n_frames } => self.each(|channel| {
                let at = frame(at_s).clamp(n_frames.min(channel.len()), channel.len());
                let again = channel[at - n_frames.min(at)..at].to_vec();
                channel.splice(at..at, again);
            }),
            Spoil::Blank { at_s, length_s } => self.each(|channel| {
                let at = frame(at_s).min(channel.len());
                let end = (at + frame(length_s)).min(channel.len());
                channel[at..end].fill(0.0);
            }),
            Spoil::LevelStep { at_s, step_db } => self.each(|channel| {
                let at = frame(at_s).min(channel.len());
                let gain = 10_f64.powf(step_db / 20.0) as f32;
                channel[at..].iter_mut().for_each(|v| *v *= gain);
            }),
            Spoil::Mixed { share } => {
                for (a, b) in self.source.iter_mut().zip(&mut self.driver) {
                    let share = share as f32;
                    (*a, *b) = (*a + share * *b, *b + share * *a);
                }
            }
            Spoil::Offset { offset } => {
                self.driver.iter_mut().for_each(|v| *v += offset as f32);
            }
            Spoil::Cut {
                from_start_s,
                from_end_s,
            } => self.each(|channel| {
                let end = channel.len().saturating_sub(frame(from_end_s));
                channel.truncate(end);
                channel.drain(..frame(from_start_s).min(end));
            }),
            Spoil::SoftLimit { limit } => self.each(|channel| {
                for v in channel.iter_mut() {
                    let x = f64::from(*v);
                    *v = (x / (1.0 + (x / limit).powi(2)).sqrt()) as f32;
                }
            }),
            Spoil::WrongRate { stated_hz } => self.sample_rate_hz = stated_hz,
        }
        self
    }

    /// Both channels rounded to so many bits and cut off at full scale, as a converter or a file does.
    #[must_use]
    pub fn rounded(mut self, bits: u32) -> Self {
        let steps = 2_f64.powi(bits as i32 - 1);
        self.each(|channel| {
            for v in channel.iter_mut() {
                let rounded = (f64::from(*v) * steps).round().clamp(-steps, steps - 1.0);
                *v = (rounded / steps) as f32;
            }
        });
        self
    }

    fn each(&mut self, change: impl Fn(&mut Vec<f32>)) {
        change(&mut self.source);
        change(&mut self.driver);
    }
}

/// Automatic gain by a peak follower.
struct Gain {
    target_peak: f64,
    most: f64,
    attack: f64,
    release: f64,
}

impl Gain {
    fn applied(&self, take: &mut BenchTake, linked: bool) {
        let mut envelopes = [0.0_f64; 2];
        for (a, b) in take.source.iter_mut().zip(&mut take.driver) {
            let mut levels = [f64::from(a.abs()), f64::from(b.abs())];
            if linked {
                let louder = if levels[0] > levels[1] {
                    levels[0]
                } else {
                    levels[1]
                };
                levels = [louder; 2];
            }
            for (envelope, level) in envelopes.iter_mut().zip(levels) {
                let keep = if level > *envelope {
                    self.attack
                } else {
                    self.release
                };
                *envelope = keep * *envelope + (1.0 - keep) * level;
            }
            for (sample, envelope) in [a, b].into_iter().zip(envelopes) {
                let gain = (self.target_peak / (envelope + 1e-12)).clamp(1.0, self.most);
                *sample = (f64::from(*sample) * gain) as f32;
            }
        }
    }
}

fn gate(samples: &mut [f32], threshold: f64, closed: f64, hold: usize) {
    let mut since_loud = hold;
    let mut gain = closed;
    for v in samples {
        since_loud = if f64::from(v.abs()) > threshold {
            0
        } else {
            since_loud + 1
        };
        let wanted = if since_loud < hold { 1.0 } else { closed };
        // A millisecond or so to open or close.
        gain += 0.02 * (wanted - gain);
        *v = (f64::from(*v) * gain) as f32;
    }
}
