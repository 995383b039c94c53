// The screen, strict: it shows what a real one would show after the same bytes, and keeps a list of
// everything that its controller does not know, and of what no firmware has a use for here.

/** Commands that take a byte more, and those that do not, by controller (data sheets, from memory). */
const COMMON = { one: [0x81, 0xa8, 0xd3, 0xd5, 0xd9, 0xda, 0xdb], plain: [0x40, 0xa0, 0xa1, 0xa4, 0xa6, 0xa7, 0xae, 0xaf, 0xc0, 0xc8, 0xe3] };
const CHIPS = {
  SSD1306: { columns: 128, first: 0, one: [0x20, 0x8d], plain: [0x2e] },
  /** An SSD1306 that does not acknowledge a read. */
  'SSD1306, write only': { columns: 128, first: 0, one: [0x20, 0x8d], plain: [0x2e], writeOnly: true },
  /** One whose memory can be read, as makers of modules describe some; its column numbers have seven bits. */
  'SSD1306, readable': { columns: 128, first: 0, one: [0x20, 0x8d], plain: [0x2e], readable: true, wraps: true },
  SH1106: { columns: 132, first: 2, one: [0xad], plain: [0x30, 0x31, 0x32, 0x33], readable: true },
};
export const KINDS = Object.keys(CHIPS);
export const ADDRESSES = [0x3c, 0x3d];
const PAGES = 8;

export class Screen {
  address = ADDRESSES[0];
  present = true;
  strange = [];
  /** Whole pictures received. */
  pictures = 0;
  /** How often it was read. */
  reads = 0;

  constructor(kind = 'SSD1306') {
    this.kind = kind;
    this.powerUp();
  }

  get #chip() { return CHIPS[this.kind]; }

  /** As it comes out of power-on: dark, its memory full of noise. */
  powerUp() {
    this.memory = Uint8Array.from({ length: PAGES * this.#chip.columns }, (_, i) => (i * 197 + 91) & 255);
    // The converter of an SH1106 is on from power-on.
    Object.assign(this, { lit: false, pump: this.kind === 'SH1106', inverse: false, upright: [false, false] });
    Object.assign(this, { column: 0, page: 0, command: null, control: null, readsData: false, dummy: true });
  }

  unplug() {
    this.present = false;
  }

  plug() {
    this.present = true;
    this.powerUp();
  }

  /** Another module in its place, fresh from power-on. */
  replace(kind, address) {
    Object.assign(this, { kind, address });
    this.plug();
  }

  /** A transfer to it begins; whether it acknowledges. */
  start(reading) {
    if (this.command) this.strange.push(`command 0x${this.command[0].toString(16)} without its value`);
    Object.assign(this, { control: null, command: null });
    return !reading || !this.#chip.writeOnly;
  }

  byte(value) {
    if (this.control === null) {
      this.control = value;
      this.readsData = (value & 0x40) !== 0;
      if (value & 0x3f) this.strange.push(`control ${value}`);
      return;
    }
    if (this.readsData) this.#data(value);
    else this.#command(value);
    // One byte only was announced.
    if (this.control & 0x80) this.control = null;
  }

  read() {
    this.reads++;
    if (!this.#chip.readable || !this.readsData) return this.lit ? 0x03 : 0x43;
    if (!this.dummy) return this.memory[this.#cell()];
    this.dummy = false;
    return 0xff;
  }

  /** The place in the memory that is written or read next. Behind the last column there is nothing. */
  #cell() {
    const { columns } = this.#chip;
    if (this.column >= columns) this.strange.push(`column ${this.column}`);
    return this.page * columns + this.column++;
  }

  #data(value) {
    this.memory[this.#cell()] = value;
    if (this.page === PAGES - 1 && this.column === this.#chip.first + 128) this.pictures++;
  }

  #place(column) {
    this.column = this.#chip.wraps ? column & 0x7f : column;
    this.dummy = true;
  }

  #command(value) {
    if (this.command === null) {
      if (value < 0x10) return this.#place((this.column & 0xf0) | value);
      if (value < 0x20) return this.#place((this.column & 0x0f) | ((value & 0x0f) << 4));
      if (value >= 0xb0 && value < 0xb0 + PAGES) return void (this.page = value & 0x0f);
      const known = (list) => COMMON[list].includes(value) || this.#chip[list].includes(value);
      if (known('one')) return void (this.command = [value]);
      if (!known('plain')) return void this.strange.push(`command 0x${value.toString(16)} to an ${this.kind}`);
      this.command = [value];
    } else this.command.push(value);
    const [name, argument] = this.command;
    this.command = null;
    const refuse = () => this.strange.push(`command 0x${name.toString(16)} 0x${argument.toString(16)}`);
    switch (name) {
      case 0x20: if (argument !== 2) refuse(); break; // page addressing
      case 0xa8: if (argument !== 0x3f) refuse(); break; // 64 rows
      case 0xda: if (argument !== 0x12) refuse(); break; // wired alternately
      case 0xd3: if (argument !== 0) refuse(); break;
      case 0x8d: this.pump = (argument & 4) !== 0; break;
      case 0xad: if (this.lit) refuse(); this.pump = (argument & 1) !== 0; break; // not while the display is on
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
    const { columns, first } = this.#chip;
    return this.shows && ((this.memory[(y >> 3) * columns + first + x] >> (y & 7)) & 1) === Number(!this.inverse);
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
