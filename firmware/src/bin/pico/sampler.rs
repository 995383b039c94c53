//! A and B sampled by the chip's own hardware, for ever, whatever the processor does.
//!
//! A state machine runs one instruction, `in pins, 2`, at [`SAMPLE_HZ`] and returns a word for each
//! 16 samples; DMA writes the words into a ring. The ring outlasts the longest flash erase (400 ms for
//! the usual part, data sheet, from memory) by a fifth.
//!
//! A DMA channel counts its words down and then stops, so there are two, each chained to the other.
//! A count is a whole number of rings, so that whichever takes over begins where the other ended: at
//! the start of the ring, where its write address wrapped to.

use core::cell::UnsafeCell;

use embassy_rp::bind_interrupts;
use embassy_rp::gpio::Pull;
use embassy_rp::pac;
use embassy_rp::pac::dma::vals::{DataSize, TreqSel};
use embassy_rp::peripherals::PIO0;
use embassy_rp::pio::program::pio_asm;
use embassy_rp::pio::{Config, FifoJoin, InterruptHandler, Pio, ShiftDirection};
use embassy_time::Instant;
use fixed::types::U24F8;
use turntally_core::time;
use turntally_firmware::ring::Ring;

use crate::chip::{DMA_COUNT_MAX, dma_left, set_dma_left};
use crate::pins::SAMPLER_DMA;

/// Samples a second: an encoder may give 200,000 edges a second with a fifth to spare.
const SAMPLE_HZ: u32 = 250_000;
/// From one sample to the next.
pub const SAMPLE_PERIOD_NS: u32 = 1_000_000_000 / SAMPLE_HZ;
/// From one word to the next.
const WORD_US: u64 = 16 * SAMPLE_PERIOD_NS as u64 / 1_000;
/// The sampler has stopped if no word came for so long.
const STALLED: time::Duration = time::Duration::from_millis(10);
/// Words in the ring: 32 KiB, the most that a DMA ring can have; 524 ms.
const RING_WORDS: usize = 8_192;
/// The ring's size as the DMA takes it, the power of two of its bytes.
const RING_BITS: u8 = 15;
const _: () = assert!(RING_WORDS * 4 == 1 << RING_BITS && WORD_US * SAMPLE_HZ as u64 == 16_000_000);

/// Words that a DMA channel writes before it hands over to the other: the most whole rings that its
/// counter holds: 76 hours on the Pico, nearly 5 on the Pico 2. In flash, and read as if it could change,
/// so that a test can shorten it.
#[unsafe(no_mangle)]
#[used]
static TURNTALLY_HANDOVER_WORDS: u32 = DMA_COUNT_MAX - (RING_WORDS as u32 - 1);

bind_interrupts!(struct Irqs {
    PIO0_IRQ_0 => InterruptHandler<PIO0>;
});

#[repr(C, align(32768))]
struct Words(UnsafeCell<[u32; RING_WORDS]>);

// SAFETY: the program never makes a reference to the words: DMA writes them, and `DmaRing::word`
// reads each as one volatile load, which the hardware does whole.
unsafe impl Sync for Words {}

/// Placed by the linker script where a DMA ring may lie.
#[unsafe(link_section = ".ring")]
static WORDS: Words = Words(UnsafeCell::new([0; RING_WORDS]));

/// The running sampler.
#[derive(Debug)]
pub struct DmaRing {
    /// Words of all the blocks before the one that is being written.
    before: u64,
    /// Words in a block.
    block: u32,
    /// Which of the two channels writes it.
    active: usize,
    started: time::Instant,
}

impl DmaRing {
    /// Starts sampling.
    pub fn start(pins: SamplerPins) -> Self {
        let Pio { mut common, mut sm0, .. } = Pio::new(pins.pio, Irqs);
        let program = pio_asm!(".wrap_target", "in pins, 2", ".wrap");
        let mut b = common.make_pio_pin(pins.encoder_b);
        let mut a = common.make_pio_pin(pins.encoder_a);
        a.set_pull(Pull::Up);
        b.set_pull(Pull::Up);
        let mut config = Config::default();
        config.use_program(&common.load_program(&program.program), &[]);
        config.set_in_pins(&[&b, &a]);
        config.fifo_join = FifoJoin::RxOnly;
        config.shift_in.auto_fill = true;
        config.shift_in.threshold = 32;
        config.shift_in.direction = ShiftDirection::Right;
        config.clock_divider = U24F8::from_num(embassy_rp::clocks::clk_sys_freq() / SAMPLE_HZ);
        sm0.set_config(&config);

        // SAFETY: a static of this program, read through a valid pointer.
        let block = unsafe { (&raw const TURNTALLY_HANDOVER_WORDS).read_volatile() };
        let [first, second] = SAMPLER_DMA;
        let (fifo, request) = (sm0.rx_fifo_ptr() as u32, sm0.rx_treq());
        prepare(second, first, fifo, request, block, false);
        prepare(first, second, fifo, request, block, true);
        sm0.set_enable(true);
        let started = time::Instant::from_micros(Instant::now().as_micros());
        // Dropping them would stop the sampler and give the pins back: they are held for ever.
        core::mem::forget((common, sm0, a, b, pins.dma));
        Self { before: 0, block, active: 0, started }
    }

    /// The clock that the words were taken by.
    pub const fn clock(&self) -> SampleClock {
        SampleClock { started: self.started }
    }
}

/// Tells when a word was taken. The sampler and the chip's timer run off one crystal, so this is exact
/// however late the word is read.
#[derive(Debug, Clone, Copy)]
pub struct SampleClock {
    started: time::Instant,
}

impl SampleClock {
    /// When the last of the 16 samples of word `index` was taken.
    pub fn end_of(self, index: u64) -> time::Instant {
        self.after(index + 1)
    }

    /// The time of a count that `words` words gave: of its last sample. A speed is wrong by a thousandth if the count
    /// is 80 us older than the time that goes with it, and the cue looks ahead by 25 times the span that it measures.
    /// The chip's own time, where the sampler has not gone on for [`STALLED`]: the rest of the counter must.
    pub fn now(self, words: u64, timer: time::Instant) -> time::Instant {
        let sampled = self.after(words);
        if timer.since(sampled) < STALLED { sampled } else { timer }
    }

    /// When so many words were whole.
    fn after(self, words: u64) -> time::Instant {
        self.started + time::Duration::from_micros(words * WORD_US)
    }
}

/// What the sampler needs of the board's [`Pins`](crate::pins::Pins).
#[allow(missing_debug_implementations, reason = "the chip's pins are not printable")]
pub struct SamplerPins {
    /// See [`Pins::pio`](crate::pins::Pins::pio).
    pub pio: embassy_rp::Peri<'static, PIO0>,
    /// See [`Pins::encoder_a`](crate::pins::Pins::encoder_a).
    pub encoder_a: embassy_rp::Peri<'static, crate::pins::EncoderA>,
    /// See [`Pins::encoder_b`](crate::pins::Pins::encoder_b).
    pub encoder_b: embassy_rp::Peri<'static, crate::pins::EncoderB>,
    /// See [`Pins::sampler_dma`](crate::pins::Pins::sampler_dma).
    pub dma: (
        embassy_rp::Peri<'static, embassy_rp::peripherals::DMA_CH10>,
        embassy_rp::Peri<'static, embassy_rp::peripherals::DMA_CH11>,
    ),
}

/// Sets a channel up to write `words` words into the ring and then start the other one.
fn prepare(channel: usize, other: usize, fifo: u32, request: TreqSel, words: u32, go: bool) {
    let registers = pac::DMA.ch(channel);
    registers.read_addr().write_value(fifo);
    registers.write_addr().write_value(WORDS.0.get() as u32);
    set_dma_left(registers, words);
    let mut control = pac::dma::regs::CtrlTrig::default();
    control.set_treq_sel(request);
    control.set_data_size(DataSize::SIZE_WORD);
    control.set_incr_read(false);
    control.set_incr_write(true);
    control.set_ring_sel(true);
    control.set_ring_size(RING_BITS);
    control.set_chain_to(other as u8);
    control.set_irq_quiet(true);
    control.set_high_priority(true);
    control.set_en(true);
    if go {
        registers.ctrl_trig().write_value(control);
    } else {
        // The same register under an address that does not start the channel.
        registers.al1_ctrl().write_value(control.0);
    }
}

/// Words that a channel has still to write, none if it is not running.
fn left(channel: usize) -> Option<u32> {
    let registers = pac::DMA.ch(channel);
    let left = dma_left(registers);
    (left > 0 && registers.ctrl_trig().read().busy()).then_some(left)
}

impl Ring for DmaRing {
    const CAPACITY: u64 = RING_WORDS as u64;

    fn written(&mut self) -> u64 {
        let [this, other] = if self.active == 0 { SAMPLER_DMA } else { [SAMPLER_DMA[1], SAMPLER_DMA[0]] };
        if let Some(left) = left(this) {
            return self.before + u64::from(self.block - left);
        }
        // This one has ended, and started the other: what that has written counts from the next block.
        let Some(left) = left(other) else {
            // Between the two, for a few clocks: the block is full and the next one empty.
            return self.before + u64::from(self.block);
        };
        self.active = 1 - self.active;
        self.before += u64::from(self.block);
        self.before + u64::from(self.block - left)
    }

    fn word(&self, index: u64) -> u32 {
        let place = (index % Self::CAPACITY) as usize;
        // SAFETY: within the array, since `place` is less than its length; volatile, since DMA writes it.
        unsafe { WORDS.0.get().cast::<u32>().add(place).read_volatile() }
    }
}
