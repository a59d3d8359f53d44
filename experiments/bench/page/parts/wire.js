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

// A curve on evenly spaced places, read at as many others between the same ends or `stride` of its own steps apart: what
// is held beside has all its points, the curves under a moving hand have fewer.
export function spaced(values, count, stride = (values.length - 1) / (count - 1)) {
  if (values.length === count && Math.abs(stride - 1) < 1e-6) return values;
  return Array.from({ length: count }, (_, i) => {
    const at = i * stride, low = Math.min(Math.floor(at + 1e-6), values.length - 1), high = Math.min(low + 1, values.length - 1);
    return values[low] + Math.max(0, at - low) * (values[high] - values[low]);
  });
}
