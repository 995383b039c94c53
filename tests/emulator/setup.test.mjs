// Set up and wound with a knob and two keys alone: no computer was ever there.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { Counter, TURN } from './counter.mjs';
import { gaining } from './inputs.mjs';

/** Turns the knob click by click, slowly enough for single steps, or fast for large ones. */
function turnKnob(counter, clicks, { fast = false } = {}) {
  const apart = fast ? 30 : 90;
  for (let click = 0; click < Math.abs(clicks); click += 1) {
    counter.knob.turn(4 * Math.sign(clicks), 200);
    counter.run(apart);
  }
  counter.run(100);
}

/** Opens the marked entry, turns it and keeps it: the next entry is marked then. */
function change(counter, clicks, options) {
  counter.press('yes');
  turnKnob(counter, clicks, options);
  counter.press('yes');
}

/** From the list's first entry: to this one. */
const mark = (counter, entry) => turnKnob(counter, entry);

/** Winds past the target and back to it, as a hand does that was late. */
function windOneCoil(counter, aim) {
  counter.expectPhase('Winding');
  counter.wind(aim + 1.5 * TURN, 4 * TURN);
  counter.run(500);
  counter.expectPhase('Over');
  counter.crank.follow(-1.2 * TURN, gaining(2 * TURN, 10 * TURN));
  counter.until(() => !counter.crank.turning, 'the end of winding back', 3_000);
  counter.run(500);
  const state = counter.state();
  assert.deepEqual([state.phase, state.counts, state.error_bound], ['Stop', aim + 0.3 * TURN, 0]);
  counter.press('yes');
  counter.press('yes');
}

test('a whole batch, from set-up to batch done, with knob and keys alone', (t) => {
  const counter = Counter.on();
  turnKnob(counter, 1);
  counter.press('yes');
  counter.expectPhase('SetUp');
  // The sixth entry: counted in turns of each coil; 50 of them, less one step and eight large ones; two coils.
  mark(counter, 5);
  change(counter, 1);
  change(counter, -9, { fast: true });
  change(counter, 1);
  turnKnob(counter, 20);
  counter.press('yes');
  counter.settle();
  t.diagnostic(`\n${counter.screen.text()}`);
  counter.press('yes');
  counter.expectPhase('Choose');
  counter.press('yes');
  counter.press('yes');
  const aim = 9.5 * TURN;
  assert.equal(counter.state().aim, aim);
  windOneCoil(counter, aim);
  counter.expectPhase('Next');
  // The power goes between two coils: what was set and what was made are still there.
  counter.run(1_000);
  const { made } = counter.state();
  counter.restart({ keepRam: false });
  counter.serial = '';
  counter.startedMs = counter.ms;
  counter.run(1_000);
  assert.deepEqual([counter.state().phase, counter.state().made], ['Choose', made]);
  counter.press('yes');
  counter.press('yes');
  windOneCoil(counter, aim);
  const state = counter.expectPhase('Done');
  assert.equal(state.made, 2 * made);
  assert.ok(made >= 6, `${made} rings of nine turns`);
  counter.finish();
});

test('another encoder, the wrong way round, is set up with a turn of the crank', () => {
  const counter = Counter.on();
  turnKnob(counter, 2);
  counter.press('yes');
  // 600 pulses: 20 large steps less one, for the first is a small one, and nine more small ones.
  counter.press('yes');
  turnKnob(counter, 20, { fast: true });
  turnKnob(counter, 9);
  counter.press('yes');
  mark(counter, 3);
  counter.press('yes');
  counter.wind(-2_400, 2_400);
  counter.press('yes');
  turnKnob(counter, 20);
  counter.press('yes');
  counter.expectPhase('Choose');
  counter.press('yes');
  counter.press('yes');
  const { counts, aim } = counter.expectPhase('Winding');
  assert.equal(counts, 0);
  // 56 turns, as with the encoder of 400 pulses; the target is rounded up to a count.
  assert.ok(Math.abs(aim / 2_400 - 55.8) < 0.1, `${aim}`);
  counter.wind(-2_400 * 3, 4_800);
  const state = counter.state();
  assert.deepEqual([state.phase, state.counts, state.error_bound], ['Winding', 7_200, 0]);
  counter.finish();
});
