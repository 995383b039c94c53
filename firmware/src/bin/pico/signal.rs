//! Gives the newest value of a kind to the task that waits for it.
//!
//! As embassy's own `Signal`, which moves the whole value out and back to see whether there is one: the tick looks into
//! five of them each millisecond, some with hundreds of bytes, and interrupts would be off meanwhile. Here it reads one
//! flag.

use core::cell::RefCell;

use embassy_sync::blocking_mutex::Mutex;
use embassy_sync::blocking_mutex::raw::RawMutex;
use embassy_sync::signal::Signal as News;
use heapless::Vec;
use portable_atomic::{AtomicBool, Ordering};

/// One value that waits to be taken; a newer one takes its place.
pub struct Signal<M: RawMutex, T> {
    /// There may be one in its place.
    full: AtomicBool,
    /// A vector of at most one: unlike an `Option`, it is all zeros while it is empty, and takes no flash.
    place: Mutex<M, RefCell<Vec<T, 1>>>,
    news: News<M, ()>,
}

impl<M: RawMutex, T> Signal<M, T> {
    /// Holds nothing.
    pub const fn new() -> Self {
        Self { full: AtomicBool::new(false), place: Mutex::new(RefCell::new(Vec::new())), news: News::new() }
    }

    /// Puts it there.
    pub fn signal(&self, value: T) {
        self.place.lock(|place| {
            let mut place = place.borrow_mut();
            place.clear();
            // There is room: it has just been cleared.
            _ = place.push(value);
            self.full.store(true, Ordering::Release);
        });
        self.news.signal(());
    }

    /// Takes what is there.
    #[inline]
    pub fn try_take(&self) -> Option<T> {
        if self.signaled() { self.take() } else { None }
    }

    // Cold: it is not to stand among the code of each millisecond.
    #[inline(never)]
    fn take(&self) -> Option<T> {
        self.news.reset();
        self.place.lock(|place| {
            self.full.store(false, Ordering::Release);
            place.borrow_mut().pop()
        })
    }

    /// Waits for one and takes it.
    pub async fn wait(&self) -> T {
        loop {
            self.news.wait().await;
            if let Some(value) = self.try_take() {
                return value;
            }
        }
    }

    /// Whether there is a value that has not been taken yet.
    #[inline]
    pub fn signaled(&self) -> bool {
        self.full.load(Ordering::Acquire)
    }
}
