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
  counter.settle();
  assert.equal(counter.last.notice, 0);
  assert.equal(counter.last.phase, 'Fault', 'the press that was for the message went to the bench too');
  assert.notEqual(counter.screen.pbm(), message);
  const { counts, error_bound } = counter.last;
  assert.ok(Math.abs(counts - TURN) <= error_bound && error_bound === TURN / 4, `${counts} counts, error bound ${error_bound}`);
  counter.press('yes');
  counter.settle();
  assert.equal(counter.last.phase, 'Winding');
  counter.finish();
});
