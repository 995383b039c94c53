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

/** Lets the emulator's controller do nothing by itself, and the firmware end a suspension. */
export function tameUsb(chip) {
  const usb = chip.usbCtrl;
  usb.DPRAMUpdated = () => {};
  const write = usb.writeUint32.bind(usb);
  usb.writeUint32 = (offset, value) => {
    if (offset === 0x50) usb.sieStatus &= ~(usb.rawWriteValue & SUSPENDED);
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
    this.heard = !this.usb.hung && (this.usb.addrEndp & 0x7f) === address && (control & ENABLED) !== 0;
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

  constructor(counter) {
    this.counter = counter;
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
    this.counter.run(12);
    this.#awake = true;
  }

  /** The bus is reset from now on. */
  signalReset() {
    this.address = 0;
    this.#open = false;
    this.#awake = false;
    if (!this.#usb.hung) this.#usb.addrEndp &= ~0x7f;
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
    if (chip.usbCtrl.hung) throw new Error('it does not answer');
    if ((chip.usbCtrl.addrEndp & 0x7f) !== this.address) throw new Error('it listens to another address');
    chip.usbDPRAM.set(bytes);
    chip.usbCtrl.epStallArm = 0;
    this.#status(SETUP_REC);
    // The longest stretch in which the firmware takes no interrupt, 25 us, and some more.
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
