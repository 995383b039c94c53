// Reads what is needed of a 32-bit ELF file: the bytes that go to flash, and the symbols.
import { existsSync, readFileSync } from 'node:fs';

/** Loadable segments as { address, bytes } and symbols as a Map from name to address. */
export function readElf(path) {
  if (!existsSync(path)) throw new Error(`${path} is missing: run .ci/build-pico first`);
  const file = readFileSync(path);
  if (file.readUInt32BE(0) !== 0x7f454c46 || file[4] !== 1 || file[5] !== 1) {
    throw new Error(`${path} is no little-endian 32-bit ELF file`);
  }
  const segments = [];
  const [programs, programSize, programCount] = [file.readUInt32LE(28), file.readUInt16LE(42), file.readUInt16LE(44)];
  for (let at = programs; at < programs + programCount * programSize; at += programSize) {
    const [type, offset, , address, size] = [0, 4, 8, 12, 16].map((field) => file.readUInt32LE(at + field));
    if (type === 1 && size > 0) segments.push({ address, bytes: file.subarray(offset, offset + size) });
  }
  const symbols = new Map();
  const [sections, sectionSize, sectionCount] = [file.readUInt32LE(32), file.readUInt16LE(46), file.readUInt16LE(48)];
  for (let at = sections; at < sections + sectionCount * sectionSize; at += sectionSize) {
    if (file.readUInt32LE(at + 4) !== 2) continue; // only the symbol table
    const [offset, size, names] = [16, 20, 24].map((field) => file.readUInt32LE(at + field));
    const strings = file.readUInt32LE(sections + names * sectionSize + 16);
    for (let symbol = offset; symbol < offset + size; symbol += 16) {
      const start = strings + file.readUInt32LE(symbol);
      symbols.set(file.toString('latin1', start, file.indexOf(0, start)), file.readUInt32LE(symbol + 4));
    }
  }
  return { segments, symbols };
}
