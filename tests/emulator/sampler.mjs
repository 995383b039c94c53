// Prints, as JSON, what the firmware wrote to the state machine that samples the encoder: the instruction memory and
// the registers, as they are at the first tick of the loop. sampler.py runs exactly this in another emulator.
import { Counter } from './counter.mjs';
import { PIN } from './rig.mjs';

const PIO0 = 0x50200000;
/** Registers of state machine 0, by their offsets from PIO0 (RP2040 data sheet, from memory). */
const REGISTERS = { clkdiv: 0xc8, execctrl: 0xcc, shiftctrl: 0xd0, pinctrl: 0xdc };

const counter = new Counter();
const part = counter.symbol('TURNTALLY_PART');
counter.until(() => counter.ram8(part) === 1, 'the first tick', 300, 0.01);
const registers = Object.entries(REGISTERS).map(([name, offset]) => [name, counter.chip.readUint32(PIO0 + offset) >>> 0]);
console.log(JSON.stringify({
  clock_hz: counter.chip.clkSys,
  // The chip's own instruction memory cannot be read; the emulator's can.
  instructions: [...counter.chip.pio[0].instructions],
  ...Object.fromEntries(registers),
  pin_a: PIN.encoderA,
  pin_b: PIN.encoderB,
}));
counter.finish();
