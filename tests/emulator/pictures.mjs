// Pictures that were looked at once and are kept.
import assert from 'node:assert/strict';
import { existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';

const PICTURES = new URL('pictures/', import.meta.url);

/** Compares the screen with a picture that was looked at once; TURNTALLY_UPDATE=1 keeps a new one. */
export function expectPicture(counter, name) {
  const path = new URL(`${name}.pbm`, PICTURES);
  if (process.env.TURNTALLY_UPDATE === '1') {
    mkdirSync(PICTURES, { recursive: true });
    writeFileSync(path, counter.screen.pbm());
  }
  assert.ok(existsSync(path), `${path.pathname} is missing: TURNTALLY_UPDATE=1 makes it`);
  assert.ok(readFileSync(path, 'utf8') === counter.screen.pbm(), `not the picture ${name}:\n${counter.screen.text()}`);
}
