// One counter, two boards: for the same script the emulated Pico shows, sounds and counts what the desktop's
// board does. What that does is kept in traces/ and pictures/ (tests/tests/emulated.rs).
import assert from 'node:assert/strict';
import { readdirSync, readFileSync } from 'node:fs';
import { test } from 'node:test';
import { play } from './script.mjs';

/** How far apart two boards may be in time, milliseconds.
 * 3 of them are ticks: both boards look at their pins once a millisecond, half a millisecond after each input; on the
 * Pico a tick waits for the page program that holds the processor (0.7 ms here), all ticks after it come so much
 * later, and what was due at one may then be due at the next. The end of a note is known to a period (1.25 ms).
 * 2 are the cue's: it knows the crank's speed to one count in the 80 ms of its window, which moves "the target comes"
 * (2.4 s ahead) by 30 counts, 3.8 ms at the 8,000 counts a second of these scripts; half of that is seldom passed. */
const APART_MS = 5;

const at = (name) => new URL(name, import.meta.url);

/** What the desktop did, as `play` returns it. */
function kept(name) {
  const changes = { red: [], yellow: [], green: [], stop: [], tone: [] };
  const looks = [];
  for (const line of readFileSync(at(`traces/${name}.txt`), 'utf8').trim().split('\n')) {
    const [ms, what, value, ...state] = line.trim().split(/\s+/);
    if (what === 'look') looks.push({ name: value, state: Object.fromEntries(state.map((pair) => pair.split('='))) });
    else changes[what].push({ ms: Number(ms), value: Number(value) });
  }
  return { changes, looks };
}

for (const file of readdirSync(at('scripts/')).sort()) {
  const name = file.replace('.txt', '');
  test(`two boards, one counter: ${name}`, (t) => {
    const desk = kept(name);
    const pico = play(readFileSync(at(`scripts/${file}`), 'utf8'));
    assert.deepEqual(pico.looks.map((look) => look.name), desk.looks.map((look) => look.name));
    pico.looks.forEach((look, index) => {
      for (const [key, value] of Object.entries(desk.looks[index].state)) {
        assert.equal(String(look.state[key]), value, `${key} at ${look.name}`);
      }
      const picture = readFileSync(at(`pictures/${name}/${look.name}.pbm`), 'utf8');
      assert.ok(look.picture === picture, `not the picture ${look.name}:\n${look.picture}`);
    });
    let [worst, compared] = [0, 0];
    for (const [what, sequence] of Object.entries(desk.changes)) {
      // At the very end one board may be a change ahead of the other.
      const whole = (changes) => changes.filter(({ ms }) => ms < pico.endMs - APART_MS);
      const [expected, seen] = [sequence, pico.changes[what]].map(whole);
      const show = (changes) => changes.map(({ ms, value }) => `${ms.toFixed(1)} ${value}`).join(', ');
      assert.deepEqual(seen.map(({ value }) => value), expected.map(({ value }) => value), `${what}\n${show(seen)}\n${show(expected)}`);
      seen.forEach(({ ms }, index) => {
        const apart = Math.abs(ms - expected[index].ms);
        assert.ok(apart < APART_MS, `${what} at ${ms} ms instead of ${expected[index].ms} ms`);
        [worst, compared] = [Math.max(worst, apart), compared + 1];
      });
    }
    t.diagnostic(`${pico.looks.length} pictures and states equal, ${compared} changes at most ${worst.toFixed(2)} ms apart`);
  });
}
