// The bench's page as a person uses it: winds a coil by clicks, compares the count, throws nothing away
// that was promised. Needs target/page (.ci/build-page) and chromium.
import { test, before, after } from 'node:test';
import assert from 'node:assert/strict';
import { createServer } from 'node:http';
import { readFile, readdir, mkdtemp, rm } from 'node:fs/promises';
import { gzipSync } from 'node:zlib';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import puppeteer from 'puppeteer-core';

const page_folder = new URL('../../target/page/', import.meta.url);
// Where the controls are in a window of this size: sim/tests/window.rs holds them against their names.
const places = JSON.parse(await readFile(new URL('../../sim/tests/window/places.json', import.meta.url)));
const types = { html: 'text/html', js: 'text/javascript', wasm: 'application/wasm' };

let server, browser, page, profile;
const complaints = [];

before(async () => {
    server = createServer(async (request, response) => {
        const name = request.url === '/' ? 'index.html' : request.url.slice(1).split('?')[0];
        try {
            if (!(await readdir(page_folder)).includes(name)) throw new Error(name);
            const body = await readFile(new URL(name, page_folder));
            response.writeHead(200, { 'content-type': types[name.split('.').pop()] ?? 'text/plain' });
            response.end(body);
        } catch {
            response.writeHead(404);
            response.end();
        }
    });
    await new Promise((ready) => server.listen(0, '127.0.0.1', ready));
    profile = await mkdtemp(join(tmpdir(), 'turntally-'));
    browser = await puppeteer.launch({
        executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium',
        userDataDir: profile,
        args: ['--no-sandbox', '--use-gl=angle', '--use-angle=swiftshader', '--enable-unsafe-swiftshader',
            '--force-color-profile=srgb', '--hide-scrollbars'],
        protocolTimeout: 120_000,
    });
    page = await browser.newPage();
    page.on('pageerror', (error) => complaints.push(String(error)));
    page.on('console', (line) => line.type() === 'error' && complaints.push(`${line.text()} ${line.location().url}`));
    const [width, height] = places.size;
    await page.setViewport({ width, height });
    await page.goto(`http://127.0.0.1:${server.address().port}/`);
    // The line below the canvas takes some of the height, and the picture of the coil grows with the rest.
    const taken = height - (await page.$eval('canvas', (canvas) => canvas.clientHeight));
    await page.setViewport({ width, height: height + taken });
});

after(async () => {
    await browser?.close();
    server?.close();
    if (profile) await rm(profile, { recursive: true, force: true });
});

// Turns are shown in hundredths, rounded up, and a click may be a count off.
const CLOSE = 0.01 + 1.5 / 1600;
const says = () => page.$eval('#says', (line) => line.textContent);
const counted = async () => Number(/Counted (-?[\d.]+) turns/.exec(await says())?.[1]);
const until = async (what, holds, ms = 60_000) => {
    const deadline = Date.now() + ms;
    while (!(await holds())) {
        assert.ok(Date.now() < deadline, `${what}, but the page says: ${await says()} ${complaints.join(' ')}`);
        await new Promise((ready) => setTimeout(ready, 100));
    }
};
const click = async (name) => {
    const [x, y] = places.at[name];
    await page.mouse.click(x, y, { delay: 60 });
    // A frame must see it.
    await new Promise((ready) => setTimeout(ready, 120));
};

test('the page is small', async () => {
    let bytes = 0;
    for (const name of await readdir(page_folder)) {
        bytes += gzipSync(await readFile(new URL(name, page_folder)), { level: 9 }).length;
    }
    console.log(`page, gzipped: ${(bytes / 1e6).toFixed(2)} MB`);
    assert.ok(bytes < 3e6, `${bytes} bytes`);
});

test('a coil is wound by clicks and the count is right', { timeout: 240_000 }, async () => {
    await until('it starts', async () => (await says()).startsWith('Choose the job'));
    await click('Yes');
    await until('the job is taken', async () => (await says()).startsWith('Catch the wire'));
    await click('Yes');
    await until('the count begins', async () => (await says()).startsWith('Winding'));
    for (let clicks = 1; clicks <= 5; clicks++) {
        await click('+10');
        await until(`${10 * clicks} turns`, async () => Math.abs((await counted()) - 10 * clicks) <= CLOSE);
    }
    await click('+1 turn');
    await click('−1 turn');
    // The demo job's coil wants 55.83 turns.
    for (let turns = 51; turns <= 57; turns++) {
        await click('+1 turn');
        await until(`${turns} turns`, async () => Math.abs((await counted()) - turns) <= CLOSE);
    }
    assert.match(await says(), /^(Stop now|Too far)/);
    await click('Yes');
    await until('the coil is judged', async () => (await says()).startsWith('Keep'));
    await click('Yes');
    await until('the coil is kept', async () => (await says()).startsWith('Coil kept'));
    await click('Saw');
    await new Promise((ready) => setTimeout(ready, 1_000));
    await page.screenshot({ path: new URL('../../target/page-wound.png', import.meta.url).pathname });
    assert.deepEqual(complaints, []);
});

test('the wheel winds too', { timeout: 120_000 }, async () => {
    await click('Yes');
    await click('Yes');
    await until('the next coil', async () => (await says()).startsWith('Winding'));
    const [x, y] = places.at.Crank;
    await page.mouse.move(x, y);
    const before = await counted();
    await page.mouse.wheel({ deltaY: -100 });
    await until('the wheel winds', async () => (await counted()) > before + 0.05);
    assert.deepEqual(complaints, []);
});
