// The tester proves the counter: two emulated Picos, the counter's ELF unchanged.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { Joined } from './joined.mjs';

/** The longest short test, in milliseconds of the tester's time. */
const LIMIT = 60_000;

test('a good counter passes every check', (t) => {
  const boards = new Joined();
  const checks = boards.test('short', LIMIT);
  for (const { name, passed, measured } of checks) t.diagnostic(`${passed ? 'pass' : 'FAIL'} ${name}: ${measured}`);
  t.diagnostic(`${(boards.tester.ms / 1e3).toFixed(1)} s of the tester's time`);
  assert.deepEqual(checks.filter(({ passed }) => !passed), []);
  assert.equal(boards.lines[0], 'turntally-tester\t1\tshort');
  assert.equal(boards.lines.at(-1), `end\t${checks.length}\t0`);
  assert.ok(checks.length >= 25, `${checks.length} checks`);
  assert.deepEqual([...boards.tester.complaints, ...boards.counter.complaints], [], 'complaints of the emulator');
});

const FAULTS = [
  ['the serial line open', { open: ['serial'] }, 'no answer'],
  ['encoder A open', { open: ['encoderA'] }, 'encoder A (pin 5): no edge arrives'],
  ['encoder A and B swapped', { swapped: ['encoderA', 'encoderB'] }, 'encoder A (pin 5) and encoder B (pin 4) swapped'],
  ['both keys swapped', { swapped: ['yes', 'no'] }, 'key Yes (pin 11) and key No (pin 12) swapped'],
  ['lamp red at 3.3 V', { high: ['red'] }, 'lamp red (pin 14) stays high'],
  ['key Yes open', { open: ['yes'] }, 'key Yes (pin 11) stays low: open'],
  ['slow edges of B', { slow: { encoderB: 30 } }, 'encoder B (pin 4): edges too slow'],
];

for (const [what, solder, words] of FAULTS) {
  test(`${what}: it is named`, () => {
    const checks = new Joined(solder).test('short', LIMIT);
    const failed = checks.filter(({ passed }) => !passed);
    assert.equal(failed.length, 1, JSON.stringify(checks, null, 1));
    assert.ok(failed[0].measured.includes(words), failed[0].measured);
  });
}
