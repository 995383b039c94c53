// The screen, strict: it shows what a real one would show after the same bytes, and keeps a list of
// everything that it did not understand.

const ARGUMENTS = new Map([
  [0x20, 1], [0x21, 2], [0x22, 2], [0x81, 1], [0x8d, 1], [0xa8, 1], [0xd3, 1], [0xd5, 1], [0xd9, 1], [0xda, 1], [0xdb, 1],
]);
const PLAIN = new Set([0x2e, 0x40, 0xa0, 0xa1, 0xa4, 0xa6, 0xa7, 0xae, 0xaf, 0xc0, 0xc8]);

export class Screen {
  address = 0x3c;
  present = true;
  strange = [];
  /** Whole pictures received. */
  pictures = 0;

  constructor() {
    this.powerUp();
  }

  /** As it comes out of power-on: dark, its memory full of noise. */
  powerUp() {
    this.memory = Uint8Array.from({ length: 1024 }, (_, i) => (i * 197 + 91) & 255);
    Object.assign(this, { lit: false, pump: false, inverse: false, upright: [false, false], horizontal: false });
    Object.assign(this, { column: 0, page: 0, columns: [0, 127], pages: [0, 7], command: null, control: null });
  }

  unplug() {
    this.present = false;
  }

  plug() {
    this.present = true;
    this.powerUp();
  }

  start() {
    this.control = null;
    this.command = null;
  }

  byte(value) {
    if (this.control === null) {
      this.control = value;
      if (value !== 0x00 && value !== 0x40) this.strange.push(`control ${value}`);
    } else if (this.control === 0x40) this.#data(value);
    else this.#command(value);
  }

  #data(value) {
    if (!this.horizontal) this.strange.push('data before horizontal addressing');
    this.memory[this.page * 128 + this.column] = value;
    if (++this.column <= this.columns[1]) return;
    this.column = this.columns[0];
    if (++this.page <= this.pages[1]) return;
    this.page = this.pages[0];
    this.pictures++;
  }

  #command(value) {
    if (this.command === null) {
      if (!ARGUMENTS.has(value) && !PLAIN.has(value)) {
        this.strange.push(`command 0x${value.toString(16)}`);
        return;
      }
      this.command = [value];
    } else this.command.push(value);
    const [name, first, second] = this.command;
    if (this.command.length <= (ARGUMENTS.get(name) ?? 0)) return;
    this.command = null;
    switch (name) {
      case 0x20: this.horizontal = first === 0; break;
      case 0x21: this.columns = [first, second]; this.column = first; break;
      case 0x22: this.pages = [first, second]; this.page = first; break;
      case 0x8d: this.pump = (first & 4) !== 0; break;
      case 0xa0: case 0xa1: this.upright[0] = name === 0xa1; break;
      case 0xc0: case 0xc8: this.upright[1] = name === 0xc8; break;
      case 0xa6: case 0xa7: this.inverse = name === 0xa7; break;
      case 0xae: case 0xaf: this.lit = name === 0xaf; break;
      default: break; // contrast, timing and the like do not change the picture
    }
  }

  /** Whether a picture is to be seen at all, the right way up. */
  get shows() {
    return this.present && this.lit && this.pump && this.upright.every(Boolean);
  }

  pixel(x, y) {
    return this.shows && ((this.memory[(y >> 3) * 128 + x] >> (y & 7)) & 1) === Number(!this.inverse);
  }

  /** The picture as a plain PBM file. */
  pbm() {
    const rows = Array.from({ length: 64 }, (_, y) => Array.from({ length: 128 }, (_, x) => Number(this.pixel(x, y))).join(''));
    return `P1\n128 64\n${rows.map((row) => row.replace(/.{64}/g, '$&\n')).join('')}`;
  }

  /** The picture in half blocks, for a message. */
  text() {
    let text = '';
    for (let y = 0; y < 64; y += 2) {
      for (let x = 0; x < 128; x++) text += ' ▀▄█'[Number(this.pixel(x, y)) + 2 * Number(this.pixel(x, y + 1))];
      text += '\n';
    }
    return text;
  }
}
