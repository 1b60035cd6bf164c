//! Everything that ends a command early, and its exit code.

use std::io;

use farcone::bench::BenchError;
use farcone::capture::CaptureError;
use farcone::desk::SoundError;
use farcone::export::ExportError;
use farcone::kit::KitError;
use farcone::recording::RecordingError;
use farcone::report::ReportError;
use farcone::session::SessionError;
use farcone::sheet::SheetError;
use farcone::signal::StimulusError;
use farcone::test_box::TestBoxError;

use super::{EXIT_FAILED, EXIT_GOOD, EXIT_REDO, EXIT_STOPPED, EXIT_USAGE};
use crate::store::StoreError;

/// Why a command ended early.
#[derive(Debug, thiserror::Error)]
pub enum Failure {
    /// The argument parser's own: misuse, but also a request for help.
    #[error(transparent)]
    Arguments(#[from] clap::Error),
    /// Arguments that are understood singly, but don't go together.
    #[error("{message}")]
    Usage {
        message: String,
        /// What to type instead.
        hint: String,
    },
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The session contradicts itself.
    #[error(transparent)]
    Session(#[from] SessionError),
    #[error(transparent)]
    Stimulus(#[from] StimulusError),
    #[error("the virtual bench: {0}")]
    Bench(#[from] BenchError),
    #[error("the virtual bench: {0}")]
    BenchTake(RecordingError),
    #[error(transparent)]
    Sheet(#[from] SheetError),
    #[error(transparent)]
    TestBox(#[from] TestBoxError),
    #[error(transparent)]
    Export(#[from] ExportError),
    #[error(transparent)]
    Report(#[from] ReportError),
    #[error(transparent)]
    Kit(#[from] KitError),
    /// No browser could be asked.
    #[error("no browser could be asked to show {path}: {source}; open that file by hand")]
    Browser { path: String, source: io::Error },
    /// A recording ended early.
    #[error(transparent)]
    Capture(#[from] CaptureError),
    #[error(transparent)]
    Sound(#[from] SoundError),
    /// Ctrl-C, or the answer to a question.
    #[error("stopped; what was recorded before is kept")]
    Stopped,
    /// Something in the set-up has to be changed before it makes sense to go on.
    #[error("{message}")]
    SetUp { message: String },
    /// A bundle that answers something else than what was asked.
    #[error("{message}")]
    Refused { message: String },
    #[error("the answer cannot be read: {0}")]
    Ask(io::Error),
    #[error("the result cannot be printed: {0}")]
    Print(io::Error),
}

impl Failure {
    /// Misuse with a hint.
    pub fn usage(message: impl Into<String>, hint: impl Into<String>) -> Self {
        Self::Usage {
            message: message.into(),
            hint: hint.into(),
        }
    }

    /// The process's exit code.
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::Arguments(error) if !error.use_stderr() => EXIT_GOOD,
            Self::Arguments(_)
            | Self::Usage { .. }
            | Self::Stimulus(_)
            | Self::Sound(_)
            | Self::Kit(_)
            | Self::TestBox(_) => EXIT_USAGE,
            Self::Stopped => EXIT_STOPPED,
            Self::SetUp { .. } => EXIT_REDO,
            _ => EXIT_FAILED,
        }
    }
}
