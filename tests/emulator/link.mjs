// The computer's end of the link, small and on its own: what core/src/link.rs and core/src/link/frame.rs say, in
// other words. A program that shares their code could share their mistakes.
import { spawn, spawnSync } from 'node:child_process';
import { existsSync } from 'node:fs';
import { join } from 'node:path';
import { setImmediate } from 'node:timers/promises';
import { TARGET } from './counter.mjs';
import { Computer } from './usb.mjs';

/** CRC-32 as in Ethernet: ISO-HDLC. */
function crc32(bytes) {
  let crc = ~0;
  for (const byte of bytes) {
    crc ^= byte;
    for (let bit = 0; bit < 8; bit++) crc = (crc >>> 1) ^ (crc & 1 ? 0xedb88320 : 0);
  }
  return ~crc >>> 0;
}

const littleEndian = (word) => [0, 8, 16, 24].map((bits) => (word >>> bits) & 255);

/** A message with its tag as a frame: COBS between two zeros. */
export function frame(tag, message) {
  const body = [tag, ...message];
  const bytes = [...body, ...littleEndian(crc32(body))];
  const out = [0, 0];
  let count = 1;
  for (const byte of bytes) {
    if (byte === 0) {
      out[count] = out.length - count;
      count = out.length;
    }
    out.push(byte);
  }
  out[count] = out.length - count;
  return [...out, 0];
}

/** The message in what stands between two zeros; nothing if it is none. */
function open(block) {
  const bytes = [];
  for (let at = 0; at < block.length;) {
    const count = block[at];
    if (count === 0 || at + count > block.length) return undefined;
    bytes.push(...block.slice(at + 1, at + count));
    at += count;
    if (count < 255 && at < block.length) bytes.push(0);
  }
  const body = bytes.slice(0, -4);
  if (bytes.length < 5 || `${bytes.slice(-4)}` !== `${littleEndian(crc32(body))}`) return undefined;
  return { tag: body[0], message: body.slice(1) };
}

const varint = (value) => {
  const out = [];
  for (let left = BigInt(value); ; left >>= 7n) {
    if (left < 128n) return [...out, Number(left)];
    out.push(Number(left & 127n) | 128);
  }
};

/** The questions, as postcard writes them. */
export const ask = {
  identify: () => [0, ...varint(2)],
  readSettings: () => [1],
  writeSettings: (ticket, bytes) => [2, ...varint(ticket), 1, ...varint(bytes.length), ...bytes],
  answer: (ticket) => [4, ...varint(ticket)],
  status: () => [5],
  fetch: (from, count) => [6, ...varint(from), count],
  fetched: (next) => [7, ...varint(next)],
  setClock: (seconds) => [8, ...varint(seconds)],
  selfTest: () => [9],
  batch: (number) => [10, ...varint(number)],
  unknown: () => [99, 1, 2, 3],
};

/** Places in the row of the settings' numbers. */
export const PLACE = { cradle: 8, loudness: 16 };

/** Settings whose number at `place` of their row is another one (core/src/settings.rs). */
export function withNumber(settings, place, number) {
  const r = new Reader(settings);
  const metal = r.block();
  const numbers = Array.from({ length: r.unsigned() }, () => r.signed());
  numbers[place] = number;
  return [...varint(metal.length), ...metal, ...varint(numbers.length), ...numbers.flatMap((value) => varint(value < 0 ? -2 * value - 1 : 2 * value))];
}

const PHASES = ['Choose', 'SetUp', 'CountRings', 'Ready', 'Winding', 'Near', 'Stop', 'Over', 'Paused', 'Verdict', 'Next', 'Done', 'Fault', 'MeasureRing'];
const ANSWERS = ['Waiting', 'Agreed', 'Declined', 'None'];
const REFUSALS = ['Unknown', 'NoJob', 'OtherRule', 'OtherEncoder', 'Full', 'Busy', 'Store', 'NoSettings'];

/** Reads postcard. */
class Reader {
  constructor(bytes) { Object.assign(this, { bytes, at: 0 }); }

  byte() {
    if (this.at >= this.bytes.length) throw new Error('the message is too short');
    return this.bytes[this.at++];
  }

  big() {
    let value = 0n;
    for (let bits = 0n; ; bits += 7n) {
      const byte = this.byte();
      value |= BigInt(byte & 127) << bits;
      if (byte < 128) return value;
    }
  }

  unsigned() { return Number(this.big()); }

  signed() {
    const value = this.unsigned();
    return value % 2 === 0 ? value / 2 : -(value + 1) / 2;
  }

  flag() { return this.byte() === 1; }
  block() { return Array.from({ length: this.unsigned() }, () => this.byte()); }
  text() { return Buffer.from(this.block()).toString(); }
  option(read) { return this.byte() === 0 ? undefined : read(); }
}

/** What is written down of a coil (core/src/bench/log.rs). */
function readEntry(bytes) {
  const [form, ...rest] = bytes;
  const r = new Reader(rest.slice(4));
  if (form !== 2 || r.byte() !== 0) throw new Error('no coil of form 2');
  return {
    number: Buffer.from(rest).readUInt32LE(0), job: r.unsigned(), batch: r.unsigned(), rings: r.unsigned(), kept: r.flag(), wire: r.signed() / 1e6, name: r.text(),
    target: r.signed() / 1e9, turns: r.signed() / 1e9, crankMs: r.unsigned() / 1e3,
  };
}

function readReply(message) {
  const r = new Reader(message);
  const kind = r.unsigned();
  switch (kind) {
    case 0: return { kind: 'Identity', version: r.unsigned(), firmware: r.text(), id: r.big(), pulses: r.unsigned() };
    case 1: return { kind: 'Settings', form: r.byte(), bytes: r.block() };
    case 2: return { kind: 'Answer', answer: ANSWERS[r.unsigned()] };
    case 3: return {
      kind: 'Status', phase: PHASES[r.unsigned()], job: r.text(), wanted: r.unsigned(), made: r.unsigned(), kept: r.unsigned(),
      scrapped: r.unsigned(), counts: r.signed(), turns: r.signed() / 1e9, target: r.signed() / 1e9, rings: r.unsigned(),
      error_bound: r.unsigned() === 0 ? r.unsigned() : 'unknown', faults: r.byte(), speed: r.signed(), notice: r.flag(), left: r.unsigned(),
      wire: r.option(() => r.signed() / 1e6),
    };
    case 4: return { kind: 'Entry', from: r.unsigned(), number: r.unsigned(), ...readEntry(r.block()) };
    case 5: return { kind: 'End', next: r.unsigned(), more: r.flag() };
    case 6: return { kind: 'Done' };
    case 7: return {
      kind: 'Health', saving: r.flag(), dead: r.option(() => r.unsigned()), illegal: r.unsigned(), lost: r.flag(), upMs: r.unsigned(),
      clock: r.option(() => r.unsigned()),
    };
    case 8: return { kind: 'Refused', why: REFUSALS[r.unsigned()] };
    case 9: return {
      kind: 'Batch', made: r.option(() => ({ rings: r.unsigned(), kept: r.unsigned(), scrapped: r.unsigned(), finished: r.flag() })),
    };
    default: throw new Error(`no reply has the number ${kind}`);
  }
}

/** A serial cable to the counter's UART, 115,200 baud. */
export class SerialCable {
  #queue = [];
  #sending = false;
  take = () => {};

  constructor(counter) {
    this.counter = counter;
    this.bit = counter.outside(() => this.#next());
    counter.heard = (byte) => this.take([byte]);
  }

  send(bytes) {
    this.#queue.push(...bytes);
    if (!this.#sending) this.#next();
  }

  #next() {
    this.#sending = this.#queue.length > 0;
    if (!this.#sending) return;
    this.counter.feed(this.#queue.shift());
    this.bit.schedule(10e9 / 115_200);
  }

  /** Bytes that were not sent yet. */
  get waiting() { return this.#queue.length; }

  /** The plug is pulled: what was not sent yet never is. */
  pull() { this.#queue = []; }

  /** And goes in again. */
  again() {}
}

/** The cables that a counter can be on, plugged in: by name, of a counter. */
export const CABLES = {
  'the serial line': (counter) => new SerialCable(counter),
  USB: (counter) => new Computer(counter).again(),
};

/** Who asks over a cable, and reads the answers. */
export class Asker {
  /** Everything that was answered and not looked at yet: { tag, ...reply }. */
  replies = [];
  tag = 0;
  #block = [];

  constructor(counter, cable) {
    Object.assign(this, { counter, cable });
    cable.take = (bytes) => bytes.forEach((byte) => this.#take(byte));
  }

  #take(byte) {
    if (byte !== 0) {
      this.#block.push(byte);
      return;
    }
    const found = open(this.#block);
    this.#block = [];
    if (found) this.replies.push({ tag: found.tag, ...readReply(found.message) });
  }

  /** Forgets the piece of a frame that came before a cable was pulled. */
  forget() {
    this.#block = [];
    this.replies = [];
  }

  /** Sends a question and waits for nothing; the bytes of its frame. */
  begin(message) {
    this.tag = (this.tag + 1) & 255;
    const bytes = frame(this.tag, message);
    this.cable.send(bytes);
    return bytes;
  }

  /** The next answer to the last question. */
  next(limit = 600) {
    const ours = () => this.replies.findIndex(({ tag }) => tag === this.tag);
    this.counter.until(() => ours() >= 0, 'the answer', limit);
    const [{ tag, ...reply }] = this.replies.splice(ours(), 1);
    return reply;
  }

  ask(message, limit) {
    this.begin(message);
    return this.next(limit);
  }

  /** Entries from a number on, and the first number that was not looked for. */
  fetch(from, count = 64) {
    this.begin(ask.fetch(from, count));
    const entries = [];
    for (;;) {
      const reply = this.next();
      if (reply.kind === 'End') return { entries, ...reply };
      if (reply.kind !== 'Entry' || reply.from !== (entries.at(-1)?.number ?? from - 1) + 1) throw new Error(JSON.stringify(reply));
      entries.push(reply);
    }
  }
}

/** The desktop's program with the counter on a pseudo-terminal. */
export class Desktop {
  /** `cable` goes to the counter. */
  static async on(counter, cable) {
    const desktop = new Desktop();
    const path = join(TARGET, 'debug/examples/terminal');
    if (!existsSync(path)) throw new Error(`${path} is missing: cargo build -p turntally-tests --example terminal`);
    Object.assign(desktop, { counter, terminal: spawn(path) });
    cable.take = (bytes) => desktop.terminal.stdin.write(Uint8Array.from(bytes));
    desktop.terminal.stdout.on('data', (bytes) => cable.send(bytes));
    desktop.port = await new Promise((tell) => { desktop.terminal.stderr.once('data', (bytes) => tell(String(bytes).trim())); });
    return desktop;
  }

  /** Runs `turntally link` with these words, while the counter's time goes on and `meanwhile` is called now and then;
   * what it prints. */
  async link(words, meanwhile = () => {}) {
    const path = join(TARGET, 'debug/turntally');
    if (!existsSync(path)) throw new Error(`${path} is missing: cargo build -p turntally-sim`);
    const child = spawn(path, ['link', ...words, '--port', this.port]);
    let [out, error, status] = ['', ''];
    child.stdout.on('data', (text) => { out += text; });
    child.stderr.on('data', (text) => { error += text; });
    child.on('close', (code) => { status = code; });
    while (status === undefined) {
      this.counter.run(2);
      meanwhile(error);
      await setImmediate();
    }
    if (status !== 0) throw new Error(`turntally link ${words.join(' ')}: ${error}`);
    return out;
  }

  leave() { this.terminal.stdin.end(); }
}

/** What `turntally log` prints with these words. */
export function runLog(words) {
  const { status, stdout, stderr } = spawnSync(join(TARGET, 'debug/turntally'), ['log', ...words], { encoding: 'utf8' });
  if (status !== 0) throw new Error(`turntally log ${words.join(' ')}: ${stderr}`);
  return stdout;
}
