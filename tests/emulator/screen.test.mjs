// What happens when the screen is not there, or its bus stands still.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { Counter, TURN } from './counter.mjs';
import { Asker, CABLES, PLACE, ask, withNumber } from './link.mjs';
import { ADDRESSES, KINDS } from './oled.mjs';

const MODULES = KINDS.flatMap((kind) => ADDRESSES.map((address) => ({ kind, address })));
const name = ({ kind, address }) => `${kind} at ${address.toString(16)}`;

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

test('each kind of screen is found at each address, whenever it is plugged in', (t) => {
  // What the counter asks at first does not depend on the screen.
  const asked = Counter.on().screen.pbm();
  let worst = 0;
  const counter = new Counter();
  counter.screen.unplug();
  counter.run(900);
  for (const first of MODULES) {
    const shows = (module, how, within) => {
      const plugged = counter.ms;
      counter.until(() => counter.screen.pbm() === asked, `the picture on ${name(module)}, ${how}`, within);
      worst = Math.max(worst, counter.ms - plugged);
    };
    counter.screen.replace(first.kind, first.address);
    shows(first, 'which was missed before', 560);
    // Another one in its place, at once: the counter has sent nothing meanwhile.
    const second = MODULES[(MODULES.indexOf(first) + 3) % MODULES.length];
    counter.screen.replace(second.kind, second.address);
    shows(second, `in the place of ${name(first)}`, 1_560);
    counter.screen.unplug();
    counter.run(1_100);
  }
  t.diagnostic(`at most ${worst.toFixed(0)} ms after it was plugged in`);
  counter.finish();
});

test('while the picture changes, the screen is not asked what it is', () => {
  const counter = new Counter();
  counter.screen.replace('SH1106', 0x3d);
  counter.run(600);
  counter.press('yes');
  counter.press('yes');
  counter.crank.turn(4 * TURN, 2_000);
  counter.run(500);
  const { reads, pictures } = counter.screen;
  assert.ok(reads > 0, 'it was never asked');
  counter.until(() => !counter.crank.turning, 'the end of the turning');
  assert.equal(counter.screen.reads, reads);
  assert.ok(counter.screen.pictures > pictures + 10, `${counter.screen.pictures - pictures} pictures: this test proves nothing`);
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

test('Yes is taken only for an offer that the panel has shown for 0.7 s', (t) => {
  const counter = Counter.on();
  const asker = new Asker(counter, CABLES['the serial line'](counter));
  const { bytes } = asker.ask(ask.readSettings());
  const answer = () => asker.ask(ask.answer(1)).answer;
  // The offer is drawn, and the bus does not carry it.
  counter.busStuck = true;
  asker.ask(ask.writeSettings(1, withNumber(bytes, PLACE.cradle, 18_000_000)));
  for (let time = 0; time < 10; time++) {
    counter.run(200);
    counter.press('yes');
    assert.equal(answer(), 'Waiting', `after ${time}`);
  }
  counter.busStuck = false;
  const { pictures } = counter.screen;
  counter.until(() => counter.screen.pictures > pictures, 'the picture', 2_500, 0.5);
  const shown = counter.ms;
  counter.run(560);
  counter.press('yes');
  assert.equal(answer(), 'Waiting', 'taken too early');
  while (counter.ms < shown + 700) counter.run(1);
  counter.press('yes');
  assert.equal(answer(), 'Agreed');
  t.diagnostic(`Agreed ${(counter.ms - shown).toFixed(0)} ms after the last byte of the picture, the press and the question included`);
  counter.finish();
});
