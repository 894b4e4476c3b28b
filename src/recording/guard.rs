//! Foreign decoders run behind a guard: a panic in one becomes a value, and writes nothing to the terminal.

use std::cell::Cell;
use std::panic::{AssertUnwindSafe, catch_unwind, set_hook, take_hook};
use std::sync::Once;

thread_local! {
    static GUARDED: Cell<bool> = const { Cell::new(false) };
}
static INSTALL: Once = Once::new();

/// Runs `work`; `None` where it panicked.
///
/// The FIT decoder was seen to panic on damaged files (14 of 60 000 byte mutations). Its message would reach the
/// user as a crash, so the hook stays silent for the guarded thread, and for no other.
pub(super) fn guarded<T>(work: impl FnOnce() -> T) -> Option<T> {
    INSTALL.call_once(|| {
        let previous = take_hook();
        set_hook(Box::new(move |info| {
            if !GUARDED.get() {
                previous(info);
            }
        }));
    });
    let outer = GUARDED.replace(true);
    let result = catch_unwind(AssertUnwindSafe(work));
    GUARDED.set(outer);
    result.ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_becomes_none_and_a_value_passes() {
        assert_eq!(guarded(|| 3), Some(3));
        let empty: Vec<u8> = Vec::new();
        assert_eq!(guarded(|| empty[0]), None);
        assert!(!GUARDED.get());
    }
}
