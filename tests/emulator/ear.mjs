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
}
