//! Stimuli, and the complex ratio of two channels with its covariance. The only user of the FFT crates.
//!
//! Conventions: the forward transform is X(k) = Σ x(n)·e^(−j2πkn/N) without a factor, bins 0 … N/2. Channel 1 is the
//! source node, channel 2 the driver side; the ratio is H = channel 2 / channel 1. Levels in dBFS are peak levels
//! relative to full scale 1.0. The theory is in `docs/signal.md`, whose formulas are cited as (S1), (S2) ….

mod arrivals;
mod bands;
mod coherence;
mod correlate;
mod floor;
mod follow;
mod harmonics;
mod leftover;
mod lines;
mod loading;
mod multisine;
mod noise;
mod one_input;
mod ratio;
mod recover;
mod resample;
mod single;
mod spectra;
mod stimulus;
mod sums;
mod sweep;
mod window;

pub use arrivals::{BandGain, Echo, band_gains, echo};
pub use coherence::{Shared, shared_noise};
pub use correlate::stretch_delay;
pub use floor::{FloorFrame, noise_floor};
pub use follow::{Follow, FollowWindow, fit_windows, follow, follow_again, follow_at};
pub use harmonics::{HarmonicPoint, Harmonics, harmonics};
pub use leftover::{Leftover, leftover};
pub use lines::Lines;
pub use loading::{loading_share, loading_share_from};
pub use multisine::{Multisine, Tilt};
pub use one_input::{Jump, OneInput, OneInputError, Period, Stretch, one_input};
pub use ratio::{ChannelRatio, LeftOut, RatioSettings, SignalError, channel_ratio};
pub use recover::{Recovered, recovered_sweep};
pub use resample::resampled;
pub use stimulus::{Envelope, StimulusError};
pub use sums::{largest, sum};
pub use sweep::SynchronizedSweep;
