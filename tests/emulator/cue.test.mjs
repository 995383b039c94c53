// From the crank to what is heard and seen.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { Counter, CueDelay, REPEATS, TURN } from './counter.mjs';

test('two keys lead from choosing to winding, and back', () => {
  const counter = Counter.on();
  assert.equal(counter.state().phase, 'Choose');
  counter.press('yes');
  assert.equal(counter.state().phase, 'Ready');
  counter.press('no');
  assert.equal(counter.state().phase, 'Choose');
  counter.press('yes');
  counter.press('yes');
  const state = counter.state();
  assert.equal(state.phase, 'Winding');
  assert.ok(state.aim > 10 * TURN, `target ${state.aim}`);
  assert.equal(counter.level('stop'), 1, 'the stop line lets the winder turn');
  assert.equal(counter.level('green'), 1);
  counter.finish();
});

test('a key held for a minute is one press', () => {
  const counter = Counter.on();
  counter.press('yes', 60_000);
  assert.equal(counter.state().phase, 'Ready');
  counter.finish();
});

test('the knob marks what to do with the coil', () => {
  const counter = Counter.winding();
  counter.wind(TURN, TURN);
  counter.press('yes');
  assert.equal(counter.state().phase, 'Verdict');
  // It stands at "wind on", since the target is not reached; two clicks back to "keep" would end the
  // coil, one to "throw it away" brings the next try.
  counter.knob.turn(-4, 100);
  counter.run(200);
  counter.press('yes');
  assert.equal(counter.state().phase, 'Ready');
  counter.finish();
});

test('at the target the tone sounds and the stop line falls, ahead of the target by the hand\'s time', (t) => {
  const counter = Counter.winding();
  const { aim } = counter.state();
  counter.crank.turn(aim, 1.5 * TURN);
  counter.until(() => counter.level('stop') === 0, 'the stop line', (aim / TURN) * 1_000);
  const lead = (aim - counter.crank.made) / (1.5 * TURN);
  t.diagnostic(`stop cue ${(lead * 1e3).toFixed(0)} ms before the target at 1.5 turns a second`);
  assert.ok(lead > 0.3 && lead < 0.4, `lead ${lead} s`);
  counter.run(60);
  assert.ok(Math.abs(counter.ear.note(counter.clock.nanos) - 2_000) < 2, `${counter.ear.note(counter.clock.nanos)} Hz`);
  assert.equal(counter.state().phase, 'Stop');
  counter.until(() => !counter.crank.turning, 'the end of the turning');
  counter.run(600);
  assert.ok(counter.ear.silent(counter.clock.nanos), 'a crank at rest on the target needs no tone');
  assert.equal(counter.level('stop'), 0);
  assert.equal(counter.state().counts, aim);
  counter.finish();
});

test('beats quicken before the target', () => {
  const counter = Counter.winding();
  const { aim } = counter.state();
  counter.crank.turn(aim, TURN);
  counter.until(() => counter.level('stop') === 0, 'the stop line', (aim / TURN) * 1_100);
  // The first edge of each beat: the one that comes after a pause.
  const { rises } = counter.ear;
  const beats = rises.filter((at, i) => i === 0 || at - rises[i - 1] > 20e6);
  const gaps = beats.slice(1).map((at, i) => (at - beats[i]) / 1e6).slice(0, -1);
  assert.ok(gaps.length >= 4, `${gaps.length} beats`);
  assert.ok(gaps.every((gap, i) => i === 0 || gap < gaps[i - 1] + 2), `gaps of ${gaps.map(Math.round)} ms`);
  counter.finish();
});

test('from the edge that reaches the target to sounder, lamp and stop line it takes less than 2 ms', (t) => {
  const counter = Counter.winding();
  const { aim } = counter.state();
  // One count short, and at rest, so that no lead is in play: the next edge is the one.
  counter.wind(aim - 1, 20_000);
  const delay = new CueDelay();
  for (let repeat = 0; repeat < REPEATS; repeat++) {
    // Until it rests, at every phase of tick and sample.
    counter.run(700 + ((repeat * 0.618) % 1) * 7 + repeat * 0.0137);
    assert.equal(counter.level('stop'), 1, 'short of the target the winder may turn');
    // The screen is being sent meanwhile: the last count back made a new picture due.
    const pictures = counter.screen.pictures;
    counter.crank.turn(1, 1e6);
    counter.run(45);
    delay.measure(counter, counter.crank.lastAt);
    counter.until(() => counter.screen.pictures > pictures, 'the picture that the edge made due', 100);
    counter.crank.turn(-1, 1e6);
    counter.run(2);
    if (repeat % 100 === 99) {
      // One channel that moves four hundred times while the other does not: that one would be dead.
      for (const counts of [-8, 8]) {
        counter.crank.turn(counts, 400);
        counter.run(100);
      }
    }
  }
  t.diagnostic(`worst of ${REPEATS}: ${delay}`);
  counter.finish();
});
