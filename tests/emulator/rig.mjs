// A Raspberry Pi Pico with the counter's parts around it, on a simulated clock.
//
// Fidelity: instruction times are approximate, and so are the waits for the flash (xip.mjs); contacts do not bounce by
// themselves. It proves logic, not the timing of silicon.
import { existsSync, readFileSync } from 'node:fs';
import { bootRom, serve } from './bootrom.mjs';
import { Ear } from './ear.mjs';
import { readElf } from './elf.mjs';
import { attachI2c } from './i2c.mjs';
import { replaceUart } from './pl011.mjs';
import { Screen } from './oled.mjs';
import { resetUsb, tameUsb } from './usb.mjs';
import { XipCache } from './xip.mjs';

const LOCKED = '1.4.1';

async function emulator() {
  const manifest = new URL('node_modules/rp2040js/package.json', import.meta.url);
  const hint = `rp2040js ${LOCKED} is needed: run npm ci in tests/emulator first`;
  if (!existsSync(manifest)) throw new Error(hint);
  const { version } = JSON.parse(readFileSync(manifest));
  if (version !== LOCKED) throw new Error(`${hint} (this is ${version})`);
  return import('rp2040js');
}
const { RP2040 } = await emulator();

/** The board's pins, as firmware/src/bin/pico/pins.rs has them. */
export const PIN = { encoderA: 3, encoderB: 2, knobA: 6, knobB: 7, yes: 8, no: 9, red: 10, yellow: 11, green: 12, stop: 13, sounder: 14 };

/** What the emulator lacks and the firmware touches without needing an answer. */
const HARMLESS = new RegExp([
  // The tester's report: its FIFO is polled, so that its interrupt level has no effect.
  '^UART1: Unimplemented peripheral write to 0x34: ',
  '^(ROSC_BASE|VREG_AND_CHIP_RESET_BASE): ', '^IO_BANK0_BASE: Unimplemented peripheral (read from|write to) 0x160',
  // USB's driver clears all registers at its start.
  '^USB: Unimplemented peripheral write to 0x[0-9a-f]+: 0x0$'].join('|'));

/** The screen's bus and USB in the reset controller. */
const [RESET_I2C0, RESET_USB] = [1 << 3, 1 << 24];
const FLASH = 0x10000000;
const RAM = 0x20000000;
/** What a power-on leaves where nothing was written yet: a stack that grew is seen by it. */
const UNTOUCHED = 0xa5;
const HARD_FAULT = 3;
/** In a pin's pad register. */
const PULL_UP_ENABLED = 1 << 3;

export class Rig {
  screen = new Screen();
  ear = new Ear();
  /** Everything sent over the serial line. */
  serial = '';
  /** Changes of output pins: { pin, level, nanos }. */
  changes = [];
  levels = new Map();
  flashTimes = { eraseMs: 45, programMs: 0.7 };
  flashLog = [];
  /** The number that the flash part bears. */
  flashId = [0xe6, 0x61, 0x40, 0x00, 0x12, 0x34, 0x56, 0x78];
  /** Called before bytes from this offset on are programmed, or set by an erase. */
  flashChanging = () => {};
  /** Bits that an erase of the sector at this offset does not set any more. */
  wornBits = () => 0;
  /** What went wrong in the emulated chip, by message. */
  complaints = new Map();
  /** Resets that the chip asked for. */
  resets = 0;
  /** A broken instruction is a processor fault, as on the chip; otherwise it ends the test. */
  faultsWanted = false;
  /** Nothing moves on the screen's bus. */
  busStuck = false;
  busyCycles = 0;
  idleNs = 0;
  /** Stands before the flash. */
  cache = new XipCache();
  #driven = new Map();
  #outside = new Set();
  #halted = 0;
  /** Cycles that the present instruction has waited for the flash. */
  #waited = 0;

  /** `patch` maps symbols to words that replace what the ELF has there. */
  constructor(elfPath, { patch = {}, flash, watchdogReason, scratch } = {}) {
    this.elf = readElf(elfPath);
    this.patch = patch;
    this.#start({ flash, watchdogReason, scratch });
  }

  #start({ flash, ram, watchdogReason = 0, scratch }) {
    const chip = this.clock ? new RP2040(this.clock) : new RP2040();
    Object.assign(this, { chip, clock: chip.clock });
    const note = (name, message) => this.complain(`${name}: ${message}`);
    chip.logger = { debug() {}, info() {}, warn: note, error: note };
    // XIP_CTRL is missing and would read as all ones: the flash driver would wait for ever.
    chip.peripherals[0x14000] = { readUint32: (offset) => (offset === 0x08 ? 0b011 : 0), writeUint32() {}, writeUint32Atomic() {} };
    this.#numberFlash(chip.peripherals[0x18000]);
    chip.loadBootrom(bootRom()); // this also erases the flash
    this.#straightToMemory(chip);
    this.#throughCache(chip);
    if (flash) chip.flash.set(flash);
    for (const { address, bytes } of this.elf.segments) chip.flash.set(bytes, address - FLASH);
    for (const [symbol, word] of Object.entries(this.patch)) {
      chip.flashView.setUint32(this.symbol(symbol) - FLASH, word, true);
    }
    if (ram) chip.sram.set(ram);
    else chip.sram.fill(UNTOUCHED, ...this.#stack);
    chip.onBreak = (number) => {
      if (chip.core.PC < 0x4000) serve(this, number);
      else this.#broken(number);
    };
    this.#clockPios(chip);
    this.#fireOnTheMicrosecond(chip.peripherals[0x40054]);
    tameUsb(chip, this.clock);
    this.feed = replaceUart(chip, chip.uart[0], this.clock, (byte) => {
      this.serial += String.fromCharCode(byte);
      this.heard?.(byte);
    });
    const resetBus = attachI2c(chip.i2c[0], this.clock, this.screen, { stuck: () => this.busStuck });
    // The emulator's reset controller resets nothing; the firmware relies on it for a stuck bus.
    const resets = chip.peripherals[0x4000c];
    const write = resets.writeUint32.bind(resets);
    resets.writeUint32 = (offset, value) => {
      write(offset, value);
      if (offset === 0 && value & RESET_I2C0) resetBus();
      if (offset === 0 && value & RESET_USB) resetUsb(chip);
    };
    const watchdog = chip.peripherals[0x40058];
    watchdog.reason = watchdogReason;
    if (scratch) watchdog.scratchData.set(scratch);
    watchdog.onWatchdogTrigger = () => {
      this.resetWanted = watchdog.reason;
      watchdog.alarm.enable = false; // or it would come again at once, for ever
    };
    for (const pin of Object.values(PIN)) chip.gpio[pin].addListener((state) => this.#changed(pin, state));
    for (const [pin, level] of this.#driven) chip.gpio[pin].setInputValue(level);
    this.nsPerCycle = 1e9 / chip.clkSys;
    chip.addClockListener((hertz) => { this.nsPerCycle = 1e9 / hertz; });
    // What the mask ROM does: the first 256 bytes of flash go to the end of RAM and are run there.
    chip.sram.set(chip.flash.subarray(0, 256), 0x41f00);
    Object.assign(chip.core, { SP: 0x20041f00, LR: 0, PC: 0x20041f00, VTOR: 0 });
    // A handler's address has bit 0 set, for Thumb. On the chip PC does not take it; the emulator's did, and whatever was
    // reckoned from PC in a handler was off by one.
    const { core } = chip;
    const enter = core.exceptionEntry.bind(core);
    core.exceptionEntry = (number) => {
      enter(number);
      core.PC &= ~1;
    };
  }

  /** The flash tells its number: four bytes of nothing, then the number (data sheets of usual parts, from memory). */
  #numberFlash(ssi) {
    const [read, write] = [ssi.readUint32.bind(ssi), ssi.writeUint32.bind(ssi)];
    const [DATA, READ_NUMBER] = [0x60, 0x4b];
    let answer = [];
    ssi.writeUint32 = (offset, value) => {
      if (offset === DATA && (value & 255) === READ_NUMBER) answer = [0, 0, 0, 0, ...this.flashId];
      else write(offset, value);
    };
    ssi.readUint32 = (offset) => (offset === DATA && answer.length > 0 ? answer.shift() : read(offset));
  }

  #broken(number) {
    const { core } = this.chip;
    core.PC -= 2; // a fault's frame has the instruction itself
    if (!this.faultsWanted) throw new Error(`trap ${number} at 0x${core.PC.toString(16)}`);
    this.fault();
  }

  /** The processor cannot do the instruction that it is at. */
  fault() {
    this.chip.core.waiting = false;
    this.chip.core.exceptionEntry(HARD_FAULT);
  }

  /** Offsets in RAM between which the stack may grow. */
  get #stack() {
    return [this.symbol('__euninit') - RAM, this.symbol('_stack_start') - RAM];
  }

  /** The most bytes that the stack has taken since the power was switched on, and RAM used in all. */
  get ramUsed() {
    const [start, end] = this.#stack;
    let lowest = start;
    while (lowest < end && this.chip.sram[lowest] === UNTOUCHED) lowest++;
    return { stack: end - lowest, all: start + end - lowest };
  }

  /** Most words go to RAM, and the emulator looks for a peripheral first: a fifth of its time. */
  #straightToMemory(chip) {
    const { sramView } = chip;
    const last = chip.sram.length - 4;
    const [read, write] = [chip.readUint32.bind(chip), chip.writeUint32.bind(chip)];
    chip.readUint32 = (address) => {
      const offset = (address >>> 0) - RAM;
      return offset >= 0 && offset <= last && (offset & 3) === 0 ? sramView.getUint32(offset, true) : read(address);
    };
    chip.writeUint32 = (address, value) => {
      const offset = (address >>> 0) - RAM;
      if (offset >= 0 && offset <= last && (offset & 3) === 0) sramView.setUint32(offset, value, true);
      else write(address, value);
    };
  }

  /** The processor waits for what its reads of the flash, of instructions too, do not find in the cache. */
  #throughCache(chip) {
    const { cache, chip: { flashView, sramView } } = this;
    cache.flush();
    const [read8, read16, read32] = ['readUint8', 'readUint16', 'readUint32'].map((name) => chip[name].bind(chip));
    chip.readUint8 = (address) => {
      if (address >>> 24 === FLASH >>> 24) this.#waited += cache.read(address - FLASH);
      return read8(address);
    };
    // Instructions above all: straight from where they lie, which takes back the time that the cache costs.
    const lastInRam = chip.sram.length - 2;
    chip.readUint16 = (address) => {
      if (address >>> 24 === FLASH >>> 24) {
        this.#waited += cache.read(address - FLASH);
        return flashView.getUint16(address - FLASH, true);
      }
      const offset = (address >>> 0) - RAM;
      return offset >= 0 && offset <= lastInRam ? sramView.getUint16(offset, true) : read16(address);
    };
    chip.readUint32 = (address) => {
      if (address >>> 24 === FLASH >>> 24) this.#waited += cache.read(address - FLASH);
      return read32(address);
    };
  }

  /** The emulator steps state machines on the host's timer; here they go by the simulated clock. */
  #clockPios(chip) {
    for (const pio of chip.pio) {
      pio.run = () => {};
      const write = pio.writeUint32.bind(pio);
      const alarms = pio.machines.map((machine) => {
        const alarm = this.clock.createAlarm(() => {
          const before = machine.cycles;
          machine.step();
          pio.checkChangedPins();
          const cycles = Math.max(1, machine.cycles - before);
          alarm.schedule(cycles * ((machine.clockDivInt || 65536) + machine.clockDivFrac / 256) * this.nsPerCycle);
        });
        return alarm;
      });
      const running = pio.machines.map(() => false);
      pio.writeUint32 = (offset, value) => {
        write(offset, value);
        // An instruction that the processor has a stopped machine execute moves pins at once.
        pio.checkChangedPins();
        pio.machines.forEach((machine, number) => {
          if (machine.enabled === running[number]) return;
          running[number] = machine.enabled;
          if (machine.enabled) alarms[number].schedule(0);
          else alarms[number].cancel();
        });
      };
    }
  }

  /** The emulator cuts what is left of a microsecond: its alarms come before the timer shows their time. */
  #fireOnTheMicrosecond(timer) {
    const write = timer.writeUint32.bind(timer);
    timer.writeUint32 = (offset, value) => {
      write(offset, value);
      const alarm = timer.alarms[(offset - 0x10) / 4];
      if (!alarm?.armed) return;
      const shown = Math.floor(this.clock.nanos / 1e3);
      const micros = (value - shown) >>> 0;
      alarm.clockAlarm.schedule(micros === 0 ? 0 : (shown + micros) * 1e3 - this.clock.nanos);
    };
  }

  #changed(pin, state) {
    const level = Number(state === 1);
    if (this.levels.get(pin) === level) return;
    this.levels.set(pin, level);
    if (pin === PIN.sounder) this.ear.hear(level, this.clock.nanos);
    else this.changes.push({ pin, level, nanos: this.clock.nanos });
  }

  complain(message) {
    if (HARMLESS.test(message)) return;
    if (this.complaints.size > 100) throw new Error('more than a hundred kinds of complaint');
    this.complaints.set(message, (this.complaints.get(message) ?? 0) + 1);
  }

  symbol(name) {
    const address = this.elf.symbols.get(name);
    if (address === undefined) throw new Error(`the ELF file has no symbol ${name}`);
    return address;
  }

  /** The one function whose mangled name has this in it. */
  function(part) {
    const found = [...this.elf.symbols].filter(([name]) => name.includes(part));
    if (found.length !== 1) throw new Error(`the ELF file has ${found.length} symbols with ${part}`);
    return found[0][1];
  }

  ram8(address) { return this.chip.sram[address - RAM]; }

  /** An alarm of something outside the chip: it outlives a reset. */
  outside(run) {
    const alarm = this.clock.createAlarm(run);
    this.#outside.add(alarm);
    return alarm;
  }

  drive(pin, level) {
    this.#driven.set(pin, Boolean(level));
    this.chip.gpio[pin].setInputValue(Boolean(level));
  }

  /** Nothing is connected to this pin: it goes where its pull takes it, and without one it picks up whatever there is. */
  isPulledUp(pin) { return (this.chip.gpio[pin].padValue & PULL_UP_ENABLED) !== 0; }

  get ms() { return this.clock.nanos / 1e6; }

  /** Halts the processor for so long; all the rest of the chip runs on. */
  halt(nanos) { this.#halted += nanos; }

  /** The chip starts again: with its RAM after a reset, without after a power cut. */
  restart({ keepRam, watchdogReason = 0 }) {
    const { sram, flash } = this.chip;
    // A reset leaves the watchdog's scratch registers alone, a power cut does not.
    const scratch = keepRam ? this.chip.peripherals[0x40058].scratchData.slice() : undefined;
    // Alarms of the old chip go; those of the world outside stay.
    const stay = [];
    for (let alarm = this.clock.nextAlarm; alarm; alarm = alarm.next) if (this.#outside.has(alarm)) stay.push(alarm);
    this.clock.nextAlarm = null;
    this.resetWanted = undefined;
    this.#halted = 0;
    for (const pin of Object.values(PIN)) this.#changed(pin, 0); // pins float; the pull-downs win
    this.#start({ flash: flash.slice(), ram: keepRam ? sram.slice() : undefined, watchdogReason, scratch });
    for (const alarm of stay) this.clock.linkAlarm(alarm.nanos - this.clock.nanos, alarm);
  }

  /** Runs for so many milliseconds of simulated time. `probe`, if set, sees the cycles of each instruction. */
  run(ms) {
    const { clock } = this;
    const end = clock.nanos + ms * 1e6;
    while (clock.nanos < end) {
      const { core } = this.chip;
      if (this.#halted > 0) {
        const step = Math.min(this.#halted, end - clock.nanos);
        this.#halted -= step;
        clock.tick(step);
      } else if (core.waiting) {
        const next = Math.max(clock.nanos, Math.min(end, clock.nextAlarm?.nanos ?? end));
        this.idleNs += next - clock.nanos;
        clock.tick(next - clock.nanos);
      } else {
        this.#waited = 0;
        const cycles = core.executeInstruction() + this.#waited;
        this.busyCycles += cycles;
        if (this.probe) this.probe(cycles);
        const now = clock.nanosCounter + cycles * this.nsPerCycle;
        // A tick that meets no alarm only moves the hand.
        if (clock.nextAlarm && clock.nextAlarm.nanos <= now) clock.tick(now - clock.nanosCounter);
        else clock.nanosCounter = now;
      }
      if (this.resetWanted !== undefined) {
        this.resets++;
        this.restart({ keepRam: true, watchdogReason: this.resetWanted });
      }
    }
  }

  /** Runs until `done()`, looking every `step` milliseconds; fails with `what` after `limit`. */
  until(done, what, limit = 5_000, step = 1) {
    const end = this.ms + limit;
    while (!done()) {
      if (this.ms >= end) throw new Error(`${what}: not within ${limit} ms`);
      this.run(step);
    }
  }
}
