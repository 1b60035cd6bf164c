//! How long a window of a few waves is, told by the samples themselves.

/// Waves in one window. With a raised cosine over it half of them count: enough that a phase is a phase.
const WAVES: f64 = 5.0;
/// Shortest window, s: at 20 kHz a clock that is 200 ppm off turns the phase by 7° in it.
const SHORTEST_S: f64 = 0.005;
/// Longest window, s.
pub(super) const LONGEST_S: f64 = 0.5;
/// Stands for no frequency, radian a frame.
const LEAST_OMEGA: f64 = 1e-6;

fn at_least(omega: f64) -> f64 {
    if omega > LEAST_OMEGA {
        omega
    } else {
        LEAST_OMEGA
    }
}

/// Root of the mean square frequency of a stretch, radian a frame.
pub(super) fn frequency(played: &[f32], start: usize, length: usize) -> f64 {
    at_least(Stretch::new(played, start, length).frequency().0)
}

/// Sums over a stretch of frames from one on: of the squares of slope, bend and sample.
struct Stretch<'a> {
    /// From the stretch's first frame on.
    frames: &'a [f32],
    /// Frames with a neighbour on either side within the stretch.
    n: usize,
    sums: [f64; 3],
}

/// Sums of which less than this is left after taking off are added up anew: rounding of what was there would count.
const CANCELLED: f64 = 1e-6;

impl<'a> Stretch<'a> {
    fn new(played: &'a [f32], start: usize, length: usize) -> Self {
        let mut stretch = Self {
            frames: &played[start..],
            n: 0,
            sums: [0.0; 3],
        };
        stretch.set_length(length);
        stretch
    }

    /// Moves the end. Only what comes or goes is added up: a window's length is found by trying several that differ by little.
    fn set_length(&mut self, length: usize) {
        let n = length.min(self.frames.len()).saturating_sub(2);
        let before = self.sums;
        let (from, to, sign) = if n > self.n {
            (self.n, n, 1.0)
        } else {
            (n, self.n, -1.0)
        };
        let moved = squares(&self.frames[from..(to + 2).min(self.frames.len())]);
        for (sum, moved) in self.sums.iter_mut().zip(moved) {
            *sum += sign * moved;
        }
        let cancelled = |(now, before): (&f64, &f64)| *now < CANCELLED * before;
        if self.sums.iter().zip(&before).any(cancelled) {
            self.sums = squares(&self.frames[..n + 2]);
        }
        self.n = n;
    }

    /// Root of the mean square frequency, radian a frame, and how much of one wave it is, 0 to 1, formula (S11).
    fn frequency(&self) -> (f64, f64) {
        let [slope, bend, energy] = self.sums;
        if energy <= 0.0 {
            return (0.0, 0.0);
        }
        // For one wave slope/energy is sin²ω and bend/energy (2 − 2·cos ω)².
        let cosine = (1.0 - 0.5 * (bend / energy).sqrt()).clamp(-1.0, 1.0);
        let sine_2 = 1.0 - cosine * cosine;
        let tonal = if sine_2 > 0.0 {
            (slope / energy / sine_2).clamp(0.0, 1.0)
        } else {
            0.0
        };
        let omega = if cosine > 0.7 {
            // Far below a quarter of the rate the slope is the less noisy one.
            (slope / energy).sqrt().clamp(0.0, 1.0).asin()
        } else {
            cosine.acos()
        };
        (omega, tonal)
    }
}

/// Sums of the squares of slope, bend and sample over all frames but the first and the last.
fn squares(frames: &[f32]) -> [f64; 3] {
    // Sums side by side, since each waits for its last addition.
    const LANES: usize = 8;
    let mut sums = [[0.0_f64; LANES]; 3];
    let mut add = |lane: usize, three: [f32; 3]| {
        let [a, b, c] = three.map(f64::from);
        sums[0][lane] += (0.5 * (c - a)).powi(2);
        sums[1][lane] += (c - 2.0 * b + a).powi(2);
        sums[2][lane] += b * b;
    };
    let n = frames.len().saturating_sub(2);
    let whole = n - n % LANES;
    for from in (0..whole).step_by(LANES) {
        // Of a length that the compiler knows.
        if let Some(part) = frames[from..].first_chunk::<{ LANES + 2 }>() {
            for lane in 0..LANES {
                add(lane, [part[lane], part[lane + 1], part[lane + 2]]);
            }
        }
    }
    for (lane, three) in frames[whole..].windows(3).enumerate() {
        add(lane, [three[0], three[1], three[2]]);
    }
    sums.map(|lanes| lanes.iter().sum::<f64>())
}

/// How long the window that starts here is, a neighbour's length to begin with; and the frequency and [`tonal`](super::FollowWindow::tonal)
/// in it.
pub(super) fn window_length(
    played: &[f32],
    start: usize,
    guess: usize,
    sample_rate_hz: f64,
) -> (usize, f64, f64) {
    let (shortest, longest) = (SHORTEST_S * sample_rate_hz, LONGEST_S * sample_rate_hz);
    let mut length = guess;
    let mut stretch = Stretch::new(played, start, length);
    for _ in 0..4 {
        let (omega, tonal) = stretch.frequency();
        let wanted = if omega > 0.0 {
            WAVES * std::f64::consts::TAU / omega
        } else {
            longest
        };
        let next = wanted.clamp(shortest, longest) as usize;
        if next == length {
            return (length, at_least(omega), tonal);
        }
        length = next;
        stretch.set_length(length);
    }
    let (omega, tonal) = stretch.frequency();
    (length, at_least(omega), tonal)
}
