// The cache between the processor and its flash: 16 KiB in two ways, a hit in no extra cycle, lines of eight bytes (the
// RP2040's data sheet, "XIP Cache" and "Cache Flushing and Maintenance"). That the least recently used of two goes is
// from memory.
//
// A miss reads a line over four wires: 8 clocks for address and mode, 4 to wait, 16 for the data (the flash's "fast read
// quad I/O", data sheet, from memory), each of two cycles of the processor as the second boot stage sets them. With
// select and bus that makes 60 cycles; 50 (400 ns at 125 MHz) were measured by others (oberon-rtk.org, "Flash Memory").

const SETS = 1024;
const LINE_BITS = 3;
const MISS_CYCLES = 60;

export class XipCache {
  /** The line in each set's first and second way, or -1. */
  #first = new Int32Array(SETS).fill(-1);
  #second = new Int32Array(SETS).fill(-1);
  /** The line that was read last: most reads are of it. */
  #last = -1;
  misses = 0;

  /** Cycles that the processor waits for this byte of the flash. The first way has what was used last. */
  read(offset) {
    const line = offset >>> LINE_BITS;
    if (line === this.#last) return 0;
    this.#last = line;
    const set = line & (SETS - 1);
    const first = this.#first[set];
    if (first === line) return 0;
    const found = this.#second[set] === line;
    this.#second[set] = first;
    this.#first[set] = line;
    if (found) return 0;
    this.misses++;
    return MISS_CYCLES;
  }

  flush() {
    this.#first.fill(-1);
    this.#second.fill(-1);
    this.#last = -1;
  }
}
