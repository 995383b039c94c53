// Random keys and cranking: the counter never crashes, hangs or shows a wrong count as right. Two such files,
// so that two cores share the minutes. (.ci/campaign runs an hour of each.)
import { test } from 'node:test';
import { MINUTES, letLoose } from './monkey.mjs';

const SEED = Number(process.env.TURNTALLY_MONKEY_SEED ?? 1);

test(`${MINUTES} minutes of keys and cranking at random, from seed ${SEED}`, (t) => letLoose(t, SEED));
