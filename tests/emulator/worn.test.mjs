// An encoder that is not as good as it should be: what still is a signal is counted exactly, and what is none is
// reported as a fault.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { Counter, TURN } from './counter.mjs';
import { gaining } from './inputs.mjs';
import { Bounce, random, uneven } from './worn.mjs';

/** One channel high for 42 % of a pulse and the other for 56 %, 20 degrees of phase error. */
const BAD = { duty: [0.42, 0.56], phase: 0.25 + 20 / 360, jitter: 0.1 };
const GOOD = { duty: [0.5, 0.5], phase: 0.25, jitter: 0 };

/** Turns as a hand does, from rest, and waits until it is done. Says how near two edges come, in counts. */
function turn(counter, counts, rate, encoder, next, gain = 10 * TURN) {
  const { times, least } = uneven(counter.crank, counts, gaining(rate, gain), encoder, next);
  counter.crank.follow(counts, times);
  counter.until(() => !counter.crank.turning, 'the end of the turning', 20_000);
  return least;
}

/** Counted to the last, with no error_bound and no fault. */
function expectExact(counter, zero, what) {
  const { counts, position, illegal, lost, error_bound, phase } = counter.state();
  const { made } = counter.crank;
  assert.deepEqual({ counts, position, illegal, lost, error_bound }, { counts: made - zero, position: made, illegal: 0, lost: 0, error_bound: 0 }, what);
  assert.notEqual(phase, 'Fault', what);
}

test('with errors of duty and phase, jitter and bounce every count is there', (t) => {
  const counter = Counter.winding();
  const zero = counter.crank.made;
  const next = random(1);
  let [rate, least] = [TURN, 0];
  // It must have settled before the other channel moves: nothing can tell the two apart otherwise.
  const bounce = new Bounce(counter, counter.crank, next, () => (0.2 * 1e9) / rate);
  for (const [turns, speed] of [[2, 1], [-0.7, 0.5], [3, 3], [-1.2, 2], [1.1, 0.25]]) {
    rate = speed * TURN;
    least = turn(counter, Math.round(turns * TURN), rate, BAD, next);
    assert.ok(least > 0.2);
    counter.run(300);
    expectExact(counter, zero, `${turns} turns at ${speed} turns/s`);
  }
  const { made } = bounce;
  assert.ok(made > counter.crank.made, 'too little bounce: this test proves nothing');
  t.diagnostic(`edges as near as ${least.toFixed(2)} of a count, ${made} bounces: every count there`);
  counter.finish();
});

test('as uneven and fast as the sampler allows, every count is there', (t) => {
  const next = random(2);
  for (const rate of [20_000, 40_000, 64_000]) {
    const counter = Counter.winding();
    // A motor, at its speed after a tenth of a second.
    const least = turn(counter, Math.round(0.2 * rate), rate, BAD, next, 10 * rate);
    expectExact(counter, 0, `at ${rate} edges/s`);
    t.diagnostic(`exact at ${rate} edges/s with edges as near as ${((least * 1e6) / rate).toFixed(1)} us; samples are 4 us apart`);
    counter.finish();
  }
});

test('a crank at rest on an edge that flickers adds nothing up', () => {
  const counter = Counter.winding();
  counter.wind(TURN + 1, TURN);
  const { step } = counter.crank;
  for (let flicker = 0; flicker < 301; flicker++) {
    counter.crank.turn(flicker % 2 === 0 ? 1 : -1, 2_000);
    counter.until(() => !counter.crank.turning, 'a flicker', 5, 0.1);
  }
  assert.equal(counter.crank.step, step + 1);
  expectExact(counter, 0, 'after 301 flickers');
  counter.finish();
});

test('bounce that outlasts the other channel\'s edge is reported, and the error bound covers what is lost', (t) => {
  let [doubted, worst] = [0, 0];
  for (let seed = 1; seed <= 4; seed++) {
    const counter = Counter.winding();
    const next = random(seed);
    const rate = 2 * TURN;
    const bounce = new Bounce(counter, counter.crank, next, () => (next() < 0.01 ? 1.5e9 : 0.2e9) / rate);
    turn(counter, TURN, rate, GOOD, next);
    counter.run(300);
    const { position, error_bound } = counter.state();
    const off = Math.abs(position - counter.crank.made);
    assert.ok(bounce.made > 0);
    assert.ok(error_bound === 'unknown' || off <= error_bound, `seed ${seed}: ${off} counts off, error bound ${error_bound}`);
    assert.ok(off === 0 || error_bound !== 0, `seed ${seed}: ${off} counts off and nothing reported`);
    doubted += error_bound !== 0;
    worst = Math.max(worst, off);
  }
  t.diagnostic(`${doubted} of 4 uncertain; at worst ${worst} counts off`);
  assert.ok(doubted > 0 && worst > 0, 'nothing was lost: this test proves nothing');
});
