// The sounder as it is heard: PulseAudio plays what the window plays into a pipe, at the pace of a real device, and
// this listens at its other end. (The monitor of a null sink is no such ear: it may give what was rendered before the
// window began to play.) Needs Debian's pulseaudio, pulseaudio-utils and libasound2-plugins besides what the window
// needs.
import assert from 'node:assert/strict';
import { execFileSync, spawn } from 'node:child_process';
import { createReadStream } from 'node:fs';
import { mkdir, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { test } from 'node:test';
import { setTimeout as sleep } from 'node:timers/promises';
import { Bench, env, home, running } from './bench.mjs';

/** Samples a second. */
const RATE = 48_000;
/** For so long it is heard which note there is, milliseconds. */
const WIDTH_MS = 10;
/** The notes of the sounder, hertz (firmware/src/panel.rs). */
const [RATTLE, LOW, HIGH, BEAT, TONE] = [600, 800, 1_300, 1_500, 2_000];
/** As loud as this it is a note: a tenth of the loudest that the window plays. */
const HEARD = 0.005 * 32_767;

/** What the sound device is given. */
class Ear {
    blocks = [];

    async listens() {
        const runtime = join(home, 'sound');
        await mkdir(runtime, { mode: 0o700 });
        await writeFile(join(home, '.asoundrc'), 'pcm.!default { type pulse }\nctl.!default { type pulse }\n');
        Object.assign(env, { XDG_RUNTIME_DIR: runtime, PULSE_RUNTIME_PATH: runtime });
        const start = (program, ...args) => running.add(spawn(program, args, { env, stdio: 'ignore' }));
        const pipe = join(home, 'ear');
        start('pulseaudio', '-n', '--daemonize=no', '--exit-idle-time=-1', '--use-pid-file=no', '-L',
            `module-pipe-sink file=${pipe} format=s16le rate=${RATE} channels=1 use_system_clock_for_timing=yes`,
            '-L', 'module-native-protocol-unix');
        for (let tries = 100; ; tries--) {
            try {
                execFileSync('pactl', ['info'], { env, stdio: 'ignore' });
                break;
            } catch (error) {
                if (tries === 0) throw error;
                await sleep(100);
            }
        }
        createReadStream(pipe).on('data', (block) => this.blocks.push(block));
    }

    /** What was heard: notes, 0 for silence, and how long each was, milliseconds. */
    heard() {
        const bytes = Buffer.concat(this.blocks);
        const samples = new Int16Array(bytes.buffer, bytes.byteOffset, bytes.length >> 1);
        const width = (RATE * WIDTH_MS) / 1_000;
        const heard = [];
        for (let at = 0; at + width <= samples.length; at += width) {
            const part = (hertz) => {
                let [re, im] = [0, 0];
                for (let index = 0; index < width; index++) {
                    const turn = (2 * Math.PI * hertz * index) / RATE;
                    re += samples[at + index] * Math.cos(turn);
                    im += samples[at + index] * Math.sin(turn);
                }
                return (2 * Math.hypot(re, im)) / width;
            };
            const parts = [RATTLE, LOW, HIGH, BEAT, TONE].map((hertz) => ({ hertz, loud: part(hertz) }));
            const loudest = parts.reduce((one, other) => (other.loud > one.loud ? other : one));
            const note = loudest.loud > HEARD ? loudest.hertz : 0;
            if (heard.at(-1)?.note === note) heard.at(-1).ms += WIDTH_MS;
            else heard.push({ note, ms: WIDTH_MS });
        }
        return heard;
    }
}

test('the beats, the tone and the two notes of a coil wound too far are heard', { timeout: 120_000 }, async () => {
    const ear = new Ear();
    await ear.listens();
    const bench = new Bench('demo');
    await bench.opens();
    await bench.begins();
    // The demo job's coil wants 55.83 turns: past it, and on.
    for (let clicks = 1; clicks <= 6; clicks++) bench.click('+10');
    await bench.until('the end', () => bench.counted > 59.9);
    await sleep(1_500);
    await bench.closes();
    const heard = ear.heard();
    console.log(`heard: ${heard.map(({ note, ms }) => `${note} Hz ${ms} ms`).join(', ')}`);
    const notes = heard.filter(({ note }) => note).map(({ note }) => note);
    const tone = notes.indexOf(TONE);
    const beats = notes.slice(0, tone);
    assert.ok(beats.length >= 4 && beats.every((note) => note === BEAT), `before the tone: ${beats}`);
    // The beats quicken.
    const rests = heard.slice(1, 2 * beats.length).filter(({ note }) => note === 0).map(({ ms }) => ms);
    assert.ok(rests.at(-1) < 0.7 * Math.max(...rests), `between the beats: ${rests} ms`);
    const toned = heard.filter(({ note }) => note === TONE).reduce((sum, { ms }) => sum + ms, 0);
    assert.ok(toned >= 200, `a tone of ${toned} ms is a beat`);
    // A machine that is busy may break a note in two.
    const far = notes.slice(tone).filter((note, index, all) => note !== all[index - 1]).slice(1);
    assert.ok(far.length >= 4, `past the target: ${far}`);
    far.forEach((note, index) => assert.equal(note, index % 2 === 0 ? HIGH : LOW, `past the target: ${far}`));
    assert.equal(heard.at(-1).note, 0, 'a crank at rest needs no sound');
});
