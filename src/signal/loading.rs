//! The source's own impedance, seen from both channels.

use super::FollowWindow;
use super::correlate::part;
use super::follow::Follow;

/// How much of the other channel is in this one beyond what was played, formula (S13): the source node is pulled down
/// by the current through the source's impedance, and the other channel knows the current. 0 where nothing tells.
pub fn loading_share(
    played: &[f32],
    recorded: &[f32],
    other: &[f32],
    follow: &Follow,
    sample_rate_hz: f64,
) -> f64 {
    loading_share_from(LEAST_SHARE, played, recorded, other, follow, sample_rate_hz)
}

/// [`loading_share`] down to another lowest share: an output of ten times the sense resistor gives −10 across the resistor.
pub fn loading_share_from(
    least_share: f64,
    played: &[f32],
    recorded: &[f32],
    other: &[f32],
    follow: &Follow,
    sample_rate_hz: f64,
) -> f64 {
    let Some(global) = follow.delay_frames else {
        return 0.0;
    };
    let mut shares: Vec<f64> = vec![];
    for window in &follow.windows {
        let Some(delay) = window.delay_frames else {
            continue;
        };
        if !(LOADING_FROM_HZ..LOADING_TO_HZ).contains(&window.frequency_hz) {
            continue;
        }
        let lag = (global + delay).round() as isize;
        let omega = std::f64::consts::TAU * window.frequency_hz / sample_rate_hz;
        if let Some([r11, r12, r22]) = residuals(played, recorded, other, window, lag, omega)
            && r12 * r12 > CONVINCING * r11 * r22
            && (least_share..MOST_SHARE).contains(&(r12 / r22))
        {
            shares.push(r12 / r22);
        }
    }
    if shares.len() < FEWEST_TELLING {
        return 0.0;
    }
    shares.sort_by(f64::total_cmp);
    // The median, since a glitch stands in both channels too; nothing if they do not agree.
    let at = |part: f64| shares[(part * (shares.len() - 1) as f64).round() as usize];
    // Large shares scatter with their size.
    let large = if at(0.5) < -1.0 { -at(0.5) } else { 1.0 };
    if at(0.75) - at(0.25) < AGREE * large {
        at(0.5)
    } else {
        0.0
    }
}

/// Resonances of drivers lie between, Hz; below, the coupling of the inputs bends the response within a window.
const LOADING_FROM_HZ: f64 = 20.0;
const LOADING_TO_HZ: f64 = 3000.0;
/// Share of what is left of one channel that the other has to explain in a window: elsewhere noise decides.
const CONVINCING: f64 = 0.8;
/// Windows that have to tell.
const FEWEST_TELLING: usize = 3;
/// A source as large as the sense resistor gives 0.5 across the driver and −1 across the resistor. Beyond, both channels are
/// alike for other reasons: several waves at a time, or a glitch.
const LEAST_SHARE: f64 = -1.3;
const MOST_SHARE: f64 = 0.7;
/// How far the middle half of the windows may lie apart.
const AGREE: f64 = 0.3;

/// Energies of what is left of both channels after the window and its quadrature are taken out: 11, 12, 22.
fn residuals(
    played: &[f32],
    recorded: &[f32],
    other: &[f32],
    window: &FollowWindow,
    lag: isize,
    omega: f64,
) -> Option<[f64; 3]> {
    let quarter = (0.25 * std::f64::consts::TAU / omega)
        .round()
        .clamp(1.0, 1e6) as isize;
    let (start, length) = (window.start as isize, window.n_frames);
    let [now, late, early] = [0, -quarter, quarter].map(|m| part(played, start + m, length));
    let [first, second] = [recorded, other].map(|samples| part(samples, start + lag, length));
    // Weighted products of the columns 1, x, q and both channels with one another; then Gauss's elimination of the first three.
    let mut products = [[0.0; 5]; 5];
    let turn = std::f64::consts::TAU / length as f64;
    let step = 2.0 * turn.cos();
    let (mut cosine, mut before) = ((0.5 * turn).cos(), (0.5 * turn).cos());
    for i in 0..length {
        let weight = 0.5 - 0.5 * cosine;
        (before, cosine) = (cosine, step * cosine - before);
        let q = f64::from(late[i]) - f64::from(early[i]);
        let row = [
            1.0,
            f64::from(now[i]),
            q,
            f64::from(first[i]),
            f64::from(second[i]),
        ];
        for (j, line) in products.iter_mut().enumerate() {
            let weighted = weight * row[j];
            for (k, sum) in line.iter_mut().enumerate().skip(j) {
                *sum += weighted * row[k];
            }
        }
    }
    for i in 0..3 {
        let pivot = products[i];
        if pivot[i] <= 0.0 {
            return None;
        }
        for j in i + 1..5 {
            let share = pivot[j] / pivot[i];
            for k in j..5 {
                products[j][k] -= share * pivot[k];
            }
        }
    }
    Some([products[3][3], products[3][4], products[4][4]])
}
