//! When standing still is a fault.

/// How long nothing may move, s. Blocks come at least five times a second where the sound system keeps to what it was
/// asked for; a second without one is beyond any scheduling hiccup (measured on busy machines).
const LIMIT_S: f64 = 1.0;
/// How long the first block may take, s: devices wake from sleep, servers start their sinks (common practice, no source).
pub(super) const GRACE_S: f64 = 3.0;
/// How many blocks may be late where they are long.
const LIMIT_BLOCKS: f64 = 3.0;

/// For how long one side has been standing still, where that is too long; s, all on one clock.
///
/// `last_s` is when a block was last asked for or delivered since `started_s`; `block_s` the length of the longest.
pub(super) fn silent_s(
    now_s: f64,
    started_s: f64,
    last_s: Option<f64>,
    block_s: f64,
) -> Option<f64> {
    let (since_s, limit_s) = match last_s {
        None => (started_s, GRACE_S),
        Some(last_s) if LIMIT_BLOCKS * block_s > LIMIT_S => (last_s, LIMIT_BLOCKS * block_s),
        Some(last_s) => (last_s, LIMIT_S),
    };
    let silent_s = now_s - since_s;
    (silent_s > limit_s).then_some(silent_s)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_block_has_three_seconds_the_others_one() {
        assert_eq!(silent_s(12.9, 10.0, None, 0.0), None);
        assert_eq!(silent_s(13.5, 10.0, None, 0.0), Some(3.5));
        assert_eq!(silent_s(12.9, 10.0, Some(12.0), 0.2), None);
        assert_eq!(silent_s(13.5, 10.0, Some(12.0), 0.2), Some(1.5));
    }

    #[test]
    fn long_blocks_have_longer() {
        assert_eq!(silent_s(13.5, 10.0, Some(12.0), 0.7), None);
        assert_eq!(silent_s(15.0, 10.0, Some(12.0), 0.7), Some(3.0));
    }

    #[test]
    fn a_block_from_after_now_is_no_fault() {
        assert_eq!(silent_s(10.0, 10.0, Some(10.001), 0.2), None);
    }
}
