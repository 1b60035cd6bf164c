//! The command line from outside: the real program, real files, no network.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test fails by panicking"
)]

mod compare;
mod demo;
#[cfg(feature = "audio")]
mod devices;
mod export;
mod fit;
mod jig;
mod kit;
mod measure;
mod one_input;
mod output;
mod receive;
mod record;
mod report;
mod show;
mod simulator;
mod stimulus;
mod test_box;
mod usage;

use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;

use farcone::sheet::Sheet;

/// The program, with the arguments, ready to run.
fn farcone<S: AsRef<OsStr>>(arguments: impl IntoIterator<Item = S>) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_farcone"));
    command.args(arguments);
    command
}

/// What a run left behind.
struct Ran {
    code: i32,
    out: String,
    err: String,
}

fn run<S: AsRef<OsStr>>(arguments: impl IntoIterator<Item = S>) -> Ran {
    ran(&farcone(arguments).output().expect("the program starts"))
}

fn ran(output: &Output) -> Ran {
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).expect("output is UTF-8");
    Ran {
        code: output.status.code().expect("the program ends by itself"),
        out: text(&output.stdout),
        err: text(&output.stderr),
    }
}

impl Ran {
    fn sheet(&self) -> Sheet {
        Sheet::from_json(&self.out).expect("a sheet on standard output")
    }
}

/// A demo that all tests read and none writes into.
struct Demo {
    folder: tempfile::TempDir,
    ran: Ran,
}

fn demo() -> &'static Demo {
    static DEMO: OnceLock<Demo> = OnceLock::new();
    DEMO.get_or_init(|| {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let out = folder.path().join("demo");
        let ran = run([OsStr::new("demo"), "--out".as_ref(), out.as_ref()]);
        Demo { folder, ran }
    })
}

impl Demo {
    fn path(&self) -> PathBuf {
        self.folder.path().join("demo")
    }

    fn take(&self, name: &str) -> String {
        let path = self.path().join("takes").join(format!("{name}.wav"));
        path.to_str().expect("a UTF-8 path").to_owned()
    }
}

/// `fit` of the demo's free-air take with one coil model, which is quick; `more` is added.
fn quick_fit(take: &str, more: &[&str]) -> Ran {
    let common = ["--sense", "47ohm+-1%", "--wiring", "across-driver"];
    let quick = ["--coil", "semi-inductor", "--no-creep", "--draws", "1000"];
    run(["fit", "--free-air", take]
        .iter()
        .chain(&common)
        .chain(&quick)
        .chain(more))
}

/// A text file in a folder.
fn write(folder: &Path, name: &str, text: &str) -> String {
    let path = folder.join(name);
    std::fs::write(&path, text).expect("a file can be written");
    path.to_str().expect("a UTF-8 path").to_owned()
}
