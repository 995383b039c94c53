// The serial port. The emulator's own lacks the FIFO interrupt levels, and raises the transmit interrupt
// for ever; this one does what the ARM PL011 manual says (from memory), as far as our driver asks.

const DEPTH = 32;
const LEVELS = [4, 8, 16, 24, 28];
const [RX, TX, TIMEOUT] = [1 << 4, 1 << 5, 1 << 6];

/** Replaces `uart` of `chip`; every byte sent goes to `sent`. Returns a function that receives a byte. */
export function replaceUart(chip, uart, clock, sent) {
  const registers = new Map([[0x30, 0x300], [0x34, 0x12]]);
  const get = (offset) => registers.get(offset) ?? 0;
  const [transmit, receive] = [[], []];
  let raw = 0;
  let sending = false;
  const interrupt = () => chip.setInterrupt(uart.irq, (raw & get(0x38)) !== 0);
  const bit = () => (16e9 * (get(0x24) + get(0x28) / 64)) / chip.clkPeri;
  const sendLevel = () => LEVELS[get(0x34) & 7] ?? 16;
  const shifter = clock.createAlarm(() => {
    const before = transmit.length;
    sent(transmit.shift());
    // The interrupt comes with the step down to the level, not with the level itself.
    if (before > sendLevel() && transmit.length <= sendLevel()) raw |= TX;
    if (transmit.length > 0) shifter.schedule(10 * bit());
    else sending = false;
    interrupt();
  });
  const quiet = clock.createAlarm(() => {
    if (receive.length > 0) raw |= TIMEOUT;
    interrupt();
  });
  uart.readUint32 = (offset) => {
    switch (offset) {
      case 0x00: {
        const byte = receive.shift() ?? 0;
        if (receive.length === 0) raw &= ~(RX | TIMEOUT);
        interrupt();
        return byte;
      }
      case 0x18:
        return (sending ? 1 << 3 : 0) | (receive.length === 0 ? 1 << 4 : 0) | (transmit.length >= DEPTH ? 1 << 5 : 0)
          | (receive.length >= DEPTH ? 1 << 6 : 0) | (transmit.length === 0 ? 1 << 7 : 0);
      case 0x3c: return raw;
      case 0x40: return raw & get(0x38);
      default: return get(offset);
    }
  };
  uart.writeUint32 = (offset, value) => {
    if (offset === 0x00) {
      if (transmit.length < DEPTH) transmit.push(value & 255);
      if (!sending) {
        sending = true;
        shifter.schedule(10 * bit());
      }
    } else if (offset === 0x44) {
      raw &= ~uart.rawWriteValue;
    } else {
      registers.set(offset, value);
    }
    interrupt();
  };
  return (byte) => {
    if (receive.length < DEPTH) receive.push(byte);
    if (receive.length >= (LEVELS[(get(0x34) >> 3) & 7] ?? 16)) raw |= RX;
    quiet.schedule(32 * bit());
    interrupt();
  };
}
