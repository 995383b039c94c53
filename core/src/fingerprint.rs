//! Numbers by which stored states know the job they belong to.

use core::hash::{Hash, Hasher};

use crate::job::Job;

/// FNV-1a in 32 bits (Fowler, Noll and Vo's constants, from memory): small, and no secret depends on it.
pub(crate) fn fingerprint(of: &impl Hash) -> u32 {
    let mut hasher = Fnv(0x811c_9dc5);
    of.hash(&mut hasher);
    hasher.0
}

struct Fnv(u32);

impl Hasher for Fnv {
    fn write(&mut self, bytes: &[u8]) {
        for &byte in bytes {
            self.0 = (self.0 ^ u32::from(byte)).wrapping_mul(0x0100_0193);
        }
    }

    /// Always 32 bits, so that one board reads what another wrote.
    fn write_usize(&mut self, number: usize) {
        self.write_u32(number as u32);
    }

    fn finish(&self) -> u64 {
        u64::from(self.0)
    }
}

impl Job {
    /// A number that two jobs share by chance once in four thousand million. It leaves out what does not change the
    /// rings: the lead, and how the counter is built.
    #[must_use]
    pub fn fingerprint(&self) -> u32 {
        fingerprint(&(self.name.as_bytes(), self.rule.coil(), self.target))
    }

    /// The same for the batch that is set up at the counter, whose name changes with the units it is shown
    /// in.
    pub(crate) fn own_fingerprint(&self) -> u32 {
        fingerprint(&(self.rule.coil(), self.target))
    }
}
