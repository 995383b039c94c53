// From the moment that the power comes, with a flash that holds as much as it ever will.
import assert from 'node:assert/strict';
import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { test } from 'node:test';
import { Counter, TARGET, TURN } from './counter.mjs';

/** Written by the example full_store of turntally-tests, as .ci/emulate has it. */
const STORE = join(TARGET, 'full-store');

/** The flash, and what must be made of it. */
function fullStore() {
  const hint = 'cargo run -p turntally-tests --example full_store -- target/full-store.bin makes it';
  assert.ok(existsSync(`${STORE}.json`), `${STORE}.bin is missing: ${hint}`);
  const flash = new Uint8Array(2 * 1024 * 1024).fill(0xff);
  flash.set(readFileSync(`${STORE}.bin`));
  return { flash, ...JSON.parse(readFileSync(`${STORE}.json`)) };
}

test('with a full store everything is back within 300 ms', (t) => {
  const { flash, counts, made, notes, records } = fullStore();
  const counter = new Counter({ flash });
  counter.until(() => counter.last !== undefined, 'the first line of state', 300);
  t.diagnostic(`first line of state after ${counter.ms.toFixed(0)} ms`);
  counter.until(() => counter.last.phase === 'Fault', 'what was kept', 300 - counter.ms);
  t.diagnostic(`${records} records and ${notes} notes read, and the line that says so out after ${counter.ms.toFixed(0)} ms`);
  const { error_bound, notice, ...state } = counter.state();
  assert.deepEqual([state.made, state.counts, error_bound], [made, counts, TURN / 4]);
  assert.equal(notice, 1, 'there is no room for another note, and it says so');
  counter.finish();
});

test('with a full store, too, what turns while it starts is counted from the first sample', (t) => {
  const { flash, made, counts } = fullStore();
  const counter = new Counter({ flash });
  const rate = 100_000;
  counter.crank.turn(rate / 2, rate);
  counter.until(() => !counter.crank.turning, 'the end of the turning');
  const state = counter.state();
  const missedMs = ((counter.crank.made - state.position) / rate) * 1e3;
  t.diagnostic(`first sample ${missedMs.toFixed(2)} ms after power-on`);
  assert.ok(missedMs >= 0 && missedMs < 20, `${missedMs} ms`);
  assert.deepEqual([state.illegal, state.lost, state.made], [0, 0, made]);
  // The coil goes on from its note with what came after that was read.
  assert.ok(state.counts > counts && state.counts < counts + state.position, `${state.counts} counts`);
  counter.finish();
});

// "First switch-on" of firmware/README.md, as far as levels of pins go: voltages are not emulated. Nothing is in the USB
// socket, as when the counter is supplied through VSYS.
test('the first switch-on goes as the builder\'s page has it, with nothing at the USB port', () => {
  const counter = new Counter();
  const lamps = () => ['red', 'yellow', 'green'].map((name) => counter.level(name));
  const { pictures } = counter.screen;
  counter.run(1_000);
  assert.ok(counter.screen.shows && counter.screen.pictures > pictures, 'the screen is dark');
  assert.deepEqual([...lamps(), counter.level('stop')], [0, 0, 0, 0], 'nothing was chosen yet');
  for (const name of ['red', 'yellow', 'green', 'stop']) {
    assert.ok(counter.pinChanges(name).every(({ level }) => level === 0), `${name} was high meanwhile`);
  }
  counter.press('yes');
  const asked = counter.ms;
  counter.run(1_500);
  assert.equal(counter.levelsBetween('green', asked, counter.ms).size, 2, 'green flashes');
  assert.equal(counter.level('stop'), 0);
  counter.press('yes');
  const { phase, aim } = counter.state();
  assert.deepEqual([phase, counter.level('green'), counter.level('stop')], ['Winding', 1, 1]);
  counter.crank.turn(aim, 10 * TURN);
  counter.until(() => counter.level('stop') === 0, 'the stop line', 60_000);
  counter.run(60);
  assert.ok(Math.abs(counter.ear.note(counter.clock.nanos) - 2_000) < 2, 'the long tone');
  counter.until(() => !counter.crank.turning, 'the end of the turning');
  counter.wind(2 * TURN, 2 * TURN);
  const past = counter.ear.notes().map(({ period }) => period).filter(Boolean).slice(-2);
  assert.notEqual(past[0], past[1], `two notes in turn, not ${past}`);
  assert.equal(counter.state().phase, 'Over');
  counter.finish();
});
