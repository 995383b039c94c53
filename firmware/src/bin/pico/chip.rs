//! Where the Pico (RP2040) and the Pico 2 (RP2350) differ, but for their memory, which is in
//! `firmware/pico.x` and `firmware/pico2.x`.

use embassy_rp::flash::{Blocking, Flash};
use embassy_rp::pac::dma::Channel;
use embassy_rp::peripherals::FLASH;

pub use own::{DMA_COUNT_MAX, FLASH_SIZE, id};

/// The board's flash.
pub type BoardFlash = Flash<'static, FLASH, Blocking, FLASH_SIZE>;

/// Words that a DMA channel has still to write.
pub fn dma_left(channel: Channel) -> u32 {
    own::count(channel.trans_count().read())
}

/// Sets the words that a DMA channel is to write, at most [`DMA_COUNT_MAX`].
pub fn set_dma_left(channel: Channel, words: u32) {
    channel.trans_count().write_value(own::transfers(words));
}

#[cfg(feature = "pico")]
mod own {
    use super::BoardFlash;

    /// A number that no other board has: that of the flash, since the chip has none.
    pub fn id(flash: &mut BoardFlash) -> u64 {
        let mut id = [0; 8];
        // It is read by the only core that runs.
        _ = flash.blocking_unique_id(&mut id);
        u64::from_be_bytes(id)
    }

    /// The board's flash, in bytes.
    pub const FLASH_SIZE: usize = 2 * 1_024 * 1_024;
    /// The most words that a DMA channel counts.
    pub const DMA_COUNT_MAX: u32 = u32::MAX;

    pub const fn count(register: u32) -> u32 {
        register
    }

    pub const fn transfers(words: u32) -> u32 {
        words
    }
}

#[cfg(feature = "pico2")]
mod own {
    use embassy_rp::pac::dma::regs::ChTransCount;

    use super::BoardFlash;

    /// A number that no other board has: the chip's own.
    pub fn id(_: &mut BoardFlash) -> u64 {
        embassy_rp::otp::get_chipid().unwrap_or_default()
    }

    /// The board's flash, in bytes.
    pub const FLASH_SIZE: usize = 4 * 1_024 * 1_024;
    /// The most words that a DMA channel counts: the bits above say what it does at the end.
    pub const DMA_COUNT_MAX: u32 = (1 << 28) - 1;

    pub const fn count(register: ChTransCount) -> u32 {
        register.count()
    }

    /// In mode 0: it ends, and starts the channel that it is chained to.
    pub fn transfers(words: u32) -> ChTransCount {
        let mut register = ChTransCount::default();
        register.set_count(words);
        register
    }
}
