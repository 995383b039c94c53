//! Gives the newest value of a kind to the task that waits for it.
//!
//! As embassy's own `Signal`, in 3 KB less: what wakes and waits lies apart from the value, and is there once
//! instead of once for each kind of value; and a place that holds nothing has no first value that would stand in
//! flash. Putting and taking are not to be inlined: 600 bytes more.

use core::cell::{Cell, UnsafeCell};
use core::mem::MaybeUninit;

use embassy_sync::blocking_mutex::Mutex;
use embassy_sync::blocking_mutex::raw::RawMutex;
use embassy_sync::signal::Signal as News;

/// One value that waits to be taken; a newer one takes its place.
pub struct Signal<M: RawMutex, T> {
    place: Mutex<M, Place<T>>,
    /// There may be one.
    news: News<M, ()>,
}

struct Place<T> {
    full: Cell<bool>,
    /// Written as long as it is full.
    value: UnsafeCell<MaybeUninit<T>>,
}

impl<M: RawMutex, T> Signal<M, T> {
    /// Holds nothing.
    pub const fn new() -> Self {
        let place = Place { full: Cell::new(false), value: UnsafeCell::new(MaybeUninit::uninit()) };
        Self { place: Mutex::new(place), news: News::new() }
    }

    /// Puts it there.
    #[inline(never)]
    pub fn signal(&self, value: T) {
        self.place.lock(|place| {
            // SAFETY: nothing else has a reference to what is inside: none leaves this module, and whoever holds
            // the lock is alone. Where it is full a value has been written, and is not read any more.
            unsafe {
                let inside = &mut *place.value.get();
                if place.full.replace(true) {
                    inside.assume_init_drop();
                }
                inside.write(value);
            }
        });
        self.news.signal(());
    }

    /// Takes what is there.
    #[inline(never)]
    pub fn try_take(&self) -> Option<T> {
        self.news.reset();
        self.place.lock(Place::take)
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
    pub fn signaled(&self) -> bool {
        self.news.signaled()
    }
}

impl<T> Place<T> {
    fn take(&self) -> Option<T> {
        // SAFETY: it is full, so a value has been written, and it is read once: it is not full any more. Nobody
        // else has a reference to it, as above.
        self.full.replace(false).then(|| unsafe { (*self.value.get()).assume_init_read() })
    }
}
