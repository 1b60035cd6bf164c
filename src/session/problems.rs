//! Why a session cannot be analysed at all. Everything that is wrong with a *recording* is a finding instead.

use crate::air::AirError;

/// Misuse: the session contradicts itself, or misses what cannot be assumed.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SessionError {
    /// No take of the driver alone.
    #[error(
        "no free-air take is given; the driver alone has to be measured first (--free-air TAKE)"
    )]
    NoFreeAir,
    /// Recordings and tables in one session.
    #[error("recordings and impedance tables are mixed; analyse them in separate calls")]
    Mixed,
    /// Recordings of one input and of two in one session.
    #[error(
        "takes of one input and takes of two inputs are mixed; they need calibrations of their own: analyse them in separate calls"
    )]
    OneAndTwo,
    /// Recordings, but nothing about the jig.
    #[error(
        "recordings need the sense resistor and the wiring (--sense 47.0ohm+-0.5ohm --wiring across-driver)"
    )]
    NoJig,
    /// Tables, and a jig that has no meaning for them.
    #[error(
        "impedance tables need no sense resistor, wiring or calibration takes; leave those out"
    )]
    NeedlessJig,
    /// Lead resistance both typed and measured.
    #[error("the leads are both typed (--lead) and measured (--shorted-leads); give one of them")]
    LeadsTwice,
    /// Two takes with one name.
    #[error("two takes are called \"{name}\"; every take needs its own name")]
    NameTwice {
        /// The name.
        name: String,
    },
    /// A take that only compares levels has to be in free air.
    #[error("the take \"{name}\" is set aside to compare levels, which only free-air takes can be")]
    AsideNotFree {
        /// The take.
        name: String,
    },
    /// A band that holds nothing.
    #[error(
        "the band {low_hz} Hz to {high_hz} Hz is not usable; the first has to be above 0 and below the second"
    )]
    Band {
        /// Lowest, Hz.
        low_hz: f64,
        /// Highest, Hz.
        high_hz: f64,
    },
    /// The air cannot be computed with.
    #[error(transparent)]
    Air(#[from] AirError),
    /// Too few Monte Carlo draws to say anything.
    #[error("{n_draws} Monte Carlo draws are too few for a 95 % interval; use at least 1000")]
    FewDraws {
        /// Draws asked for.
        n_draws: usize,
    },
    /// The caller asked to stop.
    #[error("stopped on request")]
    Cancelled,
}
