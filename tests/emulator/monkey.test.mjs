// Anything at all is done to the counter, and it never dies, hangs or tells a count that is not so.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { Counter } from './counter.mjs';
import { Monkey, Witness } from './monkey.mjs';

/** How long, in simulated minutes, and from which seed. */
const MINUTES = Number(process.env.TURNTALLY_MONKEY_MINUTES ?? 3);
const SEED = Number(process.env.TURNTALLY_MONKEY_SEED ?? 1);

test(`${MINUTES} minutes of keys and cranking at random`, (t) => {
  const counter = Counter.on();
  const [monkey, witness] = [new Monkey(counter, SEED), new Witness(counter)];
  const end = counter.ms + MINUTES * 60_000;
  const { pictures } = counter.screen;
  while (counter.ms < end) {
    monkey.act();
    counter.run(2);
    witness.look();
  }
  monkey.rest();
  counter.run(600);
  witness.look();
  const { position, counts, aim } = counter.state();
  assert.equal(position, counter.crank.made, 'at rest, to the last count');

  const phases = [...witness.phases].map(([phase, lines]) => `${phase} ${lines}`).join(', ');
  t.diagnostic(`seed ${SEED}: ${witness.lines} lines of state held against the crank: ${phases}`);
  t.diagnostic(`${witness.coils} coils begun, turned round ${witness.flips} times; ${witness.sure} lines sure to the last count`);
  t.diagnostic(`deepest stack ${counter.ramUsed.stack} bytes, RAM in all ${counter.ramUsed.all}`);
  assert.ok(counter.screen.pictures - pictures > 60 * MINUTES, 'the screen stood still');
  for (const phase of ['Ready', 'Winding', 'Verdict', 'Paused']) assert.ok(witness.phases.has(phase), `never in ${phase}`);
  assert.ok(witness.coils > MINUTES && witness.sure > witness.lines / 2, 'too little was counted: this test proves nothing');

  // And all that over again after a power cut.
  counter.restart({ keepRam: false });
  [counter.startedMs, counter.serial] = [counter.ms, ''];
  counter.until(() => counter.last !== undefined, 'the first line', 300);
  counter.run(300);
  const again = counter.state();
  t.diagnostic(`after a power cut: ${again.phase}, ${again.counts} counts, in doubt by ${again.doubt}; before ${counts}`);
  if (aim !== 0) assert.ok(again.doubt === 'unknown' || Math.abs(again.counts - counts) <= again.doubt);
  else assert.equal(again.counts, 0);
  counter.finish();
});
