// A boot ROM of our own: the emulator's package has none. It holds a table of functions, as the chip's
// does, each of which is a trap that the rig serves. Flash functions change the emulator's flash by the
// rules of a real one and halt the processor for as long as a real one would.

const FUNCTIONS = ['IF', 'EX', 'RE', 'RP', 'FC', 'CX', 'C4', 'MC', 'S4', 'MS', 'P3', 'R3', 'L3', 'T3', 'UB'];
const LOOKUP = 0xf0;
const TABLE = 0x100;
const LOOKUP_AT = 0x400;
const FUNCTIONS_AT = 0x500;
const BX_LR = 0x4770;

const code = (name) => name.charCodeAt(0) | (name.charCodeAt(1) << 8);

/** The ROM's words. */
export function bootRom() {
  const rom = new DataView(new ArrayBuffer(16384));
  const trap = (at, number) => {
    rom.setUint16(at, 0xde00 | number, true); // udf #number
    rom.setUint16(at + 2, BX_LR, true);
  };
  rom.setUint32(0, 0x20041f00, true);
  rom.setUint32(4, LOOKUP_AT | 1, true);
  rom.setUint32(0x10, 0x0301754d, true); // "Mu", 1, version 3
  rom.setUint16(0x14, TABLE, true);
  rom.setUint16(0x16, 0x300, true);
  rom.setUint16(0x18, LOOKUP_AT | 1, true);
  trap(LOOKUP_AT, LOOKUP);
  FUNCTIONS.forEach((name, number) => {
    rom.setUint16(TABLE + 4 * number, code(name), true);
    rom.setUint16(TABLE + 4 * number + 2, (FUNCTIONS_AT + 4 * number) | 1, true);
    trap(FUNCTIONS_AT + 4 * number, number);
  });
  return new Uint32Array(rom.buffer);
}

/** Serves trap `number` of the ROM for `rig`. */
export function serve(rig, number) {
  const { chip } = rig;
  const r = chip.core.registers;
  if (number === LOOKUP) {
    for (let at = r[0]; ; at += 4) {
      const found = chip.readUint16(at);
      if (found === 0) throw new Error(`ROM function ${String.fromCharCode(r[1] & 255, (r[1] >> 8) & 255)} is not there`);
      if (found === (r[1] & 0xffff)) {
        r[0] = chip.readUint16(at + 2);
        return;
      }
    }
  }
  const bytes = (count, each) => { for (let i = 0; i < count; i++) each(i); };
  switch (FUNCTIONS[number]) {
    case 'IF': case 'EX': case 'CX': break; // connecting and disconnecting the flash
    case 'FC': rig.cache.flush(); break;
    case 'RE': {
      const [from, length] = r;
      if (from % 4096 || length % 4096) throw new Error('an erase that is not whole sectors');
      rig.flashChanging(from, new Uint8Array(length).fill(0xff), true);
      chip.flash.fill(0xff & ~rig.wornBits(from), from, from + length);
      rig.halt((length / 4096) * rig.flashTimes.eraseMs * 1e6);
      rig.flashLog.push({ what: 'erase', from, length, ms: rig.ms });
      break;
    }
    case 'RP': {
      const [to, from, length] = r;
      if (to % 256 || length % 256) throw new Error('a program that is not whole pages');
      rig.flashChanging(to, Uint8Array.from({ length }, (_, i) => chip.readUint8(from + i)), false);
      bytes(length, (i) => {
        const [before, wanted] = [chip.flash[to + i], chip.readUint8(from + i)];
        // A page is filled up with bytes of ones, which leave what stands there as it is.
        if (wanted !== 0xff && wanted & ~before) rig.complain('flash: programming cannot set a bit that is 0');
        chip.flash[to + i] = before & wanted;
      });
      rig.halt((length / 256) * rig.flashTimes.programMs * 1e6);
      rig.flashLog.push({ what: 'program', from: to, length, ms: rig.ms });
      break;
    }
    case 'C4': case 'MC': { const [to, from, count] = r; bytes(count, (i) => chip.writeUint8(to + i, chip.readUint8(from + i))); break; }
    case 'S4': case 'MS': { const [to, value, count] = r; bytes(count, (i) => chip.writeUint8(to + i, value & 255)); break; }
    default: throw new Error(`ROM function ${FUNCTIONS[number]} is not emulated`);
  }
}
