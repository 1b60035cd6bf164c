//! Why a table cannot be read or written.

use std::io;

/// Why a table cannot be read or written. Lines count from 1.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum TableError {
    /// The reader failed.
    #[error("the table cannot be read: {0}")]
    Read(io::Error),
    /// The writer failed.
    #[error("the table cannot be written: {0}")]
    Write(io::Error),
    /// Far more than a table of impedances can need.
    #[error("the table is larger than {limit_bytes} bytes; is it the right file?")]
    TooLarge {
        /// The limit.
        limit_bytes: u64,
    },
    /// Not UTF-8.
    #[error("line {line} is not UTF-8 text; export the table again as plain text (CSV) in UTF-8")]
    NotText {
        /// Where it stops being text.
        line: usize,
    },
    /// The text could not be cut into columns.
    #[error("line {line} cannot be cut into columns; check its quotation marks")]
    Malformed {
        /// Where.
        line: usize,
    },
    /// The file holds nothing.
    #[error("the table is empty")]
    Empty,
    /// Numbers where the header should be.
    #[error(
        "line {line} holds numbers where the names of the columns belong; put a line such as frequency_hz,re_ohm,im_ohm above them, without a # before it"
    )]
    NoHeader {
        /// The first line that is no comment.
        line: usize,
    },
    /// A column is absent.
    #[error("line {line}: no column for the {missing}; the header \"{header}\" needs {needed}")]
    MissingColumn {
        /// The line of the header.
        line: usize,
        /// What is absent.
        missing: &'static str,
        /// The header.
        header: String,
        /// What to write.
        needed: &'static str,
    },
    /// A column without a unit.
    #[error("line {line}: the column \"{column}\" has no unit; write for example {example}")]
    ColumnWithoutUnit {
        /// The line of the header.
        line: usize,
        /// Its name.
        column: String,
        /// The name with a unit.
        example: String,
    },
    /// A unit that the column cannot have.
    #[error("line {line}: the column \"{column}\" cannot be in \"{unit}\"; units: {units}")]
    UnknownUnit {
        /// The line of the header.
        line: usize,
        /// Its name.
        column: String,
        /// The unit.
        unit: String,
        /// Units it can have.
        units: &'static str,
    },
    /// A column that looks like an uncertainty but is none known here. Dropping it in silence would lose it.
    #[error(
        "line {line}: the column \"{column}\" looks like an uncertainty, but known are only u_re_ohm, u_im_ohm, cov_re_im_ohm2, u_magnitude_ohm and u_phase_deg (or u_phase_rad); rename or remove it"
    )]
    UnknownUncertainty {
        /// The line of the header.
        line: usize,
        /// Its name.
        column: String,
    },
    /// Two columns of one kind.
    #[error("line {line}: two columns for the {what}; keep one")]
    TwoColumns {
        /// The line of the header.
        line: usize,
        /// Which.
        what: &'static str,
    },
    /// One uncertainty without its partner.
    #[error("line {line}: the uncertainties are incomplete; give {needed}, or none of them")]
    HalfUncertainty {
        /// The line of the header.
        line: usize,
        /// What belongs together.
        needed: &'static str,
    },
    /// More or fewer cells than the header has.
    #[error(
        "line {line} has {found} columns where the header has {expected}; if its numbers have decimal commas, separate the columns with semicolons"
    )]
    RowLength {
        /// Where.
        line: usize,
        /// Cells there.
        found: usize,
        /// Cells in the header.
        expected: usize,
    },
    /// Not a number.
    #[error("line {line}, {column}: \"{text}\" is not a number")]
    NotANumber {
        /// Where.
        line: usize,
        /// The column.
        column: String,
        /// What stands there.
        text: String,
    },
    /// NaN, infinite, or too large.
    #[error(
        "line {line}, {column}: the number is not finite; remove the line or export the table again"
    )]
    NotFinite {
        /// Where.
        line: usize,
        /// The column.
        column: String,
    },
    /// A frequency of zero or less.
    #[error("line {line}: the frequency {frequency_hz} Hz is not above zero; remove the line")]
    FrequencyNotPositive {
        /// Where.
        line: usize,
        /// What stands there.
        frequency_hz: f64,
    },
    /// A frequency that does not exceed the one before.
    #[error(
        "line {line}: the frequency {frequency_hz} Hz does not exceed the {previous_hz} Hz before it; sort the lines by frequency, one line for each"
    )]
    NotAscending {
        /// Where.
        line: usize,
        /// What stands there.
        frequency_hz: f64,
        /// What stands in the line before.
        previous_hz: f64,
    },
    /// Too little to fit a circuit to.
    #[error(
        "the table has {n_points} points; at least {fewest} are needed, and some 20 per octave around the resonance are better"
    )]
    TooFew {
        /// Points found.
        n_points: usize,
        /// Points needed.
        fewest: usize,
    },
    /// A magnitude of zero or less.
    #[error(
        "line {line}: the magnitude {magnitude_ohm} ohm is not above zero; a magnitude in dB is not taken, export it in ohm"
    )]
    MagnitudeNotPositive {
        /// Where.
        line: usize,
        /// What stands there.
        magnitude_ohm: f64,
    },
    /// An uncertainty of zero or less.
    #[error(
        "line {line}, {column}: an uncertainty has to be above zero; if it is not known, leave the uncertainty columns out"
    )]
    UncertaintyNotPositive {
        /// Where.
        line: usize,
        /// The column.
        column: String,
    },
    /// Uncertainties that no two numbers can have.
    #[error(
        "line {line}: these uncertainties cannot be: the covariance has to be smaller than the product of the two uncertainties, and none of them may vanish or be enormous"
    )]
    CovarianceImpossible {
        /// Where.
        line: usize,
    },
    /// Touchstone version 2.
    #[error(
        "line {line}: the file is Touchstone version 2, of which only version 1 is read here; export it again as version 1 (or 1.1), one port, parameter Z"
    )]
    TouchstoneVersion2 {
        /// Where that shows.
        line: usize,
    },
    /// Touchstone data without an option line before them.
    #[error(
        "line {line}: numbers without an option line before them; a Touchstone file needs one, such as # Hz Z RI R 50"
    )]
    NoOptionLine {
        /// The first line of data.
        line: usize,
    },
    /// Something unknown in the option line.
    #[error(
        "line {line}: \"{option}\" is not an option known here; the option line names a frequency unit (Hz, kHz, MHz, GHz), a parameter (Z, Y, S), a format (RI, MA, DB) and R with a resistance, as in # Hz Z RI R 50"
    )]
    UnknownOption {
        /// Where.
        line: usize,
        /// The option.
        option: String,
    },
    /// G or H parameters.
    #[error(
        "line {line}: parameter {parameter} belongs to two-ports; export the impedance as one port with parameter Z"
    )]
    TwoPortParameter {
        /// Where.
        line: usize,
        /// Which.
        parameter: String,
    },
    /// A reference resistance that is absent, zero or less.
    #[error("line {line}: R needs a reference resistance above zero, as in R 50")]
    BadReference {
        /// Where.
        line: usize,
    },
    /// Not a frequency and one complex number.
    #[error(
        "line {line} has {found} numbers; a one-port file has three in each line (frequency and one complex number), so this is another file or one with several ports"
    )]
    NotOnePort {
        /// Where.
        line: usize,
        /// Numbers there.
        found: usize,
    },
    /// The reference resistance to write with.
    #[error("the reference resistance {reference_ohm} ohm is not above zero and finite")]
    ReferenceToWrite {
        /// What was asked for.
        reference_ohm: f64,
    },
    /// A covariance that no reader would take back.
    #[error(
        "the covariance at {frequency_hz} Hz is not positive definite, so it cannot be written as uncertainties; drop it or correct it"
    )]
    CovarianceToWrite {
        /// Where.
        frequency_hz: f64,
    },
}
