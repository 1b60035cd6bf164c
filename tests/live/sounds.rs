//! Playing and recording with the sound server's own tools, without the program under test.

use std::fs::{self, File};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

use crate::program::signal;
use crate::server::{INPUT, Server};

/// How long a recording of the server's needs to be under way, and to hold the last that was played.
const SETTLE: Duration = Duration::from_millis(700);

fn raw(program: &str, device: &str, rate_hz: u32, server: &Server) -> Command {
    let mut command = Command::new(program);
    server.surround(&mut command);
    command
        .args(["--raw", "--format=float32le", "--channels=2"])
        .arg(format!("--rate={rate_hz}"))
        .arg(format!("--device={device}"));
    command
}

/// A recording of what goes to the jig's inputs, which runs beside whatever else is done.
pub struct Listener {
    child: Child,
    file: tempfile::NamedTempFile,
}

impl Listener {
    pub fn start(server: &Server, rate_hz: u32) -> Self {
        let file = tempfile::NamedTempFile::new().expect("a temporary file");
        let out = File::create(file.path()).expect("a file can be written");
        let child = raw("parec", INPUT, rate_hz, server)
            .stdin(Stdio::null())
            .stdout(out)
            .spawn()
            .expect("parec starts");
        let listener = Self { child, file };
        let begin = Instant::now();
        while fs::metadata(listener.file.path())
            .expect("the file is there")
            .len()
            == 0
        {
            assert!(begin.elapsed() < 10 * SETTLE, "parec records nothing");
            sleep(Duration::from_millis(20));
        }
        listener
    }

    /// Ends the recording: left and right samples.
    pub fn stop(mut self) -> [Vec<f32>; 2] {
        sleep(SETTLE);
        signal(self.child.id(), "INT");
        self.child.wait().expect("parec ends");
        channels(self.file.path())
    }
}

impl Drop for Listener {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn channels(path: &Path) -> [Vec<f32>; 2] {
    let bytes = fs::read(path).expect("the recording can be read");
    let samples: Vec<f32> = bytes
        .chunks_exact(4)
        .map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]]))
        .collect();
    [0, 1].map(|channel| {
        samples
            .chunks_exact(2)
            .map(|frame| frame[channel])
            .collect()
    })
}

/// Plays samples on the left channel of a device, to their end.
pub fn play(server: &Server, device: &str, left: &[f64], rate_hz: u32) {
    let file = tempfile::NamedTempFile::new().expect("a temporary file");
    let bytes: Vec<u8> = left
        .iter()
        .flat_map(|&sample| [(sample as f32).to_le_bytes(), 0.0_f32.to_le_bytes()])
        .flatten()
        .collect();
    fs::write(file.path(), bytes).expect("a file can be written");
    let status = raw("pacat", device, rate_hz, server)
        .arg("--playback")
        .arg(file.path())
        .stdin(Stdio::null())
        .status()
        .expect("pacat starts");
    assert!(status.success(), "pacat fails");
}
