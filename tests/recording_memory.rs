//! What reading a recording costs in memory, counted by an allocator.
#![allow(
    unsafe_code,
    clippy::unwrap_used,
    clippy::print_stdout,
    reason = "an allocator cannot be written without unsafe; a test fails by panicking and prints what it measured"
)]

use std::alloc::{GlobalAlloc, Layout, System};
use std::cell::Cell;
use std::io::{self, Cursor, Read, Seek, SeekFrom};

use farcone::recording::{RecordingError, read_take, read_wav};

thread_local! {
    // Per thread, so that tests that run at the same time do not count for one another.
    static LIVE_BYTES: Cell<isize> = const { Cell::new(0) };
    static PEAK_BYTES: Cell<isize> = const { Cell::new(0) };
}

struct Counting;

fn count(change: isize) {
    LIVE_BYTES.set(LIVE_BYTES.get() + change);
    PEAK_BYTES.set(PEAK_BYTES.get().max(LIVE_BYTES.get()));
}

// SAFETY: everything is passed on to the system's allocator; only sizes are noted.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        count(layout.size() as isize);
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, pointer: *mut u8, layout: Layout) {
        count(-(layout.size() as isize));
        unsafe { System.dealloc(pointer, layout) }
    }
}

#[global_allocator]
static ALLOCATOR: Counting = Counting;

/// The result, and how many bytes were held at most while it was made.
fn peak_of<T>(work: impl FnOnce() -> T) -> (T, usize) {
    let before = LIVE_BYTES.get();
    PEAK_BYTES.set(before);
    let result = work();
    (result, (PEAK_BYTES.get() - before) as usize)
}

/// The read buffer (64 KiB) and small change.
const OVERHEAD_BYTES: usize = 80 * 1024;
const HEADER_BYTES: u64 = 44;

/// A stereo file, 24 bits at 96 kHz, that exists only as a formula: audio byte number i is i mod 251.
struct Formula {
    header: Vec<u8>,
    n_bytes: u64,
    position: u64,
    n_read: u64,
}

impl Formula {
    fn new(n_frames: u64, stated_bytes: u32) -> Self {
        let mut header = b"RIFF\xFF\xFF\xFF\xFFWAVEfmt \x10\0\0\0\x01\0\x02\0".to_vec();
        header.extend_from_slice(&96_000_u32.to_le_bytes());
        header.extend_from_slice(&(96_000_u32 * 6).to_le_bytes());
        header.extend_from_slice(b"\x06\0\x18\0data");
        header.extend_from_slice(&stated_bytes.to_le_bytes());
        Self {
            header,
            n_bytes: HEADER_BYTES + 6 * n_frames,
            position: 0,
            n_read: 0,
        }
    }
}

impl Read for Formula {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let n = (self.n_bytes.saturating_sub(self.position) as usize).min(buffer.len());
        for (i, slot) in buffer[..n].iter_mut().enumerate() {
            let at = self.position + i as u64;
            *slot = match self.header.get(at as usize) {
                Some(&byte) => byte,
                None => ((at - HEADER_BYTES) % 251) as u8,
            };
        }
        self.position += n as u64;
        self.n_read += n as u64;
        Ok(n)
    }
}

impl Seek for Formula {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.position = match to {
            SeekFrom::Start(position) => position,
            SeekFrom::End(offset) => self.n_bytes.saturating_add_signed(offset),
            SeekFrom::Current(offset) => self.position.saturating_add_signed(offset),
        };
        Ok(self.position)
    }
}

fn check_long_take(seconds: u64) {
    let n_frames = 96_000 * seconds;
    let mut file = Formula::new(n_frames, 6 * n_frames as u32);
    let started = std::time::Instant::now();
    let (result, peak) = peak_of(|| read_take(&mut file, None));
    let took = started.elapsed();
    let (take, findings) = result.unwrap();
    println!(
        "{seconds} s at 96 kHz: {took:.2?}, peak {:.1} MB",
        peak as f64 / 1e6
    );
    assert!(findings.is_empty());
    assert_eq!(take.n_frames() as u64, n_frames);
    assert!(
        peak <= 8 * n_frames as usize + OVERHEAD_BYTES,
        "peak {peak} bytes"
    );
    // The last frame, from the formula.
    let last = 6 * (n_frames - 1);
    let byte = |i: u64| ((last + i) % 251) as i32;
    let value =
        |i: u64| ((byte(i) | byte(i + 1) << 8 | byte(i + 2) << 16) << 8) as f32 / 2_147_483_648.0;
    assert_eq!(take.source().last(), Some(&value(0)));
    assert_eq!(take.driver().last(), Some(&value(3)));
}

#[test]
fn a_take_costs_its_samples_and_little_else() {
    check_long_take(60);
}

#[test]
#[ignore = "takes 461 MB; run with --ignored --nocapture in release"]
fn ten_minutes_at_96_khz() {
    check_long_take(600);
}

#[test]
fn an_absurd_length_is_refused_before_any_audio_is_read() {
    // One frame more than a take may have; and 4 GB from a recorder that left the length open.
    for (n_frames, stated_bytes) in [
        ((1 << 26) + 1, 6 * ((1 << 26) + 1)),
        (700_000_000, u32::MAX),
    ] {
        let mut file = Formula::new(n_frames, stated_bytes);
        let (result, peak) = peak_of(|| read_take(&mut file, None));
        assert!(matches!(result, Err(RecordingError::TooLong { .. })));
        assert!(peak < OVERHEAD_BYTES, "peak {peak} bytes");
        assert!(file.n_read < 1000, "{} bytes were read", file.n_read);
    }
}

#[test]
fn stated_sizes_are_not_trusted() {
    // Every byte of a small file set to its largest: whatever size that makes, memory follows the bytes that are there.
    let mut original = Vec::new();
    Formula::new(100, 600).read_to_end(&mut original).unwrap();
    for place in 0..HEADER_BYTES as usize {
        for byte in [0x7F, 0xFF] {
            let mut file = original.clone();
            file[place] = byte;
            let (_, peak) = peak_of(|| read_wav(Cursor::new(&file)).map(drop));
            assert!(
                peak < OVERHEAD_BYTES,
                "byte {place} as {byte}: peak {peak} bytes"
            );
        }
    }
}
