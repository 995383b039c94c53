// What happens when the screen is not there, or its bus stands still.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { Counter, TURN } from './counter.mjs';

test('without a screen everything else goes on', () => {
  const counter = new Counter();
  counter.screen.unplug();
  counter.run(400);
  counter.press('yes');
  counter.press('yes');
  const { aim, phase } = counter.state();
  assert.equal(phase, 'Winding');
  counter.crank.turn(aim, 4 * TURN);
  counter.until(() => counter.level('stop') === 0, 'the stop line', 20_000);
  counter.run(60);
  assert.ok(Math.abs(counter.ear.note(counter.clock.nanos) - 2_000) < 2, 'the tone does not sound');
  counter.until(() => !counter.crank.turning, 'the end of the turning');
  const state = counter.state();
  assert.deepEqual([state.counts, state.illegal, state.lost], [aim, 0, 0]);
  counter.finish();
});

test('a screen that vanishes and returns shows the same again', (t) => {
  const counter = Counter.winding();
  counter.wind(3 * TURN, 8_000);
  counter.settle();
  const before = counter.screen.pbm();
  counter.screen.unplug();
  counter.run(1_700);
  counter.screen.plug();
  const plugged = counter.ms;
  counter.until(() => counter.screen.pbm() === before, 'the same picture', 2_500);
  t.diagnostic(`back ${(counter.ms - plugged).toFixed(0)} ms after it was plugged in`);
  // Gone and back between two pictures: nobody noticed it going.
  counter.screen.unplug();
  counter.screen.plug();
  counter.until(() => counter.screen.pbm() === before, 'the same picture', 2_500);
  counter.finish();
});

test('a bus that is stuck holds up nothing but the screen', () => {
  const counter = Counter.winding();
  counter.busStuck = true;
  counter.wind(3 * TURN, 8_000);
  counter.run(1_000);
  assert.equal(counter.state().counts, 3 * TURN);
  counter.busStuck = false;
  counter.run(2_500);
  const shown = counter.screen.pbm();
  const other = Counter.winding();
  other.wind(3 * TURN, 8_000);
  other.run(1_000);
  assert.equal(shown, other.screen.pbm());
  assert.equal(counter.resets, 0, 'the watchdog bit');
});
