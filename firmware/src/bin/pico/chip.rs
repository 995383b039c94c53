//! Where the Pico (RP2040) and the Pico 2 (RP2350) differ, but for their memory, which is in
//! `firmware/pico.x` and `firmware/pico2.x`.

use embassy_rp::pac::dma::Channel;

pub use own::{DMA_COUNT_MAX, FLASH_SIZE};

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
