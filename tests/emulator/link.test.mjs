// The link to a computer, over each of the counter's ports: with the desktop's own program, and with a computer that
// pulls its cable, says rubbish, or asks over both ports at once.
import assert from 'node:assert/strict';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { test } from 'node:test';
import { Counter, CueDelay, TURN } from './counter.mjs';
import { Asker, CABLES, Desktop, ask, frame, runLog } from './link.mjs';

/** Coils of twelve turns. */
const JOB = `[job]
name = "earrings"
rings = 60
[wire]
metal = "copper"
size = "1.2mm"
[mandrel]
diameter = "4.5mm"
[winder]
pulses_per_rev = 400
[cutter]
coil_max = "18mm"
kerf = "0.4mm"
`;

/** Winds the coil on the mandrel to its target and keeps it. */
function windAndKeep(counter) {
  const { aim } = counter.state();
  counter.wind(aim, 12_000);
  counter.run(400);
  counter.press('yes');
  counter.press('yes');
  counter.run(1_500);
}

/** Begins a coil, winds a little, and throws it away; it goes into the log all the same. */
function windAndThrowAway(counter, counts) {
  counter.press('yes');
  counter.expectPhase('Winding');
  counter.wind(counts, 2_400);
  counter.press('yes');
  counter.knob.turn(-4, 200);
  counter.run(150);
  counter.press('yes');
  counter.run(1_000);
}

/** What the counter says over the link is what its line of state says. */
function expectSame(status, line) {
  for (const what of ['phase', 'counts', 'rings', 'made', 'error_bound']) assert.equal(status[what], line[what], what);
  assert.equal(status.notice, line.notice === 1);
  assert.ok(Math.abs(status.turns - line.counts / TURN) < 1e-6, `${status.turns} turns, and ${line.counts} counts`);
}

/** Bytes at random, zeros among them, and now and then the beginning of a question. */
function* rubbish(seed) {
  for (let state = seed; ;) {
    state ^= state << 13;
    state ^= state >>> 17;
    state ^= state << 5;
    if ((state & 15) === 0) yield* frame(state & 255, ask.fetched(state >>> 4)).slice(0, (state >>> 8) & 15);
    yield state & 32 ? (state >>> 16) & 255 : 0;
  }
}

for (const [port, plug] of Object.entries(CABLES)) {
  test(`over ${port} every question is answered`, (t) => {
    const counter = Counter.on();
    const asker = new Asker(counter, plug(counter));
    assert.deepEqual(asker.ask(ask.identify()), { kind: 'Identity', version: 2, firmware: '0.1.0', id: 0xe661_4000_1234_5678n, pulses: 400 });
    assert.deepEqual(asker.ask(ask.unknown()), { kind: 'Refused', why: 'Unknown' });
    assert.deepEqual(asker.ask(ask.answer(77)), { kind: 'Answer', answer: 'None' });
    assert.deepEqual(asker.fetch(0), { entries: [], kind: 'End', next: 0, more: false });
    assert.deepEqual(asker.ask(ask.setClock(1_800_000_000)), { kind: 'Done' });
    counter.run(3_000);
    const { upMs, ...health } = asker.ask(ask.selfTest());
    assert.deepEqual(health, { kind: 'Health', saving: true, dead: undefined, illegal: 0, lost: false, clock: 1_800_000_003 });
    assert.ok(Math.abs(upMs - counter.ms) < 20, `on for ${upMs} ms, and it is ${counter.ms} ms`);
    const { kind, form, bytes } = asker.ask(ask.readSettings());
    assert.deepEqual([kind, form, String.fromCharCode(...bytes.slice(1, 7))], ['Settings', 1, 'copper']);
    const begun = counter.ms;
    for (let question = 0; question < 100; question++) asker.ask(ask.status());
    t.diagnostic(`status a hundred times in ${(counter.ms - begun).toFixed(0)} ms`);
    counter.finish();
  });

  test(`over ${port} the desktop's program sends a job, follows it, fetches its coils once`, async (t) => {
    const folder = mkdtempSync(join(tmpdir(), 'turntally-'));
    const [job, log] = [join(folder, 'job.toml'), join(folder, 'log.sqlite')];
    writeFileSync(job, JOB);
    const counter = Counter.on();
    const cable = plug(counter);
    const desktop = await Desktop.on(counter, cable);
    try {
      assert.match(await desktop.link(['test']), /^counter e661400012345678 .* firmware 0\.1\.0, encoder of 400 pulses\n.*saving OK, no encoder errors/);
      let shown;
      const sent = await desktop.link(['send', job, '--log', log], (output) => {
        if (!shown && output.includes('on the counter\'s screen')) shown = counter.ms;
        // Nobody says Yes before they have read it.
        if (shown && counter.ms > shown + 1_000) {
          shown = Infinity;
          counter.press('yes');
        }
      });
      assert.equal(sent, 'taken\n');
      counter.press('yes');
      counter.press('yes');
      assert.equal(counter.expectPhase('Winding').counts, 0);
      windAndKeep(counter);
      counter.press('yes');
      counter.press('yes');
      windAndKeep(counter);
      const { made } = counter.state();
      assert.match(await desktop.link(['fetch', '--log', log]), /^2 new entries/);
      assert.match(await desktop.link(['fetch', '--log', log]), /^0 new entries/);
      const kept = JSON.parse(await runLog(['--json', '--log', log]));
      t.diagnostic(JSON.stringify(kept));
      assert.equal(made > 0, true);
      assert.ok(kept.coils.every(({ batch }) => batch > 0 && batch === kept.batches[0].batch), 'the number of the batch came back');
    } finally {
      desktop.leave();
      rmSync(folder, { recursive: true });
    }
    counter.finish();
  });

  test(`over ${port} the count is reported as it is, while it turns and at rest`, (t) => {
    const counter = Counter.winding();
    const asker = new Asker(counter, plug(counter));
    const zero = counter.crank.made;
    counter.crank.turn(10 * TURN, 2 * TURN);
    let worst = 0;
    for (let looks = 0; counter.crank.turning; looks++) {
      const before = counter.crank.made - zero;
      const { counts, phase } = asker.ask(ask.status());
      const after = counter.crank.made - zero;
      // The tick reads whole words of 16 samples, 64 us each.
      assert.ok(counts >= before - 1 && counts <= after, `${counts} counts, and it was between ${before} and ${after}`);
      assert.equal(phase, 'Winding');
      worst = Math.max(worst, after - before);
      counter.run(3 + (looks % 7));
    }
    t.diagnostic(`${worst} of ${TURN} counts from question to answer at worst`);
    counter.run(300);
    for (const counts of [-777, 1_234, -3 * TURN]) {
      counter.wind(counts, 2_000);
      counter.run(200);
      const status = asker.ask(ask.status());
      expectSame(status, counter.state());
      assert.equal(status.counts, counter.crank.made - zero);
    }
    counter.finish();
  });

  test(`over ${port} each coil is fetched once, wherever the cable is pulled`, (t) => {
    const counter = Counter.on();
    counter.press('yes');
    for (const counts of [700, 850, 1_000, 1_150]) windAndThrowAway(counter, counts);
    const cable = plug(counter);
    const asker = new Asker(counter, cable);
    const all = asker.fetch(0).entries;
    assert.deepEqual(all.map(({ number, kept, turns }) => [number, kept, Math.round(turns * TURN)]),
      [700, 850, 1_000, 1_150].map((counts, number) => [number, false, counts]));
    // How many bytes the answer is.
    let bytes = 0;
    let limit = Infinity;
    let pulled = false;
    const { take } = cable;
    cable.take = (received) => {
      for (const byte of received) {
        if (bytes >= limit) pulled = true;
        if (!pulled) take([byte]);
        bytes++;
      }
    };
    asker.fetch(0);
    const whole = bytes;
    let cuts = 0;
    for (let cut = 0; cut < whole; cut += 13) {
      [bytes, limit, pulled] = [0, cut, false];
      asker.begin(ask.fetch(0, 64));
      counter.until(() => pulled, 'the cut', 500, 0.1);
      cable.pull();
      const fetched = asker.replies.filter(({ kind, tag }) => kind === 'Entry' && tag === asker.tag);
      asker.forget();
      counter.run(cut % 5);
      cable.again();
      [limit, pulled] = [Infinity, false];
      const { entries, next } = asker.fetch(fetched.length);
      assert.deepEqual([...fetched, ...entries].map(({ number }) => number), [0, 1, 2, 3], `pulled after ${cut} bytes`);
      assert.equal(next, 4);
      cuts++;
    }
    counter.run(100); // what was on its way to a pulled cable
    asker.forget();
    // A question that was cut off is none, and does not spoil the next.
    const question = frame(200, ask.selfTest());
    // Without its last byte it is whole again with the first of the next.
    for (let cut = 1; cut < question.length - 1; cut++) {
      cable.send(question.slice(0, cut));
      counter.run(4);
      assert.equal(asker.ask(ask.identify()).kind, 'Identity', `cut after ${cut} bytes`);
    }
    assert.deepEqual(asker.replies, []);
    assert.deepEqual(asker.ask(ask.fetched(4)), { kind: 'Done' });
    assert.deepEqual(asker.fetch(4).entries, []);
    t.diagnostic(`pulled ${cuts} times in ${whole} bytes`);
    counter.finish();
  });

  test(`over ${port} rubbish without end moves no count, delays no cue and keeps nothing from being saved`, (t) => {
    const counter = Counter.winding({ patch: { TURNTALLY_FIRST_LEAD_MS: 0 } });
    const { aim } = counter.state();
    const cable = plug(counter);
    const asker = new Asker(counter, cable);
    const source = rubbish(20_261_126);
    let sent = 0;
    const say = counter.outside(() => {
      // As fast as the cable takes it.
      while (cable.waiting < 256) {
        cable.send([source.next().value]);
        sent++;
      }
      say.schedule(1e6);
    });
    say.schedule(0);
    const begun = counter.ms;
    const zero = counter.crank.made;
    const logged = counter.flashLog.length;
    counter.wind(aim - 1_200, 8_000);
    counter.run(300);
    const programs = counter.flashLog.length - logged;
    // A note each eighth of a turn, in one program.
    assert.ok(programs >= Math.floor((8 * (aim - 1_200)) / TURN) * 0.9, `${programs} programs`);
    let edge;
    counter.crank.onEdge = (made) => { if (made - zero === aim) edge = counter.clock.nanos; };
    counter.wind(1_220, 1_600);
    counter.run(60);
    const delay = new CueDelay();
    delay.measure(counter, edge);
    say.cancel();
    counter.run(20);
    t.diagnostic(`${sent} bytes in ${((counter.ms - begun) / 1e3).toFixed(1)} s, and ${programs} programs; the cue at worst ${delay}`);
    cable.send([0]);
    assert.equal(asker.ask(ask.status()).counts, aim + 20);
    const { counts, illegal, lost } = counter.state();
    assert.deepEqual([counts, illegal, lost], [aim + 20, 0, 0]);
    counter.finish();
  });
}

test('two computers at once each get their own answers, and none waits for the other', (t) => {
  const counter = Counter.on();
  counter.press('yes');
  for (const counts of [500, 600]) windAndThrowAway(counter, counts);
  const askers = Object.values(CABLES).map((plug) => new Asker(counter, plug(counter)));
  // Each asks its own row of questions, and the next as soon as it is answered.
  const rows = [
    [[ask.fetch(1, 64), ['Entry', 'End']], [ask.identify(), ['Identity']], [ask.answer(5), ['Answer']]],
    [[ask.status(), ['Status']], [ask.fetch(0, 64), ['Entry', 'Entry', 'End']], [ask.unknown(), ['Refused']], [ask.selfTest(), ['Health']]],
  ];
  const asked = askers.map((asker, place) => ({ asker, row: rows[place], turn: -1, times: 0, worst: 0 }));
  const begin = (one) => {
    one.turn = (one.turn + 1) % one.row.length;
    [one.since, one.wanted] = [counter.ms, one.row[one.turn][1]];
    one.asker.replies = [];
    one.asker.begin(one.row[one.turn][0]);
  };
  asked.forEach(begin);
  for (const end = counter.ms + 3_000; counter.ms < end;) {
    counter.run(0.1);
    for (const one of asked) {
      const { replies, tag } = one.asker;
      if (replies.length < one.wanted.length) continue;
      assert.deepEqual(replies.map((reply) => reply.kind), one.wanted);
      assert.ok(replies.every((reply) => reply.tag === tag), 'an answer to another question');
      if (one.row[one.turn][0][0] === ask.fetch(0, 0)[0]) {
        assert.deepEqual(replies.slice(0, -1).map(({ number }) => number), [0, 1].slice(3 - replies.length));
      }
      [one.times, one.worst] = [one.times + 1, Math.max(one.worst, counter.ms - one.since)];
      begin(one);
    }
  }
  asked.forEach(({ times, worst }, place) => {
    t.diagnostic(`${Object.keys(CABLES)[place]}: ${times} questions, the longest ${worst.toFixed(1)} ms`);
    assert.ok(times > 100 && worst < 100, `${times} questions, ${worst} ms`);
  });
  counter.finish();
});
