// A message of the server: 4 bytes of length, a head in JSON, then curves of 32-bit floats.

export function unpack(buffer) {
  const length = new DataView(buffer).getUint32(0, true);
  const head = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, length)));
  const curves = {};
  let at = 4 + length;
  for (const [name, samples] of head.arrays) {
    curves[name] = new Float32Array(buffer, at, samples);
    at += 4 * samples;
  }
  return { head, curves };
}

// JSON has no infinities: the server writes them as words.
export function number(value) {
  if (value === "inf") return Infinity;
  if (value === "-inf") return -Infinity;
  return typeof value === "number" ? value : NaN;
}
