//! What recording costs. The figures hold for the optimised program.

use std::fmt::Debug;
use std::fs;
use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::thread::{sleep, spawn};
use std::time::{Duration, Instant};

use crate::measure::{HOSTS, Host, NATIVE, RATE_HZ};
use crate::program::{Running, STEADY};
use crate::server::{Server, Setup, available};
use crate::truth::DRIVER;

/// Of one core, while recording.
const PROMISE_CPU: f64 = 0.10;
/// How often a time is measured, the least counting: what else the machine does only adds to it (12 % was seen once, through ALSA,
/// while another program computed on both cores).
const N_TRIES: usize = 3;
/// For a take of 60 s at 96 kHz, bytes.
const PROMISE_MEMORY: u64 = 200_000_000;
/// The same with the whole fit behind it, for the chat.
const WITH_THE_LINE: u64 = 260_000_000;
/// What it says once a take is judged and on disk.
const KEPT: &str = "Kept: ";
/// From the end of a take to its findings.
const PROMISE_FINDINGS: Duration = Duration::from_millis(300);
/// Longest end of a take: its tail, findings and the file.
const END_LIMIT: Duration = Duration::from_secs(120);

/// Processor time of a process so far, s.
fn cpu_s(pid: u32) -> f64 {
    let stat = fs::read_to_string(format!("/proc/{pid}/stat")).expect("it runs");
    // The name, in brackets, may hold spaces; user and system time are the 14th and 15th field.
    let fields: Vec<&str> = stat[stat.rfind(')').expect("a name") + 2..]
        .split(' ')
        .collect();
    let ticks: f64 = [fields[11], fields[12]]
        .iter()
        .map(|field| field.parse::<f64>().expect("ticks"))
        .sum();
    let per_second = Command::new("getconf")
        .arg("CLK_TCK")
        .output()
        .expect("getconf starts");
    let per_second = String::from_utf8(per_second.stdout).expect("a number");
    ticks / per_second.trim().parse::<f64>().expect("a number")
}

/// Most memory that a process has ever held, bytes; `None` when it has ended.
fn highest_memory(pid: u32) -> Option<u64> {
    let status = fs::read_to_string(format!("/proc/{pid}/status")).ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    Some(1024 * line.split_whitespace().nth(1)?.parse::<u64>().ok()?)
}

/// Measures until something is below its promise, a few times at most.
fn is_kept<T: PartialOrd + Debug>(promise: T, measure: impl FnMut() -> T) {
    let mut measured = vec![];
    for value in std::iter::repeat_with(measure).take(N_TRIES) {
        measured.push(value);
        if measured[measured.len() - 1] < promise {
            return;
        }
    }
    panic!("{measured:?}, and {promise:?} was promised");
}

/// Whether figures can be taken here.
fn measurable() -> bool {
    if cfg!(debug_assertions) {
        println!("skipped: the figures are for the optimised program (--release)");
        return false;
    }
    available()
}

#[test]
#[ignore = "needs a PulseAudio server and --release; .ci/run has both"]
fn recording_leaves_the_processor_alone() {
    if !measurable() {
        return;
    }
    for host in &HOSTS {
        is_kept(PROMISE_CPU, || {
            let share = share_while_recording(host);
            let percent = 100.0 * share;
            println!("{}: {percent:.1} % of one core while recording", host.name);
            share
        });
    }
}

/// How much of one core a recording takes.
fn share_while_recording(host: &Host) -> f64 {
    let server = Server::start(&Setup::new(DRIVER));
    let folder = tempfile::tempdir().expect("a temporary folder");
    let session = folder.path().join("session");
    let mut running = Running::start(&server, host.record(&session, RATE_HZ));
    running.wait_for_sound(&server, STEADY);
    let (begin, before_s) = (Instant::now(), cpu_s(running.pid()));
    sleep(Duration::from_secs(4));
    assert!(
        !server.playing().is_empty(),
        "the take ended: {}",
        running.said()
    );
    (cpu_s(running.pid()) - before_s) / begin.elapsed().as_secs_f64()
}

#[test]
#[ignore = "needs a PulseAudio server and --release; .ci/run has both"]
fn a_long_take_fits_into_memory() {
    if !measurable() {
        return;
    }
    let server = Server::start(&Setup {
        rate_hz: 96_000,
        ..Setup::new(DRIVER)
    });
    let folder = tempfile::tempdir().expect("a temporary folder");
    let mut arguments = NATIVE.record(&folder.path().join("session"), 96_000);
    arguments.extend(["--length", "60s"].map(str::to_owned));
    let mut running = Running::start(&server, arguments);
    let (mut highest, mut until_kept, begin) = (0, 0, Instant::now());
    while running.is_running() {
        highest = highest.max(highest_memory(running.pid()).unwrap_or(0));
        if !running.said().contains(KEPT) {
            until_kept = highest;
        }
        assert!(
            begin.elapsed() < 2 * END_LIMIT,
            "no end: {}",
            running.said()
        );
        sleep(Duration::from_millis(10));
    }
    let ended = running.end_within(END_LIMIT);
    assert_eq!(ended.code, Some(0), "{}\n{}", ended.out, ended.err);
    println!(
        "a take of 60 s at 96 kHz: {} MB until it is kept, {} MB with the line for the chat",
        until_kept / 1_000_000,
        highest / 1_000_000
    );
    assert!(
        begin.elapsed() > Duration::from_secs(60),
        "the take was shorter"
    );
    assert!(until_kept < PROMISE_MEMORY, "{until_kept} bytes");
    assert!(highest < WITH_THE_LINE, "{highest} bytes");
}

/// Learns from the server when streams go.
struct Subscription {
    child: Child,
    removed: Arc<Mutex<Vec<Instant>>>,
}

impl Subscription {
    fn start(server: &Server) -> Self {
        let mut command = Command::new("pactl");
        server.surround(&mut command);
        let mut child = command
            .arg("subscribe")
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .spawn()
            .expect("pactl starts");
        let removed = Arc::new(Mutex::new(vec![]));
        let filled = removed.clone();
        let lines = BufReader::new(child.stdout.take().expect("a pipe")).lines();
        spawn(move || {
            for line in lines.map_while(Result::ok) {
                if line.contains("'remove' on source-output") {
                    filled.lock().expect("nobody panics").push(Instant::now());
                }
            }
        });
        Self { child, removed }
    }

    fn removed(&self) -> Vec<Instant> {
        self.removed.lock().expect("nobody panics").clone()
    }
}

impl Drop for Subscription {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[test]
#[ignore = "needs a PulseAudio server and --release; .ci/run has both"]
fn findings_come_at_once() {
    if !measurable() {
        return;
    }
    for host in &HOSTS {
        is_kept(PROMISE_FINDINGS, || wait_for_findings(host));
    }
}

/// From the end of a take until everything about it is said and it is on disk; the line for the chat needs the whole fit.
fn wait_for_findings(host: &Host) -> Duration {
    let server = Server::start(&Setup::new(DRIVER));
    let folder = tempfile::tempdir().expect("a temporary folder");
    let subscription = Subscription::start(&server);
    let running = Running::start(
        &server,
        host.record(&folder.path().join("session"), RATE_HZ),
    );
    let ended = running.end_within(END_LIMIT);
    assert_eq!(ended.code, Some(0), "{}\n{}", ended.out, ended.err);
    // The last recording stream is the take's.
    let take_end = *subscription.removed().last().expect("it has recorded");
    let kept = ended.lines.iter().find(|(_, line)| line.contains(KEPT));
    let (kept_at, _) = kept.expect("it says that it was kept");
    let wait = kept_at.saturating_duration_since(take_end);
    for (at, line) in &ended.lines {
        let after = at.saturating_duration_since(take_end);
        println!("{:5} ms {line}", after.as_millis());
    }
    println!(
        "{}: all said, and kept, {} ms after the take; the line for the chat stands {} ms after it",
        host.name,
        wait.as_millis(),
        ended.at.saturating_duration_since(take_end).as_millis()
    );
    wait
}
