//! Ctrl-C in the middle of a sweep, as the server hears it.

use std::fs;
use std::time::Duration;

use crate::measure::{HOSTS, RATE_HZ, check, measured};
use crate::program::{Running, signal};
use crate::server::{Server, Setup, available};
use crate::sounds::Listener;
use crate::truth::DRIVER;

/// By then it is a take, and its sweep has come well above 200 Hz.
const WELL_UNDER_WAY: Duration = Duration::from_secs(7);
/// From the signal to the end of the program.
const END_LIMIT: Duration = Duration::from_secs(5);
/// Length of a block in which the envelope is taken, in frames: 5 ms, a whole period of 200 Hz.
const N_BLOCK: usize = 240;
/// A fade shorter than this sounds like a click (common practice, no source), one longer keeps somebody waiting.
const FADE_S: std::ops::Range<f64> = 0.01..0.5;

/// Holds that the sound fades: no step, a falling envelope, then silence to the last bit.
fn check_fade(left: &[f32]) {
    let end = left
        .iter()
        .rposition(|&v| v != 0.0)
        .expect("something was played")
        + 1;
    let silent_after = left.len() - end;
    assert!(silent_after > N_BLOCK, "the recording ends in the sound");

    // Blocks counted backwards from the end of the sound.
    let peaks: Vec<f32> = left[..end]
        .rchunks_exact(N_BLOCK)
        .map(|block| block.iter().fold(0.0, |peak: f32, v| peak.max(v.abs())))
        .collect();
    // Half a second back the sweep is at its level.
    let level = peaks[100];
    let n_fade = peaks
        .iter()
        .position(|&peak| peak > 0.98 * level)
        .expect("the level is reached");
    let fade_s = (n_fade * N_BLOCK) as f64 / f64::from(RATE_HZ);
    println!("faded out over some {:.0} ms", 1000.0 * fade_s);
    assert!(FADE_S.contains(&fade_s), "{fade_s} s");
    assert!(
        peaks[..n_fade].windows(2).all(|pair| pair[0] < pair[1]),
        "the envelope does not fall steadily: {:?}",
        &peaks[..=n_fade]
    );

    let largest_step = |samples: &[f32]| {
        samples.windows(2).fold(0.0, |largest: f32, pair| {
            largest.max((pair[1] - pair[0]).abs())
        })
    };
    let n_faded = n_fade * N_BLOCK;
    let before = largest_step(&left[end - n_faded - 20 * N_BLOCK..end - n_faded]);
    let during = largest_step(&left[end - n_faded..(end + 1).min(left.len())]);
    // The sweep itself rises by a few percent while it fades.
    assert!(
        during < 1.1 * before,
        "a step of {during} where the sweep has {before}"
    );
}

#[test]
#[ignore = "needs a PulseAudio server; .ci/run has it"]
fn ctrl_c_fades_out_and_the_session_goes_on() {
    if !available() {
        return;
    }
    for host in &HOSTS {
        let mut setup = Setup::new(DRIVER);
        setup.faults.noise_rms = 0.0;
        let server = Server::start(&setup);
        let folder = tempfile::tempdir().expect("a temporary folder");
        let session = folder.path().join("session");

        let mut running = Running::start(&server, host.measure(&session));
        running.wait_for_sound(&server, WELL_UNDER_WAY);
        let listener = Listener::start(&server, RATE_HZ);
        std::thread::sleep(Duration::from_secs(1));
        signal(running.pid(), "INT");
        let ended = running.end_within(END_LIMIT);
        assert_eq!(ended.code, Some(130), "{}\n{}", ended.out, ended.err);
        let [left, _] = listener.stop();
        check_fade(&left);

        if let Ok(text) = fs::read_to_string(session.join("session.json")) {
            serde_json::from_str::<serde_json::Value>(&text).expect("session.json is whole");
        }
        drop(server);
        let server = Server::start(&Setup::new(DRIVER));
        let ended = measured(&server, host, &session);
        assert_eq!(ended.code, Some(0), "{}\n{}", ended.out, ended.err);
        check(&ended.sheet(), &DRIVER.discretised(f64::from(RATE_HZ)));
    }
}
