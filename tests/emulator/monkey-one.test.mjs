// Anything at all is done to the counter, and it never dies, hangs or tells a count that is not so. Two such
// files, so that two cores can share the minutes.
import { test } from 'node:test';
import { MINUTES, letLoose } from './monkey.mjs';

const SEED = Number(process.env.TURNTALLY_MONKEY_SEED ?? 1);

test(`${MINUTES} minutes of keys and cranking at random, from seed ${SEED}`, (t) => letLoose(t, SEED));
