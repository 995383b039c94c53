// The serial port with nothing connected to it.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { Counter, TURN } from './counter.mjs';

/** The port's receive pin. */
const RECEIVE = 1;
/** What a pin that floats may pick up: as many bytes as the baud rate allows. */
const BYTES_A_SECOND = 11_000;

test('a receive pin with nothing connected to it hears nothing', (t) => {
  const counter = Counter.winding();
  let [heard, seed] = [0, 1];
  const floating = counter.outside(() => {
    if (!counter.isPulledUp(RECEIVE)) {
      seed = (seed * 1_103_515_245 + 12_345) & 0x7fffffff;
      counter.feed((seed >> 16) & 255);
      heard++;
    }
    floating.schedule(1e9 / BYTES_A_SECOND);
  });
  const busy = () => counter.busyCycles * counter.nsPerCycle;
  const measure = () => {
    const before = busy();
    counter.run(1_000);
    return (busy() - before) / 1e9;
  };
  const quiet = measure();
  floating.schedule(0);
  const open = measure();
  t.diagnostic(`${heard} bytes heard; the processor is busy for ${(100 * open).toFixed(1)} %, ${(100 * quiet).toFixed(1)} % with an adapter that is silent`);
  assert.equal(heard, 0);
  counter.wind(TURN, TURN);
  assert.equal(counter.state().counts, TURN);
  counter.finish();
});
