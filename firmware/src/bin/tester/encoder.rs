//! A and B, played by a state machine: each edge comes at its microsecond, whatever the processor does.

use embassy_rp::Peri;
use embassy_rp::bind_interrupts;
use embassy_rp::gpio::Level;
use embassy_rp::peripherals::PIO0;
use embassy_rp::pio::program::pio_asm;
use embassy_rp::pio::{
    Common, Config, Direction, FifoJoin, InterruptHandler, LoadedProgram, Pio, ShiftDirection, StateMachine,
};
use fixed::types::U24F8;
use turntally_firmware::tester::wave::Step;

bind_interrupts!(struct Irqs {
    PIO0_IRQ_0 => InterruptHandler<PIO0>;
});

/// Instructions a second.
const CLOCK_HZ: u32 = 1_000_000;
/// Instructions of a step without any delay, and of a turn of its slow loop.
const LEAST: u64 = 5;
const SLOW: u64 = 32;

/// The state machine with its two pins.
pub struct Player {
    machine: StateMachine<'static, PIO0, 0>,
    program: LoadedProgram<'static, PIO0>,
    _common: Common<'static, PIO0>,
}

impl Player {
    /// Both wires low.
    pub fn new(
        pio: Peri<'static, PIO0>,
        encoder_a: Peri<'static, embassy_rp::peripherals::PIN_3>,
        encoder_b: Peri<'static, embassy_rp::peripherals::PIN_2>,
    ) -> Self {
        let Pio { mut common, mut sm0, .. } = Pio::new(pio, Irqs);
        // A word has the two levels and the turns of a quick and of a slow loop.
        let program = pio_asm!(
            "    jmp play",
            "slow:",
            "    jmp check [30]",
            "play:",
            ".wrap_target",
            "    out pins, 2",
            "    out x, 6",
            "    out y, 24",
            "quick:",
            "    jmp x-- quick",
            "check:",
            "    jmp y-- slow",
            ".wrap",
        );
        let program = common.load_program(&program.program);
        let b = common.make_pio_pin(encoder_b);
        let a = common.make_pio_pin(encoder_a);
        let mut config = Config::default();
        config.use_program(&program, &[]);
        config.set_out_pins(&[&b, &a]);
        config.fifo_join = FifoJoin::TxOnly;
        config.shift_out.auto_fill = true;
        config.shift_out.threshold = 32;
        config.shift_out.direction = ShiftDirection::Right;
        config.clock_divider = U24F8::from_num(embassy_rp::clocks::clk_sys_freq() / CLOCK_HZ);
        sm0.set_config(&config);
        sm0.set_pins(Level::Low, &[&b, &a]);
        sm0.set_pin_dirs(Direction::Out, &[&b, &a]);
        Self { machine: sm0, program, _common: common }
    }

    /// Starts with what was pushed.
    pub fn start(&mut self) {
        self.machine.set_enable(true);
    }

    /// Stops: the wires stay as they are.
    pub fn stop(&mut self) {
        self.machine.set_enable(false);
        self.machine.clear_fifos();
        self.machine.restart();
        // SAFETY: a jump to the beginning of this machine's own program, while the machine is stopped.
        unsafe { self.machine.exec_jmp(self.program.origin) };
    }

    /// Takes a step, if there is room.
    pub fn push(&mut self, step: Step) -> bool {
        self.machine.tx().try_push(word(step))
    }

    /// Everything has been taken out.
    pub fn is_empty(&mut self) -> bool {
        self.machine.tx().empty()
    }
}

/// A step as the state machine takes it: levels, turns of the quick loop, turns of the slow one.
fn word(step: Step) -> u32 {
    let delay = step.lasts.as_micros().saturating_sub(LEAST);
    let (quick, slow) = (delay % SLOW, (delay / SLOW).min((1 << 24) - 1));
    u32::from(step.levels) | (quick as u32) << 2 | (slow as u32) << 8
}
