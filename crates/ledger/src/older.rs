//! A program of an earlier day, to show that it stores and passes on what it does not know. Without the feature
//! `sabotage` there is none, and every question about it is answered by the compiler.
//!
//! Only `tests/simulation` turns the feature on, and is an older program on its own thread and for a while.

use crate::kinds::Kind;

/// Whether the program of this thread is too old to know this kind of event.
#[must_use]
pub fn lacks(kind: Kind) -> bool {
    #[cfg(feature = "sabotage")]
    {
        LACKS.get() == Some(kind)
    }
    #[cfg(not(feature = "sabotage"))]
    {
        let _ = kind;
        false
    }
}

/// Does something as a program that does not know this kind; with none, as the program of today.
#[cfg(feature = "sabotage")]
pub fn lacking<T>(kind: Option<Kind>, work: impl FnOnce() -> T) -> T {
    /// Also after a panic this thread is what it was before.
    struct Before(Option<Kind>);
    impl Drop for Before {
        fn drop(&mut self) {
            LACKS.set(self.0);
        }
    }
    let _before = Before(LACKS.replace(kind));
    work()
}

#[cfg(feature = "sabotage")]
std::thread_local! {
    static LACKS: std::cell::Cell<Option<Kind>> = const { std::cell::Cell::new(None) };
}
