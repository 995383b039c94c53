// The file that a user copies onto the Pico holds the firmware, the whole of it and nothing else. Form and
// family: the UF2 specification and its list of families; the boot stage's checksum: RP2040 data sheet, 2.8.1
// (all from memory).
import assert from 'node:assert/strict';
import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { test } from 'node:test';
import { ELF, TARGET } from './counter.mjs';
import { readElf } from './elf.mjs';

const BLOCK = 512;
const FAMILY_PRESENT = 0x2000;
const RP2040 = 0xe48bff56;
const FLASH = 0x10000000;
/** What is above belongs to the records (firmware/pico.x): a new firmware leaves them alone. */
const PROGRAM_ROOM = 512 * 1024;

function blocks() {
  const path = join(TARGET, 'turntally-pico.uf2');
  if (!existsSync(path)) throw new Error(`${path} is missing: run .ci/uf2 first`);
  const file = readFileSync(path);
  assert.ok(file.length > 0 && file.length % BLOCK === 0, `${file.length} bytes are no whole blocks`);
  return Array.from({ length: file.length / BLOCK }, (_, number) => {
    const block = file.subarray(number * BLOCK, (number + 1) * BLOCK);
    const [first, second, flags, address, length, index, count, family] = Array.from({ length: 8 }, (_, word) => block.readUInt32LE(word * 4));
    return { first, second, flags, index, count, family, last: block.readUInt32LE(508), address, bytes: block.subarray(32, 32 + length) };
  });
}

/** Without reflection, from all ones. */
function crc32(bytes) {
  let crc = 0xffffffff;
  for (const byte of bytes) {
    crc ^= byte << 24;
    for (let bit = 0; bit < 8; bit++) crc = crc & 0x80000000 ? (crc << 1) ^ 0x04c11db7 : crc << 1;
  }
  return crc >>> 0;
}

test('every block of the UF2 file is whole, and for the RP2040', () => {
  const all = blocks();
  all.forEach((block, number) => {
    const { first, second, last, flags, index, count, family, address, bytes } = block;
    assert.deepEqual([first, second, last], [0x0a324655, 0x9e5d5157, 0x0ab16f30], `block ${number}`);
    assert.deepEqual([flags, family], [FAMILY_PRESENT, RP2040], `block ${number}`);
    assert.deepEqual([index, count, bytes.length], [number, all.length, 256], `block ${number}`);
    assert.equal(address % 256, 0, `block ${number}`);
  });
});

test('the UF2 file writes the firmware byte for byte, and nothing where records are kept', () => {
  const image = new Map();
  for (const { address, bytes } of blocks()) bytes.forEach((byte, at) => image.set(address + at, byte));
  for (const address of image.keys()) {
    assert.ok(address >= FLASH && address < FLASH + PROGRAM_ROOM, `it writes at 0x${address.toString(16)}`);
  }
  let compared = 0;
  for (const { address, bytes } of readElf(ELF).segments) {
    bytes.forEach((byte, at) => assert.equal(image.get(address + at), byte, `at 0x${(address + at).toString(16)}`));
    compared += bytes.length;
  }
  console.log(`${compared} bytes of firmware in ${blocks().length} blocks`);
});

test('the ROM will take the boot stage: its checksum is right', () => {
  const [{ address, bytes }] = blocks();
  assert.equal(address, FLASH);
  assert.equal(crc32(bytes.subarray(0, 252)), bytes.readUInt32LE(252));
});
