// Listens to a pin that carries sound.

export class Ear {
  /** Times of rising edges, nanoseconds. */
  rises = [];

  hear(level, nanos) {
    if (level) this.rises.push(nanos);
  }

  /** The first rising edge after `nanos`. */
  firstAfter(nanos) {
    return this.rises.find((at) => at > nanos);
  }

  /** The note of the last `span` nanoseconds: hertz, or null where it was not one steady note. */
  note(now, span = 20e6) {
    const heard = this.rises.filter((at) => at > now - span);
    if (heard.length < 4) return null;
    const gaps = heard.slice(1).map((at, i) => at - heard[i]);
    const mean = gaps.reduce((sum, gap) => sum + gap, 0) / gaps.length;
    return gaps.every((gap) => Math.abs(gap - mean) < mean / 50) ? 1e9 / mean : null;
  }

  /** Whether the last `span` nanoseconds were silent. */
  silent(now, span = 20e6) {
    return !this.rises.some((at) => at > now - span);
  }

  /** Every note and silence from the first note on: { nanos, period }, the period in whole microseconds and 0
   * for silence. A note is at least three even periods; it ends a period after its last rise. */
  notes() {
    const notes = [];
    const { rises } = this;
    const even = (index, gap) => Math.abs(rises[index + 1] - rises[index] - gap) < 1_000;
    for (let first = 0; first + 3 < rises.length;) {
      const gap = rises[first + 1] - rises[first];
      let last = first;
      while (last + 1 < rises.length && even(last, gap)) last += 1;
      if (last - first < 3) {
        // From one note to the next, or from the last rise of a note to the next after a silence.
        first += 1;
        continue;
      }
      const before = notes.at(-1);
      // The last rise of a note is the first of the next one where a period ended early.
      if (before && rises[first] - before.ends < 2 * gap) notes.pop();
      notes.push({ nanos: rises[first], period: Math.round(gap / 1e3) });
      notes.push({ nanos: rises[last] + gap, period: 0, ends: rises[last] + gap });
      first = last;
    }
    return notes;
  }
}
