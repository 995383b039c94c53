// What is kept in flash: over power cuts and resets, in a flash that is blank, full of rubbish or worn,
// and without ever being late with a cue.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { Counter, CueDelay, REPEATS, TURN } from './counter.mjs';
import { gaining } from './inputs.mjs';

/** Where the firmware's Layout::PICO has its notes and its end. */
const [RECORDS, NOTES, END] = [512 * 1024, (512 + 128) * 1024, (512 + 128 + 768) * 1024];
/** Data sheets of usual parts, from memory. */
const TYPICAL = { eraseMs: 45, programMs: 0.7 };
const WORST = { eraseMs: 400, programMs: 3 };

/** The power goes and comes back; returns how long it took until what was kept was `back`: usually the count. */
function cutPower(counter, back = ({ phase }) => phase === 'Fault') {
  counter.restart({ keepRam: false });
  counter.serial = '';
  const off = counter.ms;
  counter.startedMs = off;
  counter.until(() => counter.last !== undefined && back(counter.last), 'what was kept', 300);
  return counter.ms - off;
}

/** Ends the coil on the mandrel; `clicks` from what is marked to what is wanted. */
function endCoil(counter, clicks) {
  counter.press('yes');
  if (clicks !== 0) counter.knob.turn(4 * clicks, 200);
  counter.run(200);
  counter.press('yes');
}

/** Cranks from rest, gaining ten turns a second in a second: a quicker reversal is no hand's, but bounce. */
function speedUp(counter, counts, rate) {
  counter.crank.follow(counts, gaining(rate, 10 * TURN));
  counter.until(() => !counter.crank.turning, 'the end of the turning', 5_000);
}

test('half a coil is there again after the power was off, within a quarter of a turn', (t) => {
  const counter = Counter.winding();
  const before = counter.crank.made;
  let worst = 0;
  for (const [turns, rate] of [[9.3, 2_400], [5.77, 1_000], [12.1, 4_800]]) {
    counter.wind(Math.round(turns * TURN), rate);
    const resumed = cutPower(counter);
    const { counts, error_bound } = counter.last;
    const off = Math.abs(counts - (counter.crank.made - before));
    worst = Math.max(worst, off);
    t.diagnostic(`back after ${resumed.toFixed(0)} ms, ${off} of ${TURN} counts off, error bound ${error_bound}`);
    assert.ok(off <= error_bound, `${off} counts off, error bound ${error_bound}`);
    counter.press('yes');
    assert.equal(counter.state().phase, 'Fault', 'a press so soon was not for the page');
    counter.run(800);
    counter.press('yes');
    assert.equal(counter.state().phase, 'Winding');
  }
  counter.finish();
});

test('a batch is there again after the power was off, and the coil that came off is not', () => {
  const counter = Counter.winding();
  const { aim } = counter.state();
  counter.wind(aim, 20_000);
  endCoil(counter, 0);
  const { phase, made } = counter.state();
  assert.equal(phase, 'Next');
  assert.ok(made > 10, `${made} rings`);
  counter.run(1_000);
  cutPower(counter, (last) => last.made > 0);
  assert.deepEqual([counter.last.phase, counter.last.made, counter.last.notice], ['Choose', made, 0]);
  counter.press('yes');
  counter.press('yes');
  assert.equal(counter.state().phase, 'Winding');
  counter.finish();
});

test('the power may go at any moment of a coil', (t) => {
  const counter = Counter.winding();
  let zero = counter.crank.made;
  let [resumed, worst] = [0, 0];
  for (let cut = 0; cut < REPEATS; cut++) {
    const rate = 1_500 + 600 * (cut % 6);
    counter.crank.turn(2 * TURN, rate);
    // Some cuts fall within the program of a note.
    counter.run(300 + (((cut * 0.618) % 1) * 2 * TURN * 700) / rate + cut * 0.0371);
    counter.crank.letGo();
    cutPower(counter);
    const { counts, error_bound, notice } = counter.last;
    assert.equal(notice, 0);
    const off = Math.abs(counts - (counter.crank.made - zero));
    assert.ok(off <= error_bound, `cut ${cut}: ${off} counts off, error bound ${error_bound}`);
    [resumed, worst] = [resumed + 1, Math.max(worst, off)];
    counter.run(800); // time to read the page
    if (cut % 4 === 3) {
      // Thrown away, and the next begun.
      counter.press('no');
      counter.run(1_500);
      counter.press('yes');
      zero = counter.crank.made;
    } else {
      counter.press('yes');
      zero = counter.crank.made - counts;
    }
    counter.expectPhase('Winding');
  }
  t.diagnostic(`${resumed} cuts, ${worst} of ${TURN} counts off at worst`);
  counter.finish();
});

test('a flash full of rubbish is reported, counting goes on, and then it saves', () => {
  const flash = new Uint8Array(2 * 1024 * 1024).fill(0xff);
  let seed = 12345;
  for (let at = RECORDS; at < END; at++) flash[at] = (seed = Math.imul(seed, 1103515245) + 12345) >>> 16;
  const counter = new Counter({ flash });
  counter.until(() => counter.last !== undefined, 'the first line', 300);
  const { phase, ms } = counter.last;
  assert.equal(phase, 'Choose', `it counts after ${ms} ms`);
  counter.until(() => counter.last.notice === 1, 'the message', 5_000);
  // Records and room are made blank meanwhile: 46 sectors of 45 ms.
  counter.run(4_000);
  counter.press('yes');
  assert.equal(counter.state().notice, 0);
  counter.press('yes');
  counter.press('yes');
  assert.equal(counter.state().phase, 'Winding');
  counter.wind(3 * TURN, 2_400);
  assert.equal(counter.state().counts, 3 * TURN);
  cutPower(counter);
  counter.finish();
});

test('a worn flash is reported, and counting goes on', () => {
  const flash = new Uint8Array(2 * 1024 * 1024).fill(0xff).fill(0x5a, NOTES, END);
  const counter = new Counter({ flash });
  counter.wornBits = (offset) => (offset >= NOTES ? 0x10 : 0);
  counter.until(() => counter.last?.notice === 1, 'the message', 60_000);
  counter.run(1_000); // time to read it
  counter.press('yes');
  counter.press('yes');
  counter.press('yes');
  assert.equal(counter.state().phase, 'Winding');
  counter.wind(3 * TURN, 2_400);
  assert.deepEqual([counter.state().counts, counter.state().notice], [3 * TURN, 0]);
  counter.finish();
});

test('nothing is erased while a coil is on the mandrel, and no coil begins before there is room', () => {
  const counter = new Counter({ flash: new Uint8Array(2 * 1024 * 1024).fill(0xff).fill(0x5a, NOTES, END) });
  counter.flashTimes = WORST;
  counter.until(() => counter.last !== undefined, 'the first line', 2_000, 20);
  counter.press('yes', 900);
  counter.press('yes', 900);
  assert.deepEqual([counter.last.phase, counter.state().notice], ['Ready', 1], 'it says that it makes room');
  counter.run(10_000);
  counter.press('yes');
  counter.press('yes');
  assert.equal(counter.state().phase, 'Winding');
  const begun = counter.ms;
  const { aim } = counter.state();
  counter.wind(aim, 4_800);
  const log = counter.flashLog.filter(({ ms }) => ms > begun);
  assert.equal(log.filter(({ what }) => what === 'erase').length, 0);
  assert.ok(log.length > 100, `${log.length} programs`);
  counter.finish();
});

for (const [name, times] of [['typical', TYPICAL], ['worst', WORST]]) {
  test(`with the count being saved, flash at its ${name}, the cue comes within 2 ms of its edge`, (t) => {
    const delay = new CueDelay();
    const back = Math.round(0.5 * TURN);
    let [programs, counter, zero, aim] = [0];
    for (let repeat = 0; repeat < REPEATS; repeat++) {
      if (repeat % 40 === 0) {
        // Another one, before the room for notes is used up by going to and fro. No lead: the cue belongs
        // to the edge that reaches the target, at any speed; the same counter's next coil would have learned one.
        counter?.finish();
        counter = Counter.winding({ patch: { TURNTALLY_FIRST_LEAD_MS: 0 } });
        counter.flashTimes = times;
        ({ aim } = counter.state());
        zero = counter.crank.made;
        counter.wind(aim - back, 20_000);
      }
      counter.run(200 + ((repeat * 0.618) % 1) * 7 + repeat * 0.0137);
      assert.equal(counter.level('stop'), 1, 'short of the target the winder may turn');
      const [logged, pictures] = [counter.flashLog.length, counter.screen.pictures];
      let edge;
      counter.crank.onEdge = (made) => { if (made - zero === aim) edge = counter.clock.nanos; };
      // One to three turns a second.
      speedUp(counter, back + 20, TURN * (1 + (repeat % 5) / 2));
      counter.run(45);
      delay.measure(counter, edge);
      assert.ok(counter.flashLog.length > logged + 2, 'nothing was saved: this test proves nothing');
      assert.ok(counter.screen.pictures > pictures, 'the screen stood still: this test proves nothing');
      programs += counter.flashLog.length - logged;
      speedUp(counter, -back - 20, 3 * TURN);
    }
    t.diagnostic(`worst of ${REPEATS}, with ${programs} programs meanwhile: ${delay}`);
    counter.finish();
  });
}
