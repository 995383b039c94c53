// The USB port as a device: what a computer learns of it, and that nothing which happens on the bus disturbs the
// counter.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { Counter, CueDelay, TURN } from './counter.mjs';
import { Asker, ask } from './link.mjs';
import { Computer } from './usb.mjs';

/** The descriptors of a row, by their lengths. */
function* descriptors(bytes) {
  for (let at = 0; at < bytes.length; at += bytes[at]) yield bytes.slice(at, at + bytes[at]);
}

test('it is a serial port of class CDC-ACM, and every request gets its answer', () => {
  const counter = Counter.on();
  const computer = new Computer(counter).plug();
  const { device, configuration } = computer.descriptors;
  assert.deepEqual([device.length, device[0], device[1], device[7]], [18, 18, 1, 64]);
  assert.deepEqual(device.slice(4, 7), [2, 2, 0], 'communications, abstract control model');
  assert.deepEqual(device.slice(8, 12), [0x09, 0x12, 0x01, 0x00], '1209:0001');
  assert.deepEqual(device.slice(14), [1, 2, 3, 1], 'maker, product and serial number, one configuration');
  assert.deepEqual(computer.get(0x80, 6, 0x0300, 0, 255), [4, 3, 0x09, 0x04], 'English');
  const text = (index) => {
    const [length, kind, ...units] = computer.get(0x80, 6, 0x0300 + index, 0x0409, 255);
    assert.deepEqual([length, kind], [units.length + 2, 3]);
    return Buffer.from(units).toString('utf16le');
  };
  assert.deepEqual([1, 2].map(text), ['Turntally', 'Turntally turns counter']);
  assert.equal(text(3), counter.flashId.map((byte) => byte.toString(16).padStart(2, '0')).join('').toUpperCase());
  const parts = [...descriptors(configuration)];
  assert.equal(configuration[2] + 256 * configuration[3], configuration.length);
  assert.ok(parts.every((part) => part.length === part[0]), 'a descriptor that is cut off');
  assert.equal(configuration[4], parts.filter(([, kind]) => kind === 4).length, 'interfaces');
  // Each interface's endpoints, class and subclass; each endpoint's address, kind and packet.
  assert.deepEqual(parts.filter(([, kind]) => kind === 4).map((part) => part.slice(2, 8)), [[0, 0, 1, 2, 2, 0], [1, 0, 2, 10, 0, 0]]);
  assert.deepEqual(parts.filter(([, kind]) => kind === 5).map((part) => part.slice(2, 6)), [[0x82, 3, 8, 0], [0x01, 2, 64, 0], [0x81, 2, 64, 0]]);
  // CDC's own: header, line coding, union.
  assert.deepEqual(parts.filter(([, kind]) => kind === 0x24).map((part) => part[2]), [0, 2, 6]);

  assert.deepEqual(computer.get(0x80, 8, 0, 0, 1), [1], 'configuration');
  for (const kind of [0x80, 0x81, 0x82]) assert.deepEqual(computer.get(kind, 0, 0, 0, 2), [0, 0], 'status');
  assert.deepEqual(computer.get(0x81, 10, 0, 1, 1), [0], 'form of an interface');
  computer.set(0x01, 11, 0, 1);
  assert.deepEqual(computer.get(0xa1, 0x21, 0, 0, 7), [0x00, 0xc2, 0x01, 0x00, 0, 0, 8], 'line coding');
  computer.set(0x21, 0x20, 0, 0, [0x80, 0x25, 0, 0, 0, 0, 7]);
  assert.deepEqual(computer.get(0xa1, 0x21, 0, 0, 7), [0x80, 0x25, 0, 0, 0, 0, 7]);
  // What it has not: a fourth string, a second speed, a second configuration, a longer line coding, anything vendors invent.
  for (const [request, value] of [[6, 0x0304], [6, 0x0600], [6, 0x0f00], [99, 0]]) {
    assert.throws(() => computer.get(0x80, request, value, 0, 64), /refused/);
  }
  assert.throws(() => computer.set(0x00, 9, 2, 0), /refused/);
  assert.throws(() => computer.set(0x21, 0x20, 0, 0, [1, 2, 3]), /refused/);
  assert.throws(() => computer.set(0x40, 1, 0, 0), /refused/);
  assert.deepEqual(computer.get(0x80, 8, 0, 0, 1), [1], 'and goes on');
  const asker = new Asker(counter, computer.open());
  assert.equal(asker.ask(ask.identify()).kind, 'Identity');
  counter.finish();
});

test('configured anew, endpoints begin anew', () => {
  const counter = Counter.on();
  const computer = new Computer(counter).plug().open();
  const asker = new Asker(counter, computer);
  for (let times = 0; times < 5; times++) {
    assert.equal(asker.ask(ask.selfTest()).kind, 'Health');
    if (times % 2 === 0) computer.unhalt();
    else computer.configure(1);
  }
  computer.configure(0);
  assert.deepEqual(computer.get(0x80, 8, 0, 0, 1), [0]);
  asker.begin(ask.identify());
  counter.run(50);
  assert.deepEqual(asker.replies, [], 'a port that was taken away answers');
  computer.configure(1);
  assert.equal(asker.next().kind, 'Identity');
  counter.finish();
});

test('a reset in the middle of a request, and a computer that never reads, leave it whole', (t) => {
  const counter = Counter.on();
  const computer = new Computer(counter).plug().open();
  const asker = new Asker(counter, computer);
  for (let times = 0; times < 4; times++) {
    computer.abandon();
    computer.again();
    assert.equal(asker.ask(ask.identify()).kind, 'Identity', 'after a reset');
  }
  // A program asks and is gone: the answers wait, and the next one who opens the port gets its own.
  for (let times = 0; times < 4; times++) {
    for (let question = 0; question < 5; question++) asker.begin(ask.readSettings());
    counter.run(0.3);
    computer.close();
    counter.run(500);
    computer.open();
    assert.equal(asker.ask(ask.selfTest()).kind, 'Health');
    asker.forget();
  }
  // Asleep for a while, and awake with no reset.
  for (let times = 0; times < 3; times++) {
    computer.sleep(200);
    assert.equal(asker.ask(ask.identify()).kind, 'Identity', 'after a sleep');
  }
  t.diagnostic(`the longest tick ${counter.state().tick_us} us`);
  counter.finish();
});

test('whatever happens on the bus, counts are exact and the cue is in time', (t) => {
  const delay = new CueDelay();
  for (let repeat = 0; repeat < 5; repeat++) {
    const counter = Counter.winding({ patch: { TURNTALLY_FIRST_LEAD_MS: 0 } });
    const { aim } = counter.state();
    const zero = counter.crank.made;
    const computer = new Computer(counter);
    counter.wind(aim - TURN, 20_000);
    counter.run(200 + repeat * 1.37);
    let edge;
    counter.crank.onEdge = (made) => { if (made - zero === aim) edge = counter.clock.nanos; };
    counter.crank.turn(TURN + 40, 2 * TURN);
    let [times, asked] = [0, 0];
    while (counter.crank.turning) {
      computer.plug().open();
      const asker = new Asker(counter, computer);
      for (let question = 0; question < 4; question++, asked++) asker.ask([ask.status, ask.readSettings][question % 2]());
      asker.begin(ask.fetch(0, 64));
      counter.run(0.5);
      computer.pull();
      times++;
    }
    counter.run(50);
    delay.measure(counter, edge);
    const { counts, illegal, lost, tick_us: tick } = counter.state();
    assert.deepEqual([counts, illegal, lost], [aim + 40, 0, 0]);
    if (repeat === 0) t.diagnostic(`plugged ${times} times and asked ${asked} times in one turn; the longest tick ${tick} us`);
    counter.finish();
  }
  t.diagnostic(`the cue at worst of 5: ${delay}`);
});

test('on a bus that resets and asks all the time no edge is lost at 200,000 a second', (t) => {
  const counter = Counter.winding();
  const before = counter.state().position;
  const made = counter.crank.made;
  const computer = new Computer(counter);
  counter.crank.turn(100_000, 200_000);
  let times = 0;
  while (counter.crank.turning) {
    computer.plug().pull();
    times++;
  }
  counter.run(100);
  const { position, illegal, lost } = counter.state();
  assert.deepEqual([position - before, illegal, lost], [counter.crank.made - made, 0, 0]);
  t.diagnostic(`set up ${times} times in half a second`);
  counter.finish();
});

/** Every request of a computer, as [kind, request, value, index, length, bytes]. */
const REQUESTS = [
  [0x80, 6, 0x0100, 0, 18], [0x80, 6, 0x0200, 0, 255], [0x80, 6, 0x0301, 0x0409, 255], [0x80, 6, 0x0303, 0x0409, 255],
  [0x80, 8, 0, 0, 1], [0x82, 0, 0, 0x81, 2], [0xa1, 0x21, 0, 0, 7], [0x80, 99, 0, 0, 8],
  [0x21, 0x20, 0, 0, 7, [0x00, 0xc2, 0x01, 0x00, 0, 0, 8]], [0x21, 0x22, 3, 0, 0], [0x02, 1, 0, 0x81, 0], [0x01, 11, 0, 1, 0],
  [0x00, 9, 1, 0, 0], [0x40, 1, 0, 0, 0],
];

/** Begins a request, and gives it up after so many of its steps. */
function giveUp(computer, request, steps) {
  try {
    for (const step of computer.steps(request).slice(0, steps)) step();
  } catch (error) {
    if (!/refused/.test(error.message)) throw error;
  }
}

test('whatever request a computer gives up, and wherever, the next one gets its own answer', (t) => {
  const counter = Counter.on();
  const computer = new Computer(counter).plug();
  const expected = REQUESTS.map((request) => computer.perform(request));
  let times = 0;
  for (const first of REQUESTS) {
    for (let steps = 1; steps < computer.steps(first).length; steps++) {
      // At once, and when there has been time to have an answer ready.
      for (const pause of [0, 1.3]) {
        REQUESTS.forEach((second, index) => {
          giveUp(computer, first, steps);
          counter.run(pause);
          assert.deepEqual(computer.perform(second), expected[index], `${second} after ${steps} steps of ${first} and ${pause} ms`);
          times++;
        });
      }
    }
  }
  // Three in a row, as a computer that closes a port may do; and an address that it did not see accepted.
  for (let pause = 0; pause < 0.2; pause += 0.01) {
    for (const request of [REQUESTS[8], REQUESTS[9], [0x00, 5, 99, 0, 0]]) {
      giveUp(computer, request, 1);
      counter.run(pause);
    }
    assert.deepEqual(computer.perform(REQUESTS[3]), expected[3]);
    times++;
  }
  t.diagnostic(`${times} times given up`);
  computer.configure(1);
  const asker = new Asker(counter, computer.open());
  assert.equal(asker.ask(ask.identify()).kind, 'Identity');
  counter.finish();
});

test('requests given up at any moment, while the crank turns at 100,000 edges a second', (t) => {
  const counter = Counter.winding();
  const before = counter.state().position;
  const made = counter.crank.made;
  const computer = new Computer(counter).plug();
  const expected = REQUESTS.map((request) => computer.perform(request));
  let [seed, times] = [7, 0];
  const random = (below) => {
    seed = (seed * 1_103_515_245 + 12_345) & 0x7fffffff;
    return Math.floor(((seed >> 8) / 0x800000) * below);
  };
  counter.crank.turn(100_000, 100_000);
  while (counter.crank.turning) {
    const request = REQUESTS[random(REQUESTS.length)];
    giveUp(computer, request, 1 + random(computer.steps(request).length));
    counter.run(random(2_000) / 1_000);
    const index = random(REQUESTS.length);
    assert.deepEqual(computer.perform(REQUESTS[index]), expected[index], `${REQUESTS[index]} after ${request}`);
    times++;
  }
  counter.run(100);
  const { position, illegal, lost, tick_us: tick } = counter.state();
  assert.deepEqual([position - before, illegal, lost], [counter.crank.made - made, 0, 0]);
  t.diagnostic(`${times} times given up; the longest tick ${tick} us`);
  counter.finish();
});

test('a controller that hangs is initialised anew, and the count does not notice', (t) => {
  const counter = Counter.winding();
  const before = counter.state().position;
  const made = counter.crank.made;
  const computer = new Computer(counter).plug().open();
  const asker = new Asker(counter, computer);
  counter.crank.turn(100_000, 100_000);
  for (let times = 0; times < 3; times++) {
    assert.equal(asker.ask(ask.identify()).kind, 'Identity');
    if (times === 1) asker.begin(ask.fetch(0, 64)); // with an answer on its way
    computer.hang();
    const hung = counter.ms;
    counter.until(() => !computer.sees, 'the device to leave the bus', 100);
    const left = counter.ms - hung;
    counter.until(() => computer.sees, 'the device to come back', 200);
    if (times === 0) t.diagnostic(`gone from the bus after ${left.toFixed(0)} ms, back after ${(counter.ms - hung).toFixed(0)} ms`);
    computer.again();
    asker.forget();
  }
  assert.equal(asker.ask(ask.selfTest()).kind, 'Health');
  counter.until(() => !counter.crank.turning, 'the end of the turning', 2_000);
  counter.run(100);
  const { position, illegal, lost } = counter.state();
  assert.deepEqual([position - before, illegal, lost], [counter.crank.made - made, 0, 0]);
  counter.finish();
});

test('a bus that sleeps, even in the middle of a request, is no controller that hangs', () => {
  const counter = Counter.on();
  const computer = new Computer(counter).plug().open();
  const resets = computer.controllerResets;
  const asker = new Asker(counter, computer);
  for (const request of REQUESTS.filter(([, number]) => number !== 99 && number !== 1)) {
    const steps = computer.steps(request);
    steps[0]();
    computer.sleep(60);
    for (const step of steps.slice(1)) step();
  }
  computer.configure(1);
  computer.pull();
  counter.run(1_000);
  computer.again();
  asker.forget();
  assert.equal(asker.ask(ask.identify()).kind, 'Identity');
  // A charger has no frames, and no address to give.
  const charged = Counter.on();
  const before = charged.chip.usbCtrl.resets;
  charged.run(2_000);
  assert.equal(charged.chip.usbCtrl.resets, before, 'on a charger');
  assert.equal(computer.controllerResets, resets);
  counter.finish();
});

test('the bus is reset, and asks, while the flash is being erased', () => {
  const flash = new Uint8Array(2 * 1024 * 1024).fill(0xff);
  flash.fill(0x5a, 640 * 1024, 1024 * 1024); // what was there before must be erased
  for (const act of ['reset', 'ask', 'give up and ask']) {
    const counter = new Counter({ flash });
    counter.flashTimes = { eraseMs: 400, programMs: 3 };
    counter.until(() => counter.last !== undefined, 'the first line', 2_000);
    const computer = new Computer(counter).plug().open();
    const asker = new Asker(counter, computer);
    assert.equal(asker.ask(ask.identify()).kind, 'Identity');
    let erasing = null;
    counter.flashChanging = (from, bytes, erase) => { if (erase) erasing ??= counter.ms; };
    if (act === 'give up and ask') giveUp(computer, REQUESTS[0], 1);
    counter.press('yes');
    counter.until(() => erasing !== null, 'an erase', 5_000, 0.1);
    counter.run(100); // a quarter of it
    if (act === 'reset') {
      computer.again();
      asker.forget();
    } else assert.equal(computer.perform(REQUESTS[1]).length, 62, act);
    assert.equal(asker.ask(ask.identify()).kind, 'Identity', act);
    counter.finish();
  }
});

/** A chip of this revision, 1 for B0 and B1 and 2 for B2; the erratum goes with it unless `erratum` says that it has it. */
function ofRevision(revision, { erratum = revision === 1 } = {}) {
  const counter = new Counter();
  counter.chip.peripherals[0x40000].readUint32 = (offset) => (offset === 0 ? ((revision << 28) | 0x2927) >>> 0 : 0);
  counter.chip.usbCtrl.line.erratum = erratum;
  counter.until(() => counter.last !== undefined, 'the first line', 1_000);
  return counter;
}

test('on a busy bus, an early chip is led out of each reset (erratum RP2040-E5)', (t) => {
  const counter = ofRevision(1);
  const { chip } = counter;
  const pin = () => [chip.gpio[15].ctrl, chip.gpio[15].padValue];
  const before = pin();
  const computer = new Computer(counter, { busy: true });
  const asker = new Asker(counter, computer.plug().open());
  assert.equal(asker.ask(ask.identify()).kind, 'Identity');
  const { times, ms } = computer.shown;
  t.diagnostic(`an idle bus was shown for ${ms.toFixed(2)} ms in each of ${times} resets`);
  assert.equal(times, 2, 'not once for each reset');
  assert.ok(ms >= 0.8 && ms < 2, `${ms} ms`);
  assert.deepEqual(pin(), before, 'GPIO15 does not get its settings back');
  // Again and again, and while the crank turns at its fastest.
  const { position } = counter.state();
  counter.crank.turn(60_000, 100_000);
  for (let again = 0; again < 5; again++) {
    computer.again();
    asker.forget();
    assert.equal(asker.ask(ask.identify()).kind, 'Identity');
  }
  counter.until(() => !counter.crank.turning, 'the end of the turning', 2_000);
  const state = counter.state();
  assert.deepEqual([state.position - position, state.illegal, state.lost], [60_000, 0, 0]);
  assert.deepEqual(pin(), before);
  counter.finish();
});

test('a later chip comes out of a reset by itself, and its pins are left alone', () => {
  const counter = ofRevision(2);
  const { ctrl, padValue } = counter.chip.gpio[15];
  const computer = new Computer(counter, { busy: true });
  const asker = new Asker(counter, computer.plug().open());
  assert.equal(asker.ask(ask.identify()).kind, 'Identity');
  assert.equal(computer.shown.times, 0);
  assert.deepEqual([counter.chip.gpio[15].ctrl, counter.chip.gpio[15].padValue], [ctrl, padValue]);
  counter.finish();
  // With the erratum and without the way round it, the computer finds nothing: the two above prove something.
  const without = ofRevision(2, { erratum: true });
  assert.throws(() => new Computer(without, { busy: true }).plug(), /it does not answer/);
});

test('an erase of the flash gives the bus back before it begins', () => {
  const flash = new Uint8Array(2 * 1024 * 1024).fill(0xff);
  flash.fill(0x5a, 640 * 1024, 1024 * 1024); // what was there before must be erased
  const counter = new Counter({ flash });
  counter.flashTimes = { eraseMs: 45, programMs: 0.7 };
  counter.until(() => counter.last !== undefined, 'the first line', 2_000);
  const computer = new Computer(counter, { busy: true });
  const { line } = counter.chip.usbCtrl;
  const during = [];
  counter.flashChanging = () => { during.push(line.isShown); };
  // Erases follow one another for a while, and resets come faster than from any computer.
  counter.press('yes');
  for (let again = 0; again < 60; again++) {
    computer.signalReset();
    counter.run(17.3);
  }
  // A computer tries again: it finds the device once there is nothing left to erase.
  counter.run(3_000);
  assert.ok(during.length > 2 && line.shown > 0, `${during.length} changes of the flash`);
  assert.ok(during.every((shown) => !shown), 'the controller did not hear the bus meanwhile');
  const asker = new Asker(counter, computer.plug().open());
  assert.equal(asker.ask(ask.identify()).kind, 'Identity');
  counter.finish();
});
