//! Bands of bins: where the take holds signal, and how its bins are put together.

use super::spectra::Spectra;

/// A half-power width of fs/15 (a mechanical Q of 15, the sharpest of common drivers) holds this many bands. Eight
/// would do to see the peak; with twelve the curvature correction (S10) leaves 3e-4 of it.
const BANDS_PER_WIDTH: f64 = 12.0;
const SHARPEST_Q: f64 = 15.0;

/// Width of a band over its frequency.
pub(super) const BAND_WIDTH: f64 = 1.0 / (SHARPEST_Q * BANDS_PER_WIDTH);

/// A stretch counts as excited if its power per octave is at most this far below that of the strongest. White noise
/// spans 36 dB per octave-power between 5 Hz and 20 kHz, a sweep none.
const EXCITED: f64 = 1e-4;
/// Stretches an octave for that judgement.
const STRETCHES: f64 = 6.0;

/// Edges in hertz between `low_hz` and `high_hz`: each band a fixed ratio wide, but never narrower than
/// `resolution_hz`, formula (S7). Takes that share a resolution share their bands.
pub(super) fn edges_hz(low_hz: f64, high_hz: f64, resolution_hz: f64) -> Vec<f64> {
    // Edges stand half-way between bins, so that a band of one bin holds exactly that bin in its middle.
    let half_way = |f_hz: f64| ((f_hz / resolution_hz).round() + 0.5) * resolution_hz;
    let mut edge_hz = half_way(low_hz) - resolution_hz;
    let mut edges = vec![];
    while edge_hz < high_hz {
        if edge_hz > 0.0 {
            edges.push(edge_hz);
        }
        let wanted_hz = edge_hz * BAND_WIDTH;
        edge_hz += if wanted_hz > resolution_hz {
            wanted_hz
        } else {
            resolution_hz
        };
    }
    edges.push(edge_hz);
    edges
}

/// The lowest and highest frequency that the source channel excites, Hz; `None` if there is no signal at all.
pub(super) fn excited_hz(spectra: &Spectra, low_hz: f64, high_hz: f64) -> Option<(f64, f64)> {
    let nyquist_hz = (spectra.n_bins() - 1) as f64 * spectra.bin_hz;
    let top_hz = if high_hz < nyquist_hz {
        high_hz
    } else {
        nyquist_hz
    };
    let n = (STRETCHES * (top_hz / low_hz).log2()).ceil() as usize;
    let edge = |i: usize| low_hz * (top_hz / low_hz).powf(i as f64 / n as f64);
    let mut power = vec![];
    for i in 0..n {
        let (first, last) = bins_between(spectra, edge(i), edge(i + 1));
        // A stretch narrower than a bin shares its neighbour's.
        let last = if last > first { last } else { first + 1 };
        let mut n_kept = 0;
        let kept = spectra.kept(first, last.min(spectra.n_bins()));
        let sum: f64 = kept.inspect(|_| n_kept += 1).map(|k| spectra.s11[k]).sum();
        let mean = if n_kept == 0 {
            0.0
        } else {
            sum / f64::from(n_kept)
        };
        power.push(mean * edge(i));
    }
    let strongest = power
        .iter()
        .copied()
        .enumerate()
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .filter(|s| s.1 > 0.0)?;
    let excited = |i: &usize| power[*i] > EXCITED * strongest.1;
    // Gaps occur between the lines of a multisine; hum below a sweep's start must not widen the band, so walk
    // outwards from the strongest stretch and stop at a gap of more than two.
    let reach = |steps: &mut dyn Iterator<Item = usize>| {
        let (mut last, mut gap) = (strongest.0, 0);
        for i in steps {
            gap = if excited(&i) { 0 } else { gap + 1 };
            if gap > 2 {
                break;
            }
            if gap == 0 {
                last = i;
            }
        }
        last
    };
    let lowest = reach(&mut (0..strongest.0).rev());
    let highest = reach(&mut (strongest.0 + 1..n));
    Some((edge(lowest), edge(highest + 1)))
}

/// The bins whose frequency lies in `[low_hz, high_hz)`: first, and one past the last. Bin 0 is never among them.
pub(super) fn bins_between(spectra: &Spectra, low_hz: f64, high_hz: f64) -> (usize, usize) {
    let first = ((low_hz / spectra.bin_hz).ceil() as usize).max(1);
    let last = (high_hz / spectra.bin_hz).ceil() as usize;
    (first, last.clamp(first, spectra.n_bins().max(first)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bands_are_fine_enough_and_never_finer_than_a_bin() {
        let edges = edges_hz(5.0, 20e3, 0.1);
        for pair in edges.windows(2) {
            let width = pair[1] - pair[0];
            assert!(width > 0.1 * (1.0 - 1e-9));
            let finest = 0.1_f64.max(pair[0] / SHARPEST_Q / 8.0);
            assert!(width <= finest * 1.01, "{pair:?}");
        }
        assert!(edges[0] <= 5.0 && *edges.last().unwrap() >= 20e3);
    }
}
