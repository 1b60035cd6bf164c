//! Work on two threads.

use std::sync::Mutex;

/// Runs `job` for each number below `n`; the results come in their order.
pub fn each<T: Send>(n: u64, job: impl Fn(u64) -> T + Sync) -> Vec<T> {
    let done = Mutex::new(vec![]);
    let next = Mutex::new(0..n);
    std::thread::scope(|scope| {
        for _ in 0..2 {
            scope.spawn(|| {
                loop {
                    let Some(i) = next.lock().unwrap().next() else {
                        break;
                    };
                    let result = job(i);
                    done.lock().unwrap().push((i, result));
                }
            });
        }
    });
    let mut done = done.into_inner().unwrap();
    done.sort_by_key(|(i, _)| *i);
    done.into_iter().map(|(_, result)| result).collect()
}
