// Winds a coil in a real window, compares the count, and prints how quickly the window comes and is drawn.
import assert from 'node:assert/strict';
import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { readFile } from 'node:fs/promises';
import { join } from 'node:path';
import { createInterface } from 'node:readline';
import { test } from 'node:test';
import { Bench, env, home, picture, places, program, running, xdo } from './bench.mjs';

// Turns are shown in hundredths, rounded up; a hand's step may be a count off.
const HUNDREDTH = 0.01;
const CLOSE = HUNDREDTH + 1.5 / 1600;

test('a coil is wound with a real mouse, and the count is right', { timeout: 300_000 }, async () => {
    const bench = new Bench('demo');
    await bench.opens();
    console.log(`real window: ${bench.lines.find((line) => line.startsWith('first frame'))}`);
    await bench.begins();

    // The handle goes round with the pointer, five times, in steps of a hundredth of a turn.
    const [x, y] = places.at.Crank;
    const round = [];
    for (let step = 0; step <= 500; step++) {
        const angle = (step / 100) * 2 * Math.PI;
        round.push('mousemove', Math.round(x + 60 * Math.sin(angle)), Math.round(y - 60 * Math.cos(angle)));
        if (step === 0) round.push('sleep', 0.1, 'mousedown', 1);
        round.push('sleep', 0.01);
    }
    xdo(...round, 'mouseup', 1);
    // A pixel of the rim is a 377th of a turn.
    await bench.until('five turns', () => Math.abs(bench.counted - 5) < 2 * HUNDREDTH);
    await new Promise((ready) => setTimeout(ready, 500));
    const dragged = bench.counted;
    assert.ok(Math.abs(dragged - 5) < 2 * HUNDREDTH, `${dragged} turns`);

    // The wheel winds on and back. (A notch of Xvfb's mouse comes twice: pressed and let go.)
    xdo('mousemove', x, y, 'click', 4, 'sleep', 0.1, 'click', 4);
    await bench.until('the wheel winds', () => bench.counted > dragged + 0.19);
    xdo('click', 5, 'sleep', 0.1, 'click', 5);
    await bench.until('the wheel winds back', () => Math.abs(bench.counted - dragged) < CLOSE);
    // An arrow key is a tenth of a turn.
    xdo('key', 'Right', 'sleep', 0.1, 'key', 'Up', 'sleep', 0.1, 'key', 'Left', 'sleep', 0.1, 'key', 'Up');
    await bench.until('the keys wind', () => Math.abs(bench.counted - dragged - 0.2) < CLOSE);

    // The demo job's coil wants 55.83 turns.
    for (let clicks = 1; clicks <= 5; clicks++) bench.click('+10');
    for (let clicks = 1; clicks <= 2; clicks++) bench.click('+1 turn');
    await bench.until('the clicks wind', () => Math.abs(bench.counted - dragged - 52.2) < CLOSE);
    assert.match(bench.says, /^(Stop now|Too far)/);
    xdo('key', 'Return');
    await bench.until('the coil is judged', () => bench.says.startsWith('Keep'));
    bench.click('Yes');
    await bench.until('the coil is kept', () => bench.says.startsWith('Coil kept'));
    bench.click('Saw');
    await picture('sawn');
    await bench.closes();
    console.log(`real window: ${bench.lines.at(-1)}`);
});

test('a counter on a serial port is followed until its cable is pulled', { timeout: 180_000 }, async () => {
    const counter = spawn(program, ['wind', 'demo', '--link', '--pace', '4'], { env, stdio: ['ignore', 'pipe', 'ignore'] });
    running.add(counter);
    const [line] = await once(createInterface({ input: counter.stdout }), 'line');
    const port = /^link: (.*)$/.exec(line)[1];
    const bench = new Bench('demo');
    await bench.opens();
    await bench.until('the choice', () => bench.says.startsWith('Choose the job'));
    bench.click('Follow a real counter…');
    // The field for the port has the keyboard.
    await new Promise((ready) => setTimeout(ready, 300));
    xdo('type', port);
    xdo('key', 'Return');
    await bench.until('the counter is followed', () => bench.says.startsWith('On the cable: '));
    await bench.until('it winds', () => bench.says.startsWith('On the cable: Winding') && bench.counted > 20);
    const before = bench.counted;
    await bench.until('it goes on', () => bench.counted > before + 2);
    await picture('live');
    counter.kill();
    running.delete(counter);
    await bench.until('the simulated bench is back', () => bench.says.startsWith('Choose the job'));
    await picture('gone');
    await bench.closes();
});

test('it remembers what it was left with', { timeout: 60_000 }, async () => {
    const kept = await readFile(join(home, 'turntally', 'app.ron'), 'utf8');
    assert.match(kept, /garden chain, second half/);
    const bench = new Bench();
    await bench.opens();
    await bench.closes();
});

test('without a display it says so in a line', { timeout: 60_000 }, async () => {
    const { DISPLAY, ...nowhere } = env;
    const child = spawn(program, ['bench'], { env: nowhere, stdio: ['ignore', 'pipe', 'pipe'] });
    let output = '';
    child.stderr.on('data', (text) => { output += text; });
    const [status] = await once(child, 'close');
    assert.equal(status, 2);
    assert.match(output, /^turntally: no window can be opened here \(.*\): turntally plan, wind and chart .*\n$/);
});
