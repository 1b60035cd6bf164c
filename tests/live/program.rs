//! The program under test, running.

use std::ffi::OsStr;
use std::io::{BufRead, BufReader, Read};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::thread::{JoinHandle, sleep, spawn};
use std::time::{Duration, Instant};

use farcone::sheet::Sheet;

use crate::server::Server;

/// A stream that lasts longer than this is a take, not a burst of the search for the level.
pub const STEADY: Duration = Duration::from_secs(5);
/// Said when a damaged take is not kept.
pub const REPEATS: &str = "is made again";
/// Until the sound of a take begins: the search for the level comes first.
pub const SOUND_LIMIT: Duration = Duration::from_secs(60);

/// Sends a signal (`INT`, `STOP`, `CONT`) to a process that the test started.
pub fn signal(pid: u32, name: &str) {
    // The shell's own, which is always there.
    let status = Command::new("sh")
        .args(["-c", &format!("kill -{name} {pid}")])
        .status()
        .expect("a shell starts");
    assert!(status.success(), "no signal {name} for {pid}");
}

type Lines = Arc<Mutex<Vec<(Instant, String)>>>;

/// A started program; dropping it ends it.
pub struct Running {
    child: Child,
    out: Lines,
    err: Lines,
    readers: Vec<JoinHandle<()>>,
    begin: Instant,
}

/// How a run ended.
#[derive(Debug)]
pub struct Ended {
    /// `None` if a signal ended it.
    pub code: Option<i32>,
    pub out: String,
    pub err: String,
    pub at: Instant,
    /// When each line of standard output and of standard error came.
    pub lines: Vec<(Instant, String)>,
}

impl Running {
    pub fn start<S: AsRef<OsStr>>(server: &Server, arguments: impl IntoIterator<Item = S>) -> Self {
        let mut command = Command::new(env!("CARGO_BIN_EXE_farcone"));
        server.surround(&mut command);
        let mut child = command
            .args(arguments)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program starts");
        let (out, out_reader) = collect(child.stdout.take().expect("a pipe"));
        let (err, err_reader) = collect(child.stderr.take().expect("a pipe"));
        Self {
            child,
            out,
            err,
            readers: vec![out_reader, err_reader],
            begin: Instant::now(),
        }
    }

    pub fn pid(&self) -> u32 {
        self.child.id()
    }

    pub fn is_running(&mut self) -> bool {
        self.child.try_wait().expect("it can be asked").is_none()
    }

    /// What it has said so far, for messages.
    pub fn said(&self) -> String {
        format!("{}{}", text(&self.out), text(&self.err))
    }

    /// Waits until it plays to the jig, in one stream for at least `steady`.
    pub fn wait_for_sound(&mut self, server: &Server, steady: Duration) {
        let mut since: Option<(Vec<String>, Instant)> = None;
        while self.begin.elapsed() < SOUND_LIMIT {
            assert!(self.is_running(), "ended too early: {}", self.said());
            let playing = server.playing();
            match &since {
                Some((streams, at)) if *streams == playing && !playing.is_empty() => {
                    if at.elapsed() >= steady {
                        return;
                    }
                }
                _ => since = Some((playing, Instant::now())),
            }
            sleep(Duration::from_millis(50));
        }
        panic!("no sound within {SOUND_LIMIT:?}: {}", self.said());
    }

    /// Waits until it plays no longer, or has ended: when that was.
    pub fn wait_for_silence(&mut self, server: &Server, limit: Duration) -> Instant {
        let begin = Instant::now();
        while self.is_running() && !server.playing().is_empty() {
            assert!(
                begin.elapsed() < limit,
                "sound without end: {}",
                self.said()
            );
            sleep(Duration::from_millis(20));
        }
        Instant::now()
    }

    /// Waits until it has ended, or has said that it makes the take again.
    pub fn end_or_repeat_within(&mut self, limit: Duration) {
        let begin = Instant::now();
        while self.is_running() && !self.said().contains(REPEATS) {
            assert!(
                begin.elapsed() < limit,
                "nothing within {limit:?}: {}",
                self.said()
            );
            sleep(Duration::from_millis(20));
        }
    }

    /// Waits for the end; a run that takes longer than the limit, measured from now, fails the test.
    pub fn end_within(mut self, limit: Duration) -> Ended {
        let begin = Instant::now();
        while self.is_running() {
            assert!(
                begin.elapsed() < limit,
                "still running after {limit:?}: {}",
                self.said()
            );
            sleep(Duration::from_millis(20));
        }
        let at = Instant::now();
        let code = self.child.wait().expect("it can be waited for").code();
        for reader in self.readers.drain(..) {
            reader.join().expect("the reader ends with the pipe");
        }
        let mut lines = self.out.lock().expect("no reader panics").clone();
        lines.extend(self.err.lock().expect("no reader panics").iter().cloned());
        lines.sort();
        Ended {
            code,
            out: text(&self.out),
            err: text(&self.err),
            at,
            lines,
        }
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Ended {
    pub fn sheet(&self) -> Sheet {
        Sheet::from_json(&self.out)
            .unwrap_or_else(|error| panic!("no sheet ({error}): {}\n{}", self.out, self.err))
    }
}

fn collect(pipe: impl Read + Send + 'static) -> (Lines, JoinHandle<()>) {
    let lines = Lines::default();
    let filled = lines.clone();
    let reader = spawn(move || {
        for line in BufReader::new(pipe).lines().map_while(Result::ok) {
            filled
                .lock()
                .expect("no reader panics")
                .push((Instant::now(), line));
        }
    });
    (lines, reader)
}

fn text(lines: &Lines) -> String {
    lines
        .lock()
        .expect("no reader panics")
        .iter()
        .map(|(_, line)| format!("{line}\n"))
        .collect()
}
