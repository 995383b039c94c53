"""Runs the encoder's sampler, as the firmware set it up (sampler.mjs), in an emulator of the PIO that shares no code
with rp2040js, and compares each word that it pushes with the levels of the pins.

Usage: sampler.py FILE, the JSON that sampler.mjs prints. Exit status 1 if the sampler is wrong, or if a wrong sampler
would pass.
"""

import json
import random
import sys
from dataclasses import dataclass, replace

import pioemu

SAMPLE_HZ = 250_000
SAMPLES_IN_WORD = 16
# Enough for each pair of neighbouring samples at each place in a word many times over.
WORDS = 1_000
# A wrong sampler shows within a few words.
WORDS_FOR_WRONG = 40
# The FIFO of the emulator; the chip's is joined and twice as deep.
FIFO_WORDS = 4


@dataclass(frozen=True)
class Sampler:
    """What the firmware wrote. The fields of the registers are those of the RP2040 data sheet (from memory)."""

    clock_hz: int
    instructions: tuple
    clkdiv: int
    execctrl: int
    shiftctrl: int
    pinctrl: int
    pin_a: int
    pin_b: int

    def period_ns(self):
        """From one instruction to the next: the divider has 16 bits of integer and 8 of fraction."""
        return (self.clkdiv >> 8) * 1e9 / 256 / self.clock_hz

    def wrap(self):
        """First and last address of the loop."""
        return self.execctrl >> 7 & 31, self.execctrl >> 12 & 31

    def options(self):
        wrap_target, wrap_top = self.wrap()
        return {
            "auto_push": bool(self.shiftctrl >> 16 & 1),
            "push_threshold": (self.shiftctrl >> 20 & 31) or 32,
            "shift_isr_right": bool(self.shiftctrl >> 18 & 1),
            "side_set_count": self.pinctrl >> 29 & 7,
            "wrap_target": wrap_target,
            "wrap_top": wrap_top,
        }


def waves(seed, samples):
    """Levels of all 30 pins at each sample: three kinds of A and B, and noise on every other pin."""
    rng = random.Random(seed)
    cycle = (0b00, 0b01, 0b11, 0b10)
    at = 0
    for index in range(samples):
        kind = index // 512 % 3
        if kind == 0:
            ab = rng.randrange(4)
        else:
            # A mandrel that is turned, quickly or slowly, with reversals.
            at += rng.choice((-1, 0, 1, 1)) if kind == 1 else rng.random() < 0.05
            ab = cycle[at % 4]
        yield ab, rng.getrandbits(30)


def check(sampler, words, seed):
    """The first thing that is wrong with the sampler, or None."""
    if sampler.period_ns() != 1e9 / SAMPLE_HZ:
        return f"a sample each {sampler.period_ns()} ns"
    levels = []
    pins = []
    for ab, noise in waves(seed, words * SAMPLES_IN_WORD):
        a, b = ab >> 1, ab & 1
        pins.append(noise & ~(1 << sampler.pin_a | 1 << sampler.pin_b) | a << sampler.pin_a | b << sampler.pin_b)
        levels.append(ab)
    base = sampler.pinctrl >> 15 & 31

    def input_source(clock: int) -> int:
        # pioemu reads from pin 0: the pins are rotated as the chip rotates them by IN_BASE.
        value = pins[clock]
        return (value >> base | value << 32 - base) & 0xFFFF_FFFF

    wrap_target, wrap_top = sampler.wrap()
    steps = pioemu.emulate(
        list(sampler.instructions[: wrap_top + 1]),
        stop_when=lambda _, state: state.clock >= len(pins),
        initial_state=pioemu.State(program_counter=wrap_target),
        input_source=input_source,
        **sampler.options(),
    )
    rng = random.Random(seed + 1)
    pushed = []
    in_fifo = 0
    try:
        for _, state in steps:
            if len(state.receive_fifo) > in_fifo:
                # The word is pushed in the cycle of its last sample: `clock` has gone on by one.
                if state.clock % SAMPLES_IN_WORD or state.clock // SAMPLES_IN_WORD != len(pushed) + 1:
                    return f"word {len(pushed)} is pushed after {state.clock} samples"
                pushed.append(state.receive_fifo[-1])
            # DMA comes when it comes, but before the FIFO is full.
            while state.receive_fifo and (len(state.receive_fifo) == FIFO_WORDS - 1 or rng.random() < 0.05):
                state.receive_fifo.popleft()
            in_fifo = len(state.receive_fifo)
    except IndexError:
        return "the state machine runs out of its program"
    if len(pushed) != words:
        return f"{len(pushed)} words instead of {words}"
    for index, word in enumerate(pushed):
        # As Decoder::push_16 in core/src/quadrature.rs takes it: A in bit 1, B in bit 0, the oldest sample lowest.
        samples = levels[index * SAMPLES_IN_WORD : (index + 1) * SAMPLES_IN_WORD]
        expected = sum(ab << 2 * place for place, ab in enumerate(samples))
        if word != expected:
            return f"word {index} is {word:#010x} instead of {expected:#010x}"
    return None


def wrong(sampler):
    """Samplers with one thing changed, each by its name."""
    first = sampler.wrap()[0]
    for bit in range(16):
        changed = list(sampler.instructions)
        changed[first] ^= 1 << bit
        name = f"instruction {sampler.instructions[first]:#06x} as {changed[first]:#06x}"
        yield name, replace(sampler, instructions=tuple(changed))
    yield "twice the divider", replace(sampler, clkdiv=sampler.clkdiv << 1)
    yield "a fraction in the divider", replace(sampler, clkdiv=sampler.clkdiv | 1 << 8)
    yield "a loop of two instructions", replace(sampler, execctrl=sampler.execctrl + (1 << 12))
    yield "no autopush", replace(sampler, shiftctrl=sampler.shiftctrl ^ 1 << 16)
    yield "shifted to the left", replace(sampler, shiftctrl=sampler.shiftctrl ^ 1 << 18)
    yield "a threshold of 30", replace(sampler, shiftctrl=sampler.shiftctrl & ~(31 << 20) | 30 << 20)
    yield "pins one higher", replace(sampler, pinctrl=sampler.pinctrl + (1 << 15))
    yield "A and B exchanged", replace(sampler, pin_a=sampler.pin_b, pin_b=sampler.pin_a)


def main():
    with open(sys.argv[1], encoding="utf-8") as file:
        fields = json.load(file)
    sampler = Sampler(**{**fields, "instructions": tuple(fields["instructions"])})
    failure = check(sampler, WORDS, seed=1)
    if failure:
        sys.exit(f"sampler: FAIL: {failure}")
    changed = list(wrong(sampler))
    passed = [name for name, other in changed if check(other, WORDS_FOR_WRONG, seed=2) is None]
    if passed:
        sys.exit(f"sampler: FAIL: these wrong samplers pass: {', '.join(passed)}")
    print(f"sampler: {WORDS} words of {SAMPLES_IN_WORD} samples equal the pins; {len(changed)} wrong samplers are found")


main()
