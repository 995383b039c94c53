// The I2C bus with what hangs on it. The emulator's controller lacks the interrupt mask and the levels of
// "transmit FIFO empty" and "receive FIFO full", which a driver that sleeps until interrupted needs; they are added here.

const [DATA, MASK, RX_LEVEL, TX_LEVEL, ENABLE, SDA_HOLD] = [0x10, 0x30, 0x38, 0x3c, 0x6c, 0x7c];
const [RX_FULL, TX_EMPTY] = [1 << 2, 1 << 4];

/** The emulator's word for a read. */
const READING = 1;

/** Hangs `device` (address, present, start, byte, read) on controller `bus`; `stuck()` says that nothing moves.
 * Returns what resets the controller. */
export function attachI2c(bus, clock, device, { byteNs = 22_500, stuck = () => false } = {}) {
  let after = null;
  const alarm = clock.createAlarm(() => {
    const run = after;
    after = null;
    run?.();
  });
  const later = (run) => {
    after = run;
    if (!stuck()) alarm.schedule(byteNs);
  };
  const level = () => {
    const empty = (bus.enable & 1) !== 0 && bus.txFIFO.itemCount <= bus.txThreshold;
    const full = bus.rxFIFO.itemCount > bus.rxThreshold;
    bus.intRaw = (bus.intRaw & ~(RX_FULL | TX_EMPTY)) | (empty ? TX_EMPTY : 0) | (full ? RX_FULL : 0);
    bus.checkInterrupts();
  };
  const write = bus.writeUint32.bind(bus);
  bus.writeUint32 = (offset, value) => {
    if (offset === SDA_HOLD) return;
    if (offset === MASK) bus.intEnable = value & 0x1fff;
    else write(offset, value);
    if ([DATA, MASK, RX_LEVEL, TX_LEVEL, ENABLE].includes(offset)) level();
  };
  const next = bus.nextCommand.bind(bus);
  bus.nextCommand = () => {
    next();
    level();
  };
  bus.onStart = () => later(() => bus.completeStart());
  bus.onConnect = (address, mode) => later(() => {
    bus.completeConnect(device.present && address === device.address && device.start(mode === READING));
  });
  bus.onWriteByte = (byte) => later(() => {
    if (device.present) device.byte(byte);
    bus.completeWrite(device.present);
  });
  bus.onReadByte = () => later(() => bus.completeRead(device.present ? device.read() : 0xff));
  bus.onStop = () => later(() => bus.completeStop());
  /** What the chip's reset controller does to the bus controller. */
  return () => {
    alarm.cancel();
    after = null;
    bus.txFIFO.reset();
    bus.rxFIFO.reset();
    Object.assign(bus, { busy: false, stop: false, pendingRestart: false, state: 0, enable: 0, intRaw: 0, intEnable: 0, abortSource: 0 });
    bus.checkInterrupts();
  };
}
