// Break: what catches it? One failure at a time and size, protections one by one, and what acted when.
import { Chart } from "../parts/chart.js";
import { fill, fixed, make } from "../parts/make.js";
import { slide } from "./slide.js";

const inWords = (name) => name.replaceAll("_", " ");
const ASK_ms = 120;

export class Failing {
  constructor(host, sheet) {
    this.sheet = sheet; this.timer = null; this.acted = []; this.onset = NaN;
    this.box = make("div", {}, make("h2", {}, "What catches it?"));
    this.words = make("p", { class: "answer", role: "status" }, "Choose a failure: the run shows what acts, when, and how high the pressure goes.");
    this.which = make("select", { id: "failure", onchange: (e) => this.set({ failure: e.target.value }) });
    this.why = make("p", { class: "note" });
    const sliders = make("div", { class: "sliders" });
    const [low, high] = sheet.known.onset_s;
    this.box.append(this.words, make("p", { class: "bar" }, make("label", { htmlFor: "failure" }, "failure"), this.which), this.why, sliders);
    this.sliders = [
      slide(sliders, sheet, { label: "how severe", low: 0, high: 1, step: 0.05, words: (v) => `${Math.round(100 * v)} % of the worst that is meant`, value: (s) => s.options.severity ?? 1, set: (s, v) => { s.options.severity = v; } }),
      slide(sliders, sheet, { label: "begins at", low, high, step: 0.1, words: (v) => `${fixed(v, 1)} s`, value: (s) => s.options.onset_s ?? sheet.known.onset_usual_s, set: (s, v) => { s.options.onset_s = v; } }),
    ];
    this.guards = make("fieldset", { class: "guards" }, make("legend", {}, "Protections that are there; switch one off to see what else acts"));
    this.chartBox = make("div");
    this.line = make("div", { class: "scroll", tabIndex: 0, role: "region", "aria-label": "What acted, in order" });
    this.box.append(this.chartBox, this.line, this.guards);
    host.append(this.box);
    const marks = (plot, ink) => this.mark(plot, ink);
    const x = { label: "time (s)" };
    this.pressure = new Chart(this.chartBox, { title: "Pressures while something fails", y: "mmHg", x: { ...x, hide: true }, height: 230, sync: "failing", draw: marks, onZoom: (a, b) => this.zoom([a, b]),
      series: [{ name: "arterial pressure", colour: "grey", width: 1.1 }, { name: "cuff pressure", colour: "blue", width: 1.8 }, { name: "what is shown", colour: "orange", dash: [6, 3], width: 1.4 }] });
    this.command = new Chart(this.chartBox, { title: "Command to the valve", y: "share", x, height: 120, sync: "failing", draw: marks, onZoom: (a, b) => this.zoom([a, b]), series: [{ name: "command to the valve", colour: "green" }] });
    this.chartBox.append(make("p", { class: "bar" }, make("button", { type: "button", onclick: () => this.zoom(null) }, "whole run"), make("span", { class: "note" }, "Upright lines: the onset (thick), then each layer that acted, numbered as below.")));
    sheet.handlers.failure = (answer) => this.arrived(answer);
  }

  zoom(span) { this.pressure.zoom(span); this.command.zoom(span); }

  set(options) { this.sheet.change((now) => Object.assign(now.options, options)); }

  lost(now) { return String(now.options.lost ?? "").split(",").filter(Boolean); }

  shown(visible, now) {
    this.box.hidden = !visible;
    if (!visible) return;
    if (this.forRig !== now.rig) { this.forRig = now.rig; this.list(); }
    this.which.value = now.options.failure ?? "";
    for (const one of this.sliders) one.show(now);
    const lost = this.lost(now);
    for (const box of this.guards.querySelectorAll("input")) box.checked = !lost.includes(box.value) && !box.disabled;
    const fault = this.sheet.rig().failures.find((one) => one.name === this.which.value);
    this.why.textContent = fault ? `${fault.item}: ${fault.mode}${fault.start ? "; it is there from the start of the run" : ""}.` : "";
  }

  list() {
    const rig = this.sheet.rig(), items = [...new Set(rig.failures.map((one) => one.item))];
    const option = (one) => make("option", { value: one.name, disabled: Boolean(one.excluded) }, `${one.mode}${one.excluded ? ` (not on this rig: ${one.excluded})` : ""}`);
    fill(this.which, make("option", { value: "" }, "nothing fails"),
      ...items.map((item) => make("optgroup", { label: item }, ...rig.failures.filter((one) => one.item === item).map(option))));
    const box = (one) => make("label", {}, make("input", { type: "checkbox", value: one.name, disabled: !one.enabled, onchange: () => this.switched() }), ` ${inWords(one.name)}`);
    fill(this.guards, this.guards.firstChild, ...rig.protections.map(box));
  }

  switched() {
    const lost = [...this.guards.querySelectorAll("input:not(:checked):not(:disabled)")].map((box) => box.value).join(",");
    this.sheet.change((now) => { if (lost) now.options.lost = lost; else delete now.options.lost; });
  }

  ask() {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => {
      const { now } = this.sheet.state, { failure = "", severity = 1, onset_s = this.sheet.known.onset_usual_s } = now.options;
      if (!this.answeredOnce) this.words.textContent = "Running with all protection… The very first such run compiles for a minute or two, aside.";
      this.sheet.asking.askAside("failure", "failure", { ...this.sheet.request(), options: { failure, severity, onset_s, lost: this.lost(now) } });
    }, ASK_ms);
  }

  arrived({ head, curves }) {
    if (head.last) return;
    if (head.error) { this.words.textContent = head.error; return; }
    this.answeredOnce = true;
    this.acted = head.acted; this.onset = head.onset_s;
    this.pressure.show([curves.time_s, curves.arterial_mmHg, curves.cuff_mmHg, Array.from(curves.shown_mmHg, (v) => (Number.isNaN(v) ? null : v))]);
    this.command.show([curves.time_s, curves.command]);
    this.tell(head);
  }

  tell(head) {
    const failed = Boolean(this.sheet.state.now.options.failure), first = head.acted[0], f = head.figures;
    const caught = first ? `${inWords(first.name)} acts first, ${fixed(first.after_s, 3)} s after the onset` : "no layer acts";
    const after = { vented: "; the cuff is emptied", diverged: "; the run diverges", saturated: "; the clamp does not hold" }[head.status] ?? "; the clamp goes on";
    this.words.textContent = `${failed ? "With this failure" : "With nothing wrong"} ${caught}${after}. Cuff pressure reaches ${fixed(f.highest_mmHg, 0)} mmHg`
      + (f.below_15_s >= 0 ? ` and is below 15 mmHg ${fixed(f.below_15_s, 2)} s after the onset.` : ".");
    this.pressure.say(this.words.textContent);
    const row = (one, i) => make("tr", {}, make("td", {}, `${i + 1}. ${inWords(one.name)}`), make("td", {}, `${fixed(one.after_s, 3)} s`), make("td", {}, `${fixed(head.onset_s + one.after_s, 3)} s`));
    fill(this.line, head.acted.length ? make("table", {}, make("caption", {}, "Layers that acted, in order"),
      make("thead", {}, make("tr", {}, ...["layer", "after the onset", "time of the run"].map((h) => make("th", { scope: "col" }, h)))), make("tbody", {}, ...head.acted.map(row)))
      : make("p", { class: "note" }, "Nothing acted."));
  }

  mark(plot, ink) {
    const pen = plot.ctx, { top, height, left, width } = plot.bbox;
    const line = (at, wide, text) => {
      const x = plot.valToPos(at, "x", true);
      if (!(x >= left && x <= left + width)) return;
      pen.save(); pen.strokeStyle = ink("ink"); pen.fillStyle = ink("ink"); pen.lineWidth = wide * devicePixelRatio;
      pen.beginPath(); pen.moveTo(x, top); pen.lineTo(x, top + height); pen.stroke();
      pen.font = `${12 * devicePixelRatio}px Georgia, serif`; pen.fillText(text, x + 3 * devicePixelRatio, top + 12 * devicePixelRatio); pen.restore();
    };
    if (this.sheet.state.now.options.failure) line(this.onset, 2.2, "");
    this.acted.forEach((one, i) => line(this.onset + one.after_s, 0.9, String(i + 1)));
  }
}
