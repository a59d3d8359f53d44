// The clamp in time: pressures, their error, light and area, with one time axis, one cursor and one zoom.
import { Chart } from "./chart.js";
import { fixed, make, signed } from "./make.js";
import { spaced } from "./wire.js";

// what is not there is null to the chart
const gaps = (values) => Array.from(values, (value) => (Number.isNaN(value) ? null : value));
const ghostly = (series) => series.map((one) => ({ ...one, width: 1, dash: [2, 3], quiet: true }));

export class Strips {
  constructor(host) {
    const pressures = [
      { name: "arterial pressure", colour: "grey", width: 1.2 },
      { name: "what an ideal clamp reads", colour: "orange", dash: [6, 3], width: 1.5 },
      { name: "cuff pressure", colour: "blue", width: 1.7 },
    ];
    this.readout = make("p", { class: "readout", "aria-live": "off" }, "Point at a curve to read it; drag across it to look closer.");
    host.append(make("h2", {}, "What the cuff does"));
    this.words = make("p", { class: "answer" });
    this.dotted = make("p", { class: "note" });
    host.append(this.words, this.readout, this.dotted);
    const common = { sync: "strips", onCursor: (i) => this.read(i), onZoom: (low, high) => this.zoom([low, high]) };
    const time = { label: "time (s)" }, quietTime = { label: "time (s)", hide: true };
    this.pressure = new Chart(host, { ...common, title: "Arterial, ideal and cuff pressure", y: "mmHg", x: quietTime, height: 210,
      series: [...pressures, ...ghostly(pressures.slice(2))] });
    this.error = new Chart(host, { ...common, title: "Error, cuff less ideal", y: "mmHg", x: quietTime, height: 120,
      series: [{ name: "error: cuff less ideal", colour: "violet", width: 1.5 }, ...ghostly([{ name: "error", colour: "violet" }])] });
    this.light = new Chart(host, { ...common, title: "Light and its aim", y: "share", x: quietTime, height: 105,
      series: [{ name: "light", colour: "blue" }, { name: "its set point", colour: "orange", dash: [6, 3] }, ...ghostly([{ name: "light", colour: "blue" }])] });
    this.area = new Chart(host, { ...common, title: "Artery's area", y: "share", x: time, height: 130,
      series: [{ name: "area of the artery, of its largest", colour: "green" }, ...ghostly([{ name: "area", colour: "green" }])] });
    this.charts = [this.pressure, this.error, this.light, this.area];
    this.makeTimes(host);
    this.curves = null; this.ghost = null; this.span = null;
  }

  makeTimes(host) {
    const slide = (label, value) => {
      const made = make("input", { type: "range", min: 0, max: 1000, value, "aria-label": label, oninput: () => this.slid() });
      times.append(make("span", {}, label), made);
      return made;
    };
    const times = make("div", { class: "times", role: "group", "aria-label": "Time strip" });
    host.append(make("h3", {}, "Time strip"), times);
    this.at = slide("look at", 500);
    this.width = slide("width", 1000);
    this.whole = make("button", { type: "button", onclick: () => this.zoom(null) }, "whole run");
    this.said = make("span", { class: "note" });
    host.append(make("p", { class: "bar" }, this.whole, this.said));
  }

  slid() {
    const [first, last] = this.ends();
    const width = Math.max((last - first) * 0.02, (last - first) * (this.width.value / 1000) ** 2);
    const middle = first + (last - first) * this.at.value / 1000;
    const low = Math.min(Math.max(middle - width / 2, first), last - width);
    this.zoom(width >= last - first ? null : [low, low + width], true);
  }

  ends() { const t = this.curves?.time_s; return t && t.length ? [t[0], t[t.length - 1]] : [0, 1]; }

  zoom(span, byHand = false) {
    this.span = span;
    for (const chart of this.charts) chart.zoom(span);
    const [first, last] = this.ends(), shown = span ?? [first, last];
    this.said.textContent = `${fixed(shown[0], 2)} to ${fixed(shown[1], 2)} s`;
    for (const slider of [this.at, this.width]) slider.setAttribute("aria-valuetext", this.said.textContent);
    if (byHand) return;
    this.width.value = Math.round(1000 * Math.sqrt((shown[1] - shown[0]) / (last - first)));
    this.at.value = Math.round(1000 * ((shown[0] + shown[1]) / 2 - first) / (last - first));
  }

  read(i) {
    const c = this.curves;
    if (!c || i === null || i === undefined || !(i < c.time_s.length)) return;
    this.readout.textContent = `At ${fixed(c.time_s[i], 3)} s: arterial ${fixed(c.arterial_mmHg[i], 1)}, ideal ${fixed(c.ideal_mmHg[i], 1)}, cuff ${fixed(c.cuff_mmHg[i], 1)} mmHg; `
      + `light ${fixed(c.light[i], 4)}, area ${fixed(c.area[i], 3)}, command ${fixed(c.command[i], 3)}`;
  }

  show(head, curves, ghost, beside = "") {
    this.curves = curves.time_s ? curves : null;
    this.dotted.textContent = beside && !ghost?.time_s ? `No run of ${beside} yet: its kernel is compiled aside.` : beside && `Dotted: ${beside}, held beside.`;
    if (!this.curves) { this.words.textContent = head.why ?? ""; return; }
    const count = curves.time_s.length, end = curves.time_s[count - 1], times = ghost?.time_s;
    const same = times && Math.abs(times[times.length - 1] - end) < 0.02 * end;
    const none = new Array(count).fill(null);
    const other = (name) => (same ? gaps(spaced(ghost[name], count, curves.time_s[1] / times[1])) : none);
    const aim = new Array(curves.time_s.length).fill(head.set_point);
    this.pressure.show([curves.time_s, curves.arterial_mmHg, curves.ideal_mmHg, curves.cuff_mmHg, other("cuff_mmHg")]);
    this.error.show([curves.time_s, gaps(curves.error_mmHg), other("error_mmHg")]);
    this.light.show([curves.time_s, curves.light, aim, other("light")]);
    this.area.show([curves.time_s, curves.area, other("area")]);
    this.tell(head);
  }

  tell(head) {
    const t = head.tracking;
    let text = head.run === "done" ? "" : head.message;
    if (t && head.run !== "diverged") {
      text += ` From ${fixed(head.counts_from_s, 1)} s on the cuff is off the ideal by ${fixed(t.rms_mmHg, 2)} mmHg rms`
        + (t.beats ? `; by beat: systolic ${signed(t.systolic_mmHg, 2)}, mean ${signed(t.mean_mmHg, 2)}, diastolic ${signed(t.diastolic_mmHg, 2)} mmHg (${t.beats} beats).` : ".");
    }
    if (head.pinned) text += ` Drawn with ${head.pinned} section${head.pinned > 1 ? "s" : ""} of tube while the kernel for this length is compiled aside; the margins are those of the length asked for.`;
    this.words.textContent = text.trim();
    if (!head.quick) for (const chart of this.charts) chart.say(text.trim());
  }
}
