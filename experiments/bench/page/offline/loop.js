// The compiled loop: what it needs laid out in its memory once, then one call a run.
const PAGE_BYTES = 65536;

// The module that rounds a product and a sum once where the processor can, else the one that rounds twice.
export async function instance(once, twice) {
  const rounds = WebAssembly.validate(once);
  const module = await WebAssembly.compile(rounds ? once : twice);
  const maths = Object.fromEntries(WebAssembly.Module.imports(module).map(({ name }) => [name, name === "exp2" ? (x) => 2 ** x : Math[name]]));
  return { exports: (await WebAssembly.instantiate(module, { env: maths })).exports, rounds };
}

export class Loop {
  // head: { numbers, ticks, seed, ring_most, behind, signals, channels }; arterial: pressures, one more than ticks
  constructor(exports, head, arterial) {
    this.exports = exports; this.head = head;
    const { ticks, channels } = head;
    this.sizes = { done: 1, raised: 1, numbers: head.numbers.length, arterial_mmHg: ticks + 1, tone: ticks + 1, ambient: ticks + 1,
      mode: ticks, fill_mmHg: ticks, set_point: ticks, light_slope: ticks, pending: head.ring_most, trace: ticks * channels.length };
    this.at = {};
    let end = Math.ceil(exports.__heap_base.value / 16) * 16;
    for (const [name, size] of Object.entries(this.sizes)) { this.at[name] = end; end += 8 * size; }
    const short = Math.ceil((end - exports.memory.buffer.byteLength) / PAGE_BYTES);
    if (short > 0) exports.memory.grow(short);
    this.place("arterial_mmHg").set(arterial);
    for (const name of ["tone", "ambient"]) unroll(this.place(name), head.signals[name], (value) => value);
    unroll(new BigInt64Array(exports.memory.buffer, this.at.mode, ticks), head.signals.mode, BigInt);
    this.columns = Object.fromEntries(channels.map((name) => [name, new Float64Array(ticks)]));
  }

  place(name) { return new Float64Array(this.exports.memory.buffer, this.at[name], this.sizes[name]); }

  // values: the loop's numbers and, behind them, those that `head.behind` names. Returns { done, columns }.
  run(values) {
    const { ticks, channels, behind, numbers, seed } = this.head, count = numbers.length;
    const more = Object.fromEntries(behind.map((name, i) => [name, values[count + i]]));
    this.place("numbers").set(values.slice(0, count));
    this.place("pending").fill(0);
    for (const name of ["fill_mmHg", "set_point", "light_slope"]) this.place(name).fill(more[name]);
    const { done: _, raised, ...rest } = this.at;
    const places = [this.at.done, raised, ...Object.values(rest)];
    const status = this.exports.run(...places, BigInt(ticks), BigInt(seed), BigInt(more.ring), BigInt(channels.length));
    if (status !== 0) throw new Error(`the loop ended with status ${status}`);
    const done = Number(new BigInt64Array(this.exports.memory.buffer, this.at.done, 1)[0]);
    const trace = this.place("trace"), width = channels.length;
    channels.forEach((name, i) => { const column = this.columns[name]; for (let k = 0, j = i; k < done; k++, j += width) column[k] = trace[j]; });
    return { done, columns: this.columns };
  }
}

// [how many, value], one after the other, or a whole array.
export function unroll(target, runs, kind) {
  if (!Array.isArray(runs)) { target.set(runs); return target; }
  let at = 0;
  for (const [count, value] of runs) { target.fill(kind(value), at, at + count); at += count; }
  return target;
}
