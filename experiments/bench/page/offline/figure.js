// The live figure: sliders, what they make of the margins (looked up) and of the clamp (run here), and curves.
import { Chart } from "../parts/chart.js";
import { fixed, make, signed } from "../parts/make.js";
import { errors } from "./errors.js";
import { Loop, unroll } from "./loop.js";
import { Sliders } from "./sliders.js";

export class Figure {
  constructor(host, head, curves, engine) {
    this.head = head; this.curves = curves; this.engine = engine;
    this.loop = new Loop(engine.exports, head, curves.arterial_mmHg);
    this.counted = unroll(new Uint8Array(head.ticks), head.counted, Number);
    this.unloaded = unroll(new Float64Array(head.ticks + 1), head.signals.unloaded_mmHg, Number);
    this.ideal = Float64Array.from(curves.arterial_mmHg.subarray(0, head.ticks), (value, k) => value - this.unloaded[k]);
    this.every = Math.ceil(head.ticks / 2500);
    this.time = Float64Array.from({ length: Math.ceil(head.ticks / this.every) }, (_, k) => k * this.every * head.period_s);
    this.build(host);
    this.draw();
  }

  build(host) {
    const { head } = this;
    host.append(make("p", { class: "caution", role: "note" }, `Caution. ${head.caution}`));
    const main = make("main");
    host.append(main);
    main.append(make("h1", {}, "Turn gain, dead time and set point: the clamp answers"),
      make("p", { class: "note" }, `Rig ${head.rig} on the beginning of the record ${head.record}. Everything runs in this page: no server, no network.`));
    this.sliders = new Sliders(main, head.axes, [...head.numbers, ...head.behind_values], () => this.soon());
    this.margins = make("p", { class: "answer", role: "status" });
    this.words = make("p", { class: "answer", role: "status" });
    main.append(this.margins, this.words);
    const strips = make("div", { class: "curves" });
    main.append(strips);
    const time = { label: "time (s)" };
    const shared = { sync: "live", onZoom: (low, high) => this.zoom([low, high]) };
    this.pressure = new Chart(strips, { ...shared, title: "Arterial, ideal and cuff pressure", y: "mmHg", x: { ...time, hide: true }, height: 210, series: [
      { name: "arterial pressure", colour: "grey", width: 1.2 }, { name: "what an ideal clamp reads", colour: "orange", dash: [6, 3], width: 1.5 },
      { name: "cuff pressure", colour: "blue", width: 1.7 }] });
    this.error = new Chart(strips, { ...shared, title: "Error, cuff less ideal", y: "mmHg", x: time, height: 130, series: [{ name: "error: cuff less ideal", colour: "violet", width: 1.5 }] });
    this.whole = make("button", { type: "button", disabled: true, onclick: () => this.zoom(null) }, "Whole run");
    main.append(make("p", { class: "bar" }, this.whole, make("span", { class: "note" }, "Drag across a curve to look closer.")));
    this.along = new Chart(main, { title: "Modulus margin over gain", y: "modulus margin", x: { label: `gain kp (${head.axes[0].unit})`, log: true }, height: 150, range: [0, 1],
      series: [{ name: "modulus margin at this dead time and set point; where there is no line, the loop is unstable", colour: "green", width: 1.7 }], draw: (plot, ink) => this.mark(plot, ink) });
    this.told = make("p", { class: "note" });
    main.append(make("details", {}, make("summary", {}, "How this is worked out"), ...head.about.map((line) => make("p", { class: "note" }, line)), this.told));
  }

  // One run a painted frame, whatever the hand does.
  soon() {
    if (this.asked) return;
    this.asked = requestAnimationFrame(() => { this.asked = 0; this.draw(); });
  }

  draw() {
    const begun = performance.now(), { head } = this;
    const { done, columns } = this.loop.run(this.sliders.numbers());
    const took = performance.now() - begun;
    this.showMargins();
    const cuff = columns.cuff_mmHg, part = (values) => Array.from(this.time, (_, k) => (k * this.every < done ? values[k * this.every] : null));
    const error = Array.from(this.time, (_, k) => { const at = k * this.every; return at < done && columns.mode[at] === head.clamp ? cuff[at] - this.ideal[at] : null; });
    this.pressure.show([this.time, part(this.curves.arterial_mmHg), part(this.ideal), part(cuff)]);
    this.error.show([this.time, error]);
    this.result = { done, took, cuff_mmHg: cuff, ...(done === head.ticks ? errors(cuff, this.ideal, columns.limited, this.counted, head.beats, head.period_s) : {}) };
    this.words.textContent = this.runWords(this.result);
    for (const chart of [this.pressure, this.error]) chart.say(this.words.textContent);
    this.told.textContent = `The last run of ${fixed(head.ticks * head.period_s, 1)} s took ${fixed(took, 0)} ms here. ${this.engine.rounds
      ? "This browser multiplies and adds in one instruction; where the processor rounds that once, the curves have the bits of the loop that runs outside the browser."
      : "This browser rounds twice where the loop outside the browser rounds once: curves differ by less than a millionth of a mmHg."}`;
    this.onDrawn?.(this.result);
  }

  place() { const [gain, delay, volume] = this.sliders.at, [, delays, volumes] = this.head.axes.map((axis) => axis.values.length); return (gain * delays + delay) * volumes + volume; }

  showMargins() {
    const at = this.place(), { head } = this;
    const text = head.figures.map(({ name, label, unit, decimals }) => {
      const value = this.curves[name][at] / 10 ** decimals;
      return Number.isNaN(value) ? null : `${label} ${fixed(value, decimals)}${unit === "°" ? "°" : unit ? ` ${unit}` : ""}`;
    });
    this.margins.textContent = text.includes(null) ? "The loop is unstable, or cannot be held, at one of the pressures: it has no margins."
      : `Margins, the worst of ${head.judged}: ${text.join(", ")}.`;
    const [, delays, volumes] = head.axes.map((axis) => axis.values.length), [, delay, volume] = this.sliders.at;
    this.along.show([head.axes[0].values, head.axes[0].values.map((_, gain) => {
      const value = this.curves.modulus_margin[(gain * delays + delay) * volumes + volume] / 1000;
      return Number.isNaN(value) ? null : value;
    })]);
    this.along.say(this.margins.textContent);
  }

  mark(plot, ink) {
    const x = plot.valToPos(this.head.axes[0].values[this.sliders.at[0]], "x", true), { top, height } = plot.bbox, pen = plot.ctx;
    pen.save(); pen.strokeStyle = ink("orange"); pen.lineWidth = 2 * devicePixelRatio; pen.setLineDash([6 * devicePixelRatio, 3 * devicePixelRatio]);
    pen.beginPath(); pen.moveTo(x, top); pen.lineTo(x, top + height); pen.stroke(); pen.restore();
  }

  runWords(found) {
    const { head } = this;
    if (found.done < head.ticks) return `The run diverged at ${fixed(found.done * head.period_s, 2)} s: a pressure went beyond what any supply can give.`;
    const limited = found.limited_share > head.saturated_share ? ` The clamp does not hold: the command is at a limit for ${fixed(100 * found.limited_share, 0)} % of the time.` : "";
    const by = found.beats ? `; by beat: systolic ${signed(found.systolic_mmHg, 2)}, mean ${signed(found.mean_mmHg, 2)}, diastolic ${signed(found.diastolic_mmHg, 2)} mmHg (${found.beats} beats)` : "";
    return `The cuff is off the ideal by ${fixed(found.rms_mmHg, 2)} mmHg rms${by}.${limited}`;
  }

  zoom(span) { for (const chart of [this.pressure, this.error]) chart.zoom(span); this.whole.disabled = !span; }
}
