// When the program hangs or dies, it is back at once and says so.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { Counter, TURN } from './counter.mjs';

test('a hung processor is reset by the watchdog, and the screen says so', () => {
  const counter = Counter.winding();
  counter.wind(TURN, TURN);
  counter.halt(5e9);
  counter.until(() => counter.resets > 0, 'the watchdog', 4_000);
  counter.serial = '';
  counter.run(500);
  assert.equal(counter.resets, 1);
  assert.deepEqual([counter.last.notice, counter.last.phase], [1, 'Fault']);
  assert.equal(counter.level('stop'), 0);
  assert.ok(counter.ear.firstAfter(counter.clock.nanos - 400e6), 'the fault is not heard');
  const message = counter.screen.pbm();
  counter.press('yes');
  assert.equal(counter.state().notice, 1, 'a press so soon was not for the message');
  counter.run(500);
  counter.press('yes');
  counter.settle();
  assert.equal(counter.last.notice, 0);
  assert.equal(counter.last.phase, 'Fault', 'the press that was for the message went to the bench too');
  assert.notEqual(counter.screen.pbm(), message);
  const { counts, error_bound } = counter.last;
  assert.ok(Math.abs(counts - TURN) <= error_bound && error_bound === TURN / 4, `${counts} counts, error bound ${error_bound}`);
  counter.press('yes');
  counter.settle();
  assert.equal(counter.last.phase, 'Fault', 'a press so soon was not for the page behind the message');
  counter.run(800);
  counter.press('yes');
  counter.settle();
  assert.equal(counter.last.phase, 'Winding');
  counter.finish();
});

/** Why the chip was reset, in the watchdog's register. */
const TIMED_OUT = 1;

test('a new program that was copied onto the Pico does not say that it hung', () => {
  // What the boot ROM leaves: it ends the copying of a UF2 file with the watchdog, scratch register 4 set to 0
  // (RP2040 boot ROM source, from memory); in the others may be anything.
  for (const scratch of [[0, 0, 0, 0, 0, 0, 0, 0], [0x704e7a11, 1, 2, 3, 0, 5, 6, 7]]) {
    const counter = Counter.on({ watchdogReason: TIMED_OUT, scratch });
    assert.deepEqual([counter.state().notice, counter.last.phase], [0, 'Choose'], counter.screen.text());
    // And the first time that it does hang, it says so.
    counter.halt(5e9);
    counter.until(() => counter.resets > 0, 'the watchdog', 4_000);
    counter.serial = '';
    counter.run(500);
    assert.deepEqual([counter.resets, counter.last.notice], [1, 1]);
    counter.finish();
  }
});

test('a new program over one that ran and hung does not say that it hung', () => {
  const counter = Counter.on();
  // The same chip, its RAM and scratch registers left alone, but for what the boot ROM writes.
  counter.chip.peripherals[0x40058].scratchData[4] = 0;
  counter.restart({ keepRam: true, watchdogReason: TIMED_OUT });
  counter.serial = '';
  counter.run(500);
  assert.equal(counter.last.notice, 0, counter.screen.text());
  counter.finish();
});
