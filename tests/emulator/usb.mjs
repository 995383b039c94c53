// USB: the chip's controller as it answers the tokens of a computer, and that computer. The emulator's own
// controller answers before it is asked, and knows neither toggles nor a device that is not ready; only its
// registers are used here. How they and the buffers work: data sheet of the RP2040, 4.1; what goes over the bus:
// "USB 2.0 Specification", chapters 8 and 9, and CDC 1.2 (all from memory).

const [BUS_RESET, SETUP_REC, RESUME, SUSPENDED] = [1 << 19, 1 << 17, 1 << 11, 1 << 4];
const PULL_UP = 1 << 16;
const ENABLED = 1 << 31;
const [FULL, DATA1, STALL, AVAILABLE, LENGTH] = [1 << 15, 1 << 13, 1 << 11, 1 << 10, 0x3ff];
const EP0_BUFFER = 0x100;
const PACKET = 64;
const RESET_MS = 10;

const [SIE_STATUS, MUXING, PHY_DIRECT, PHY_OVERRIDE] = [0x50, 0x74, 0x7c, 0x80];
const CONNECTED = 1 << 16;
/** The state of the bus: both lines low, as in a reset; idle; neither, as in a packet. */
const [SE0, IDLE, OTHER] = [0, 1, 2];
const [TO_PHY, TO_DIGITAL_PAD, SOFTCON] = [1 << 0, 1 << 2, 1 << 3];
const [DP_PULL_UP, DP_PULL_UP_OVERRIDE] = [1 << 1, 1 << 2];
/** How long the bus must be idle after a reset before the controller takes part (erratum RP2040-E5). */
const IDLE_NS = 800e3;

/** The bus as the controller sees it, and whether it takes part in it. */
class Line {
  /** A hub passes on packets for other devices all the time. */
  busy = false;
  /** How often the controller was shown an idle bus in place of the real one, and for how long at last. */
  shown = 0;
  shownNs = 0;
  #reset = false;
  #forced = false;
  #connected = true;
  /** Since when the controller has seen the bus idle. */
  #idleSince = null;
  #registers = { [MUXING]: TO_PHY | SOFTCON, [PHY_DIRECT]: 0, [PHY_OVERRIDE]: 0 };

  constructor(chip, clock) { Object.assign(this, { chip, clock }); }

  get state() {
    if (this.#forced) return IDLE;
    if (this.#reset) return SE0;
    return this.busy ? OTHER : IDLE;
  }

  get connected() {
    // Revision B2 does not wait.
    const waits = this.chip.readUint32(0x40000000) >>> 28 === 1 || this.erratum;
    if (this.#reset && !this.#forced) return false;
    if (!waits || (this.#idleSince !== null && this.clock.nanos - this.#idleSince >= IDLE_NS)) this.#connected = true;
    return this.#connected;
  }

  /** An idle bus is shown in place of the real one. */
  get isShown() { return this.#forced; }

  /** Whether it hears what is on the real bus. */
  get hears() { return this.connected && !this.#forced; }

  reset(on) {
    this.#reset = on;
    if (on) this.#connected = false;
    this.#look();
  }

  #look() {
    void this.connected;
    if (this.state !== IDLE) this.#idleSince = null;
    else this.#idleSince ??= this.clock.nanos;
  }

  read(offset) { return this.#registers[offset]; }

  write(offset, value) {
    void this.connected;
    const before = this.#forced;
    this.#registers[offset] = value;
    const seen = (this.chip.usbCtrl.sieCtrl & PULL_UP) !== 0;
    const away = (this.#registers[MUXING] & TO_PHY) === 0;
    const { ctrl } = this.chip.gpio[15];
    // Function 8, output off, input high; D- is low unless its pin has the function as well.
    const high = (ctrl & 0x1f) === 8 && ((ctrl >> 12) & 3) === 2 && ((ctrl >> 16) & 3) === 3 && (this.chip.gpio[16].ctrl & 0x1f) !== 8;
    this.#forced = seen && away && (this.#registers[MUXING] & TO_DIGITAL_PAD) !== 0;
    if (seen && away && !(this.#registers[PHY_OVERRIDE] & DP_PULL_UP_OVERRIDE && this.#registers[PHY_DIRECT] & DP_PULL_UP)) {
      throw new Error('the pull-up goes: to the computer the device is unplugged');
    }
    if (this.#forced && !high) throw new Error('the digital pads do not show an idle bus');
    if (this.#forced && !before) {
      this.#idleSince = null;
      this.shown++;
      this.shownSince = this.clock.nanos;
    }
    if (!this.#forced && before) {
      this.shownNs = this.clock.nanos - this.shownSince;
      this.#idleSince = null;
    }
    this.#look();
  }
}

/** Lets the emulator's controller do nothing by itself, and the firmware end a suspension. */
export function tameUsb(chip, clock) {
  const usb = chip.usbCtrl;
  usb.DPRAMUpdated = () => {};
  usb.line = new Line(chip, clock);
  const [read, write] = [usb.readUint32.bind(usb), usb.writeUint32.bind(usb)];
  usb.readUint32 = (offset) => {
    if ([MUXING, PHY_DIRECT, PHY_OVERRIDE].includes(offset)) return usb.line.read(offset);
    if (offset !== SIE_STATUS) return read(offset);
    return (read(offset) & ~(CONNECTED | (3 << 2))) | (usb.line.connected ? CONNECTED : 0) | (usb.line.state << 2);
  };
  usb.writeUint32 = (offset, value) => {
    if ([MUXING, PHY_DIRECT, PHY_OVERRIDE].includes(offset)) return usb.line.write(offset, value);
    if (offset === SIE_STATUS) usb.sieStatus &= ~(usb.rawWriteValue & SUSPENDED);
    write(offset, value);
  };
  usb.hung = false;
  usb.resets = 0;
}

/** What the chip's reset controller does to the USB controller: its registers are those of power-on, its memory is left
 * alone, and a hang (erratum RP2040-E15) is over. */
export function resetUsb(chip) {
  const usb = chip.usbCtrl;
  Object.assign(usb, { addrEndp: 0, mainCtrl: 0, sieCtrl: 0, sieStatus: 0, buffStatus: 0, intRaw: 0, intEnable: 0, epStallArm: 0 });
  usb.hung = false;
  usb.resets += 1;
  usb.checkInterrupts();
}

/** A token to a controller, and what it answers: 'ack', 'nak', 'stall', what it sends, or nothing. */
class Token {
  constructor(chip, address, endpoint, out) {
    Object.assign(this, { chip, usb: chip.usbCtrl, memory: chip.usbDPRAMView, endpoint, out });
    const control = endpoint === 0 ? ENABLED | EP0_BUFFER : this.memory.getUint32(8 * endpoint + (out ? 4 : 0), true);
    this.heard = !this.usb.hung && this.usb.line.hears && (this.usb.addrEndp & 0x7f) === address && (control & ENABLED) !== 0;
    this.place = control & 0xffc0;
    this.at = 0x80 + 8 * endpoint + (out ? 4 : 0);
    this.buffer = this.memory.getUint32(this.at, true);
  }

  /** What is answered without data. */
  get refusal() {
    if (!this.heard) return 'nothing';
    const armed = this.endpoint > 0 || this.usb.epStallArm & (this.out ? 2 : 1);
    if (this.buffer & STALL && armed) return 'stall';
    return this.buffer & AVAILABLE ? undefined : 'nak';
  }

  done(buffer) {
    this.memory.setUint32(this.at, buffer, true);
    this.usb.indicateBufferReady(this.endpoint, this.out);
  }

  in() {
    if (this.refusal) return this.refusal;
    const bytes = this.chip.usbDPRAM.slice(this.place, this.place + (this.buffer & LENGTH));
    this.done(this.buffer & ~(AVAILABLE | FULL));
    return { bytes, toggle: Number((this.buffer & DATA1) !== 0) };
  }

  send(bytes, toggle) {
    if (this.refusal) return this.refusal;
    if (bytes.length > (this.buffer & LENGTH)) throw new Error(`${bytes.length} bytes for a buffer of ${this.buffer & LENGTH}`);
    // A packet that was sent twice is acknowledged and not taken.
    if (Number((this.buffer & DATA1) !== 0) !== toggle) return 'ack';
    this.chip.usbDPRAM.set(bytes, this.place);
    this.done((this.buffer & ~(AVAILABLE | LENGTH)) | FULL | bytes.length);
    return 'ack';
  }
}

/** A request of the device, and the eight bytes that it is sent as. */
const setup = (kind, request, value, index, length) => {
  const bytes = new Uint8Array(8);
  const view = new DataView(bytes.buffer);
  bytes.set([kind, request]);
  [value, index, length].forEach((word, place) => view.setUint16(2 + 2 * place, word, true));
  return bytes;
};

/** A computer on the counter's USB port. */
export class Computer {
  address = 0;
  /** The device's descriptors, as it sent them. */
  descriptors = {};
  /** Bytes that are to be sent. */
  #queue = [];
  #toggles = { in: 0, out: 0 };
  #open = false;
  /** Frames are on the bus. */
  #awake = false;
  /** Takes what is received. */
  take = () => {};

  /** `busy`: other devices hang on the same hub, and there are always packets for them. */
  constructor(counter, { busy = false } = {}) {
    this.counter = counter;
    this.busy = busy;
    this.resetEnds = counter.outside(() => this.#line.reset(false));
    this.frame = counter.outside(() => this.#poll());
    this.starts = counter.outside(() => this.#startFrame());
    this.starts.schedule(1e6);
  }

  /** Each millisecond a frame starts, and the controller keeps its number. */
  #startFrame() {
    this.starts.schedule(1e6);
    if (this.#awake && !this.#usb.hung) this.#usb.sofFrameNumber = (this.#usb.sofFrameNumber + 1) & 0x7ff;
  }

  /** The device shows itself on the bus. */
  get sees() { return (this.#usb.sieCtrl & PULL_UP) !== 0; }

  /** How often the chip has reset its controller. */
  get controllerResets() { return this.#usb.resets; }

  /** The controller stops answering, as a bus error can make it. */
  hang() { this.#usb.hung = true; }

  get #usb() { return this.counter.chip.usbCtrl; }

  get #line() { return this.#usb.line; }

  /** How often the controller was shown an idle bus in place of the real one, and how long at last, milliseconds. */
  get shown() { return { times: this.#line.shown, ms: this.#line.shownNs / 1e6 }; }

  #status(bit) {
    if (this.#usb.hung) return;
    this.#usb.sieStatus |= bit;
    this.#usb.sieStatusUpdated();
  }

  /** The plug goes in: the device is found and set up. */
  plug() {
    this.counter.until(() => this.sees, 'the pull-up that shows a device', 200);
    this.reset();
    const short = this.get(0x80, 6, 0x0100, 0, 8);
    this.reset();
    this.set(0x00, 5, 7, 0);
    this.counter.run(2);
    this.address = 7;
    this.descriptors.device = this.get(0x80, 6, 0x0100, 0, 18);
    const head = this.get(0x80, 6, 0x0200, 0, 9);
    this.descriptors.configuration = this.get(0x80, 6, 0x0200, 0, head[2] + 256 * head[3]);
    if (!this.descriptors.device.every((byte, place) => place >= 8 || byte === short[place])) throw new Error('two descriptors');
    this.configure(1);
    return this;
  }

  reset() {
    this.signalReset();
    // After 10 ms a device is left alone for as long ("USB 2.0 Specification", 7.1.7.5).
    this.counter.run(RESET_MS + 10);
    this.#awake = true;
  }

  /** The bus is reset from now on. */
  signalReset() {
    this.address = 0;
    this.#open = false;
    this.#awake = false;
    if (!this.#usb.hung) this.#usb.addrEndp &= ~0x7f;
    this.#line.busy = this.busy;
    this.#line.reset(true);
    this.resetEnds.schedule(RESET_MS * 1e6);
    this.#status(BUS_RESET);
  }

  configure(value) {
    this.set(0x00, 9, value, 0);
    this.#toggles = { in: 0, out: 0 };
  }

  /** A program opens the port, and from then on takes what comes. */
  open() {
    this.set(0x21, 0x20, 0, 0, Uint8Array.of(0x00, 0xc2, 0x01, 0x00, 0, 0, 8));
    this.set(0x21, 0x22, 3, 0);
    this.#open = true;
    this.frame.schedule(0);
    return this;
  }

  /** The program ends: nobody takes what comes, and what is to be sent is not. */
  close() {
    this.#queue = [];
    this.#open = false;
    this.set(0x21, 0x22, 0, 0);
  }

  /** The plug goes in, and a program opens the port. */
  again() { return this.plug().open(); }

  /** The port's endpoints are stalled no longer, and so begin anew. */
  unhalt() {
    for (const endpoint of [0x01, 0x81]) this.set(0x02, 1, 0, endpoint);
    this.#toggles = { in: 0, out: 0 };
  }

  /** Asks for a descriptor and does not wait for it. */
  abandon() { this.#begin(setup(0x80, 6, 0x0100, 0, 18)); }

  /** The steps of a request, each `() => what came`: what the computer may do with it, and give it up between. */
  steps([kind, request, value, index, length, bytes]) {
    const what = `request ${kind}, ${request}`;
    const begin = () => this.#begin(setup(kind, request, value, index, length));
    const send = (data) => () => { this.#patiently(what, () => this.#token(0, true).send(data, 1)); };
    const take = () => {
      const answer = this.#patiently(what, () => this.#token(0, false).in());
      if (answer.toggle !== 1) throw new Error(`${what}: toggle`);
      return answer.bytes;
    };
    if (kind & 0x80) return [begin, take, send([])];
    return bytes ? [begin, send(bytes), take] : [begin, take];
  }

  /** Does a whole request; what came, or that it was refused. */
  perform(request) {
    let answer;
    try {
      for (const step of this.steps(request)) answer = step() ?? answer;
    } catch (error) {
      if (!/refused/.test(error.message)) throw error;
      answer = 'refused';
    }
    return answer;
  }

  /** The bus is still for so long, and then goes on. */
  sleep(ms) {
    const open = this.#open;
    this.#open = false;
    this.#awake = false;
    this.counter.run(3);
    this.#status(SUSPENDED);
    this.counter.run(ms);
    this.#status(RESUME);
    this.#awake = true;
    this.counter.run(20);
    this.#open = open;
    if (open) this.frame.schedule(0);
  }

  /** The plug is pulled: the bus is still, and after 3 ms that is a suspension. */
  pull() {
    this.#queue = [];
    this.#open = false;
    this.#awake = false;
    this.counter.run(3);
    this.#status(SUSPENDED);
  }

  /** Bytes that were not sent yet. */
  get waiting() { return this.#queue.length; }

  send(bytes) { this.#queue.push(...bytes); }

  #poll() {
    if (!this.#open) return;
    if (this.#queue.length > 0) {
      const bytes = Uint8Array.from(this.#queue.slice(0, PACKET));
      if (this.#token(1, true).send(bytes, this.#toggles.out) === 'ack') {
        this.#toggles.out ^= 1;
        this.#queue.splice(0, bytes.length);
      }
    }
    const answer = this.#token(1, false).in();
    if (answer.bytes) {
      if (answer.toggle !== this.#toggles.in) throw new Error('a packet with the toggle of the one before');
      this.#toggles.in ^= 1;
      this.take(answer.bytes);
    }
    this.frame.schedule(125e3);
  }

  #token(endpoint, out) { return new Token(this.counter.chip, this.address, endpoint, out); }

  /** Does what is not done yet again and again, for as long as a computer would. */
  #patiently(what, act) {
    for (const end = this.counter.ms + 500; ;) {
      const answer = act();
      if (answer === 'stall') throw new Error(`${what}: refused`);
      if (answer === 'ack' || answer.bytes) return answer;
      if (this.counter.ms >= end) throw new Error(`${what}: ${answer}`);
      this.counter.run(0.02);
    }
  }

  #begin(bytes) {
    const { chip } = this.counter;
    if (chip.usbCtrl.hung || !chip.usbCtrl.line.hears) throw new Error('it does not answer');
    if ((chip.usbCtrl.addrEndp & 0x7f) !== this.address) throw new Error('it listens to another address');
    chip.usbDPRAM.set(bytes);
    chip.usbCtrl.epStallArm = 0;
    this.#status(SETUP_REC);
    // The longest stretch in which the firmware takes no interrupt, 35 us, and some more.
    this.counter.run(0.04);
  }

  /** Asks the device for `length` bytes. */
  get(kind, request, value, index, length) {
    const what = `request ${kind}, ${request}`;
    this.#begin(setup(kind, request, value, index, length));
    const bytes = [];
    for (let toggle = 1; ; toggle ^= 1) {
      const answer = this.#patiently(what, () => this.#token(0, false).in());
      if (answer.toggle !== toggle) throw new Error(`${what}: toggle`);
      bytes.push(...answer.bytes);
      if (answer.bytes.length < PACKET || bytes.length >= length) break;
    }
    if (bytes.length > length) throw new Error(`${what}: ${bytes.length} bytes instead of ${length}`);
    this.#patiently(what, () => this.#token(0, true).send([], 1));
    return bytes;
  }

  /** Tells the device something. */
  set(kind, request, value, index, bytes = []) {
    const what = `request ${kind}, ${request}`;
    this.#begin(setup(kind, request, value, index, bytes.length));
    if (bytes.length > 0) this.#patiently(what, () => this.#token(0, true).send(bytes, 1));
    const answer = this.#patiently(what, () => this.#token(0, false).in());
    if (answer.bytes.length > 0 || answer.toggle !== 1) throw new Error(`${what}: it was not accepted`);
  }
}
