// When the program runs into a wall, or the supply dips, the counter is back at once, says why, and has the
// count. What is broken here the emulator breaks: the firmware has no door for it.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { Counter, TURN } from './counter.mjs';
import { expectPicture } from './pictures.mjs';
import { PIN } from './rig.mjs';

const FLASH = 0x10000000;
const RAM = 0x20000000;
const UNDEFINED_INSTRUCTION = 0xde00;
/** In the middle of nothing: neither ROM nor flash nor RAM. */
const NOWHERE = 0x30000000;
/** What the tick is at while it runs the bench (see vitals.rs). */
const BENCH = 2;

/** A counter that has wound some turns and is in the middle of a tick, at an instruction in flash. */
function busy(counts) {
  const counter = Counter.winding();
  counter.faultsWanted = true;
  counter.wind(counts, 2 * TURN);
  counter.run(40); // the note of the last turn is being written
  const part = counter.symbol('TURNTALLY_PART');
  const inFlash = () => counter.chip.core.PC >>> 28 === FLASH >>> 28;
  counter.until(() => counter.ram8(part) === BENCH && inFlash(), 'the tick', 5, 0.001);
  return counter;
}

/** Whether the message has these letters: they stand in RAM besides where the reason was left (see crash.rs). */
function says(counter, text) {
  const ram = Buffer.from(counter.chip.sram);
  const left = counter.function('5crash6RECORD') - RAM;
  return ram.fill(0, left, left + 64).includes(text);
}

/** What `act` does to the counter resets it; it says so, and goes on with what it had counted. */
function expectRestart(counter, t, act, why, picture) {
  const [fell, counts] = [counter.ms, counter.crank.made];
  act();
  counter.until(() => counter.resets > 0, 'the reset', 5, 0.1);
  t.diagnostic(`reset after ${(counter.ms - fell).toFixed(1)} ms`);
  counter.startedMs = counter.ms;
  assert.equal(counter.level('stop'), 0, 'a winder could go on turning');
  counter.serial = '';
  counter.until(() => counter.last?.phase === 'Fault', 'what was kept', 300);
  t.diagnostic(`the saved state is shown ${(counter.ms - counter.startedMs).toFixed(0)} ms after the reset`);
  counter.run(500);
  assert.deepEqual([counter.resets, counter.last.notice, counter.level('stop')], [1, 1, 0]);
  assert.ok(says(counter, why), `it does not say ${why}:\n${counter.screen.text()}`);
  if (picture) expectPicture(counter, picture);
  assert.ok(counter.ear.firstAfter(counter.clock.nanos - 400e6), 'it is not heard');
  assert.ok(counter.changes.some(({ pin, level, nanos }) => pin === PIN.red && level === 1 && nanos > fell * 1e6), 'no red');
  counter.run(500); // time to read it
  counter.press('yes');
  counter.settle();
  const { error_bound, notice, ...after } = counter.state();
  assert.equal(notice, 0);
  assert.ok(error_bound <= TURN / 4 && Math.abs(after.counts - counts) <= error_bound, `${after.counts} of ${counts} counts, error bound ${error_bound}`);
  counter.run(800); // time to read the page behind it
  counter.press('yes');
  counter.wind(TURN, TURN);
  assert.deepEqual([counter.state().phase, counter.last.counts], ['Winding', after.counts + TURN]);
  // The reason is shown once.
  counter.restart({ keepRam: true });
  [counter.startedMs, counter.serial] = [counter.ms, ''];
  counter.run(400);
  assert.deepEqual([counter.last.phase, counter.last.notice], ['Fault', 0]);
  counter.finish();
}

test('a broken instruction is reported with its address', (t) => {
  const counter = busy(3 * TURN + 77);
  const at = counter.chip.core.PC & ~1;
  // Until the reset: then the flash is read right again.
  const breakIt = () => counter.chip.flashView.setUint16(at - FLASH, UNDEFINED_INSTRUCTION, true);
  expectRestart(counter, t, breakIt, `fault at 0x${at.toString(16).padStart(8, '0')}`);
});

test('a return to an invalid address is reported', (t) => {
  const counter = busy(5 * TURN - 3);
  const jump = () => {
    counter.chip.core.PC = NOWHERE;
    counter.fault(); // as the fetch from there would on the chip; the emulator would read ones
  };
  expectRestart(counter, t, jump, 'fault at 0x30000000', 'restarted-fault');
});

test('a panic is reported with its line', (t) => {
  const counter = busy(2 * TURN + 1234);
  // A call as every panic makes it, with its place: in a file of our own making.
  const panic = () => {
    const { core, flash, flashView } = counter.chip;
    const place = flash.length - 256; // nothing else is there
    const file = 'somewhere/wild.rs';
    [FLASH + place + 16, file.length, 42, 7].forEach((word, index) => flashView.setUint32(place + 4 * index, word, true));
    flash.set(Buffer.from(file), place + 16);
    core.registers[0] = FLASH + place;
    core.PC = counter.function('panicked') & ~1;
  };
  expectRestart(counter, t, panic, 'wild.rs:42', 'restarted-panic');
});

test('a dip that leaves rubbish in RAM is a power cut and no fault', (t) => {
  const counter = Counter.winding();
  counter.wind(4 * TURN + 55, 2 * TURN);
  counter.run(40);
  const counts = counter.crank.made;
  let seed = 2463534242;
  const { sram } = counter.chip;
  for (let at = 0; at < counter.symbol('__euninit') - RAM; at++) {
    seed ^= seed << 13;
    seed ^= seed >>> 17;
    seed ^= seed << 5;
    sram[at] = seed;
  }
  counter.restart({ keepRam: true });
  [counter.startedMs, counter.serial] = [counter.ms, ''];
  counter.until(() => counter.last?.phase === 'Fault', 'what was kept', 300);
  counter.run(100);
  const state = counter.state();
  assert.deepEqual([state.notice, counter.resets], [0, 0]);
  t.diagnostic(`${Math.abs(state.counts - counts)} counts off, error bound ${state.error_bound}`);
  assert.ok(state.error_bound <= TURN / 4 && Math.abs(state.counts - counts) <= state.error_bound);
  counter.finish();
});
