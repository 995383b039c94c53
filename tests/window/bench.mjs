// The program in a real window under Xvfb, with a real mouse and keyboard. Needs target/debug/turntally built with
// its window, and Debian's xvfb and xdotool.
import { before, after } from 'node:test';
import assert from 'node:assert/strict';
import { spawn, execFileSync } from 'node:child_process';
import { once } from 'node:events';
import { mkdtemp, readFile, rm } from 'node:fs/promises';
import { createInterface } from 'node:readline';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

export const program = process.env.TURNTALLY ?? new URL('../../target/debug/turntally', import.meta.url).pathname;
// Where the controls are in a window of this size: sim/tests/window.rs holds them against their names.
export const places = JSON.parse(await readFile(new URL('../../sim/tests/window/places.json', import.meta.url)));

let screen;
/** Where it runs: to be changed by whoever wants something else around it, and its folder. */
export let env, home;
/** What is to be ended with the tests. */
export const running = new Set();

before(async () => {
    home = await mkdtemp(join(tmpdir(), 'turntally-'));
    // It picks a display that is free and says which.
    screen = spawn('Xvfb', ['-displayfd', '1', '-screen', '0', '1280x800x24', '-nolisten', 'tcp'],
        { stdio: ['ignore', 'pipe', 'ignore'] });
    const [display] = await once(createInterface({ input: screen.stdout }), 'line');
    env = { ...process.env, DISPLAY: `:${display}`, XDG_DATA_HOME: home, HOME: home };
    delete env.WAYLAND_DISPLAY;
});

after(async () => {
    for (const child of running) child.kill();
    screen?.kill();
    if (home) await rm(home, { recursive: true, force: true });
});

export const xdo = (...args) => execFileSync('xdotool', args.map(String), { env, encoding: 'utf8' }).trim();

/** What is on the screen, for whoever wants to look at it: into the folder TURNTALLY_PICTURES, by ImageMagick. */
export const picture = async (name) => {
    if (!process.env.TURNTALLY_PICTURES) return;
    // It is announced before it is painted.
    await new Promise((ready) => setTimeout(ready, 300));
    execFileSync('import', ['-window', 'root', join(process.env.TURNTALLY_PICTURES, `${name}.png`)], { env });
};

/** The window of the program, and what it has announced. */
export class Bench {
    constructor(...args) {
        this.lines = [];
        this.complaints = '';
        this.process = spawn(program, ['bench', '--watch', ...args], { env, stdio: ['ignore', 'pipe', 'pipe'] });
        running.add(this.process);
        this.ended = once(this.process, 'exit').finally(() => running.delete(this.process));
        createInterface({ input: this.process.stdout }).on('line', (line) => this.lines.push(line));
        this.process.stderr.on('data', (text) => { this.complaints += text; });
    }

    get says() { return this.lines.findLast((line) => line.includes('Counted')) ?? ''; }
    get counted() { return Number(/Counted (-?[\d.]+) turns/.exec(this.says)?.[1]); }

    async until(what, holds, ms = 60_000) {
        const deadline = Date.now() + ms;
        while (!holds()) {
            assert.ok(Date.now() < deadline && this.process.exitCode === null,
                `${what}, but the counter says: ${this.says} ${this.complaints}`);
            await new Promise((ready) => setTimeout(ready, 20));
        }
    }

    async opens() {
        await this.until('a first frame', () => this.lines.some((line) => line.startsWith('first frame')));
        this.window = xdo('search', '--pid', this.process.pid, '--onlyvisible', '--name', 'turntally').split('\n')[0];
        xdo('windowmove', this.window, 0, 0);
        // There is no window manager to give it the keyboard.
        xdo('windowfocus', '--sync', this.window);
    }

    /** From the choice of the job to a coil begun. */
    async begins() {
        await this.until('the choice', () => this.says.startsWith('Choose the job'));
        this.click('Yes');
        await this.until('the job is taken', () => this.says.startsWith('Catch the wire'));
        this.click('Yes');
        await this.until('the count begins', () => this.says.startsWith('Winding'));
    }

    click(name) {
        const [x, y] = places.at[name];
        xdo('mousemove', x, y, 'sleep', 0.05, 'mousedown', 1, 'sleep', 0.08, 'mouseup', 1, 'sleep', 0.05);
    }

    async closes() {
        xdo('key', 'ctrl+q');
        // Where a batch is not done it asks; the second time it closes.
        await Promise.race([this.ended, new Promise((later) => setTimeout(later, 700))]);
        if (this.process.exitCode === null) xdo('key', 'ctrl+q');
        const [status] = await this.ended;
        assert.deepEqual([status, this.complaints], [0, '']);
    }
}
