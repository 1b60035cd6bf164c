//! Sums and extremes of whole recordings.
//!
//! Each addition waits for the one before, so several go side by side.

const LANES: usize = 8;

/// Σ f(v).
pub fn sum(samples: &[f32], f: impl Fn(f64) -> f64) -> f64 {
    let (whole, rest) = samples.as_chunks::<LANES>();
    let mut lanes = [0.0; LANES];
    for chunk in whole {
        for (lane, &v) in lanes.iter_mut().zip(chunk) {
            *lane += f(f64::from(v));
        }
    }
    let rest: f64 = rest.iter().map(|&v| f(f64::from(v))).sum();
    lanes.iter().sum::<f64>() + rest
}

/// The largest f(v), or the start if that is larger; what is not a number counts for nothing.
pub fn largest(samples: &[f32], start: f32, f: impl Fn(f32) -> f32) -> f32 {
    let (whole, rest) = samples.as_chunks::<LANES>();
    let larger = |m: f32, v: f32| if v > m { v } else { m };
    let mut lanes = [start; LANES];
    for chunk in whole {
        for (lane, &v) in lanes.iter_mut().zip(chunk) {
            *lane = larger(*lane, f(v));
        }
    }
    rest.iter().map(|&v| f(v)).chain(lanes).fold(start, larger)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_left_out() {
        for n in [0_u8, 1, 7, 8, 9, 31] {
            let samples: Vec<f32> = (1..=n).map(f32::from).collect();
            let n = f64::from(n);
            assert_eq!(sum(&samples, |v| 2.0 * v), n * (n + 1.0));
            assert_eq!(f64::from(largest(&samples, 0.0, |v| v)), n);
            assert_eq!(
                largest(&samples, -40.0, |v| -v),
                if n > 0.0 { -1.0 } else { -40.0 }
            );
        }
        assert_eq!(largest(&[f32::NAN, 2.0], 0.0, |v| v), 2.0);
    }
}
