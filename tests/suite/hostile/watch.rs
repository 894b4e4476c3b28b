//! Work that must come to an end: what hangs fails, and says on which item.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::mpsc::{RecvTimeoutError, channel};
use std::time::Duration;

/// Far above what any item takes, so that it says nothing of speed.
const HANGS_AFTER: Duration = Duration::from_secs(300);

/// Calls `work` with 0 to `count`, shared out among two threads. Fails where one panics or hangs.
pub fn all(count: usize, what: &str, work: impl Fn(usize) + Send + Sync + 'static) {
    let work = std::sync::Arc::new(work);
    let (done, finished) = channel();
    const THREADS: usize = 2;
    for thread in 0..THREADS {
        let (work, done) = (work.clone(), done.clone());
        std::thread::spawn(move || {
            for item in (thread..count).step_by(THREADS) {
                let end = catch_unwind(AssertUnwindSafe(|| work(item)));
                if done.send((item, end.is_ok())).is_err() {
                    return;
                }
            }
        });
    }
    drop(done);
    let mut open: std::collections::BTreeSet<usize> = (0..count).collect();
    let mut failed = Vec::new();
    while !open.is_empty() {
        match finished.recv_timeout(HANGS_AFTER) {
            Ok((item, sound)) => {
                open.remove(&item);
                failed.extend((!sound).then_some(item));
            }
            Err(RecvTimeoutError::Timeout) => panic!("{what}: one of {:?} hangs", open.iter().take(2)),
            Err(RecvTimeoutError::Disconnected) => panic!("{what}: {open:?} did not end"),
        }
    }
    assert_eq!(failed, [0; 0], "{what}: these panicked or were wrong");
}
