// Plays the scripts of scripts/, as tests/src/script.rs and tests/src/desk.rs do on the desktop's board.
import { Counter } from './counter.mjs';

const [PRESS_MS, KEY_UP_MS, KNOB_STEP_MS, LOOK_MS] = [60, 60, 5, 300];

/** How far to crank: `by N`, or `to aim+N` from where the coil stands, which the serial line must have reported
 * since the crank came to rest at `restMs`. */
function counts(counter, way, goal, restMs) {
  if (way === 'by') return Number(goal);
  const state = counter.last;
  if (state.ms <= restMs) throw new Error(`"to ${goal}" wants a wait before it`);
  return state.aim + Number(goal.replace('aim', '') || 0) - state.counts;
}

/** Plays the script on a counter fresh from power-on. Returns what was seen and heard, in milliseconds
 * since the counter's first tick: changes of `red`, `yellow`, `green`, `stop` (0 or 1) and `tone` (its period
 * in microseconds, 0 for silence), and looks with picture and state. */
export function play(script) {
  const counter = new Counter();
  const part = counter.symbol('TURNTALLY_PART');
  counter.until(() => counter.ram8(part) === 1, 'the first tick', 300, 0.01);
  const zero = counter.clock.nanos;
  // Each input comes half-way between two ticks. The clock is the script's: no step depends on how
  // long the one before took to simulate.
  let at = 0.5;
  const run = (ms) => {
    at += ms;
    counter.run(zero / 1e6 + at - counter.ms);
  };
  run(0);
  const looks = [];
  let restMs = 0;
  for (const line of script.split('\n')) {
    const [act, ...words] = line.replace(/#.*/, '').trim().split(/\s+/);
    switch (act) {
      case '': break;
      case 'wait': run(Number(words[0])); break;
      case 'press': case 'hold': {
        const [key, ms = PRESS_MS] = words;
        counter.keys[key].down();
        run(Number(ms));
        counter.keys[key].up();
        run(KEY_UP_MS);
        break;
      }
      case 'crank': {
        const [way, goal, , rate] = words;
        const by = counts(counter, way, goal, restMs);
        counter.crank.turn(by, Number(rate));
        run(Math.ceil((Math.abs(by) * 1_000) / Number(rate)) + 1);
        restMs = counter.ms;
        break;
      }
      case 'knob': {
        const quarters = 4 * Number(words[0]);
        counter.knob.turn(quarters, 1_000 / KNOB_STEP_MS);
        run(Math.abs(quarters) * KNOB_STEP_MS + 1);
        break;
      }
      case 'screen': words[0] === 'on' ? counter.screen.plug() : counter.screen.unplug(); break;
      case 'wire': counter.crank.wired['ab'.indexOf(words[0])] = words[1] === 'on'; break;
      case 'look':
        run(LOOK_MS);
        looks.push({ name: words[0], ms: at, state: counter.last, picture: counter.screen.pbm() });
        break;
      default: throw new Error(`no act: ${line}`);
    }
  }
  counter.finish();
  const since = (nanos) => (nanos - zero) / 1e6;
  const changes = Object.fromEntries(['red', 'yellow', 'green', 'stop'].map((name) => [name, counter.pinChanges(name)
    .filter(({ nanos }) => nanos >= zero).map(({ nanos, level }) => ({ ms: since(nanos), value: level }))]));
  changes.tone = counter.ear.notes().map(({ nanos, period }) => ({ ms: since(nanos), value: period }));
  return { endMs: at, looks, changes };
}
