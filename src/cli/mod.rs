//! The command line. `docs/commands.md` describes it, with the exit codes.

mod args;
mod compare;
mod console;
mod demo;
#[cfg(feature = "audio")]
mod devices;
mod export;
mod failure;
mod fit;
mod kit;
mod live;
mod measure;
mod progress;
mod receive;
mod report;
mod show;
mod stimulus;
mod takes;
mod test_box;
mod values;
mod view;

use std::process::ExitCode;

use clap::{CommandFactory, FromArgMatches, Parser, Subcommand};

use failure::Failure;

/// Good or usable.
const EXIT_GOOD: u8 = 0;
/// Something could not be read or written.
const EXIT_FAILED: u8 = 1;
/// The command was not understood.
const EXIT_USAGE: u8 = 2;
/// The takes have to be made again.
const EXIT_REDO: u8 = 3;
/// Ctrl-C: 128 + SIGINT, as shells have it.
const EXIT_STOPPED: u8 = 130;

/// Measures the small-signal parameters of a loudspeaker driver with a sound card and one resistor.
///
/// Two-channel recordings of the driver behind a series sense resistor go in; parameters with honest uncertainties come
/// out. Start with `farcone demo`, which does the whole job on an invented driver and needs no hardware.
#[derive(Parser)]
#[command(name = "farcone", version, max_term_width = 100, after_help = AFTER)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

/// Paragraphs are single lines: the help is wrapped to the terminal.
const AFTER: &str = "\
Quantities carry their unit: 5.2g, 47ohm, 2.00L, 78mm, 20Hz. A doubt follows behind +-: 5.2g+-0.05g is what a scale \
states (a half-width), 5.2g+-u0.05g a standard uncertainty, 47ohm+-1% a percentage.

Exit codes: 0 the result is good or usable, 1 something could not be read or written, 2 the command was not \
understood, 3 the verdict is \"redo\": at least one take has to be made again, 130 stopped with Ctrl-C.";

#[derive(Subcommand)]
enum Command {
    Compare(compare::CompareArgs),
    Demo(demo::DemoArgs),
    #[cfg(feature = "audio")]
    Devices(devices::DevicesArgs),
    Export(export::ExportArgs),
    Fit(Box<fit::FitArgs>),
    Kit(kit::KitArgs),
    #[command(subcommand)]
    Jig(measure::JigCommand),
    Measure(Box<measure::MeasureArgs>),
    Record(Box<measure::RecordArgs>),
    Receive(receive::ReceiveArgs),
    Report(report::ReportArgs),
    Show(show::ShowArgs),
    #[command(subcommand)]
    Stimulus(stimulus::StimulusCommand),
    TestBox(test_box::TestBoxArgs),
}

/// Runs the command that the program was started with.
pub fn main() -> ExitCode {
    let code = run().unwrap_or_else(|failure| console::report(&failure));
    ExitCode::from(code)
}

/// The day, in UTC; `None` where the clock stands outside the calendar that is written down.
fn today() -> Option<farcone::session::Day> {
    let now = time::OffsetDateTime::now_utc();
    farcone::session::Day::new(
        u16::try_from(now.year()).ok()?,
        now.month().into(),
        now.day(),
    )
}

/// Date and time, in UTC, to the second.
fn now() -> String {
    let now = time::OffsetDateTime::now_utc();
    let (hour, minute, second) = now.to_hms();
    format!("{} {hour:02}:{minute:02}:{second:02} UTC", now.date())
}

fn run() -> Result<u8, Failure> {
    let matches = Cli::command().try_get_matches()?;
    let cli = Cli::from_arg_matches(&matches)?;
    let Some((_, matches)) = matches.subcommand() else {
        return Ok(EXIT_USAGE);
    };
    match cli.command {
        Command::Compare(args) => compare::run(&args),
        Command::Demo(args) => demo::run(&args),
        #[cfg(feature = "audio")]
        Command::Devices(args) => devices::run(&args),
        Command::Export(args) => export::run(&args),
        Command::Fit(args) => fit::run(&args, matches),
        Command::Kit(args) => kit::run(&args),
        Command::Jig(command) => measure::run_jig(&command),
        Command::Measure(args) => measure::run(&args),
        Command::Record(args) => measure::run_record(&args),
        Command::Show(args) => show::run(&args),
        Command::Receive(args) => receive::run(&args),
        Command::Report(args) => report::run(&args),
        Command::Stimulus(command) => stimulus::run(&command),
        Command::TestBox(args) => test_box::run(&args),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_definitions_agree_with_each_other() {
        Cli::command().debug_assert();
    }
}
