// The loop: response, plane, budget, and a table of margins.
import { Chart } from "./chart.js";
import { fill, fixed, make, shown } from "./make.js";
import { Plane, budgetBars } from "./plane.js";
import { number, spaced } from "./wire.js";

const FIRST = { colour: "blue" }, SECOND = { colour: "orange", dash: [7, 3] };
const OTHER = [{ colour: "blue", width: 1, dash: [2, 3], quiet: true }, { colour: "orange", width: 1, dash: [2, 3], quiet: true }];

export class LoopView {
  constructor(host, budgetHost) {
    host.append(make("h2", {}, "What the loop allows"));
    this.words = make("p", { class: "answer" });
    this.table = make("div", { class: "scroll", tabIndex: 0, role: "region", "aria-label": "Margins" });
    host.append(this.words, this.table);
    const series = () => [{ ...FIRST, name: "filling side" }, { ...SECOND, name: "venting side" }, ...OTHER];
    const level = (value) => (plot, ink) => {
      const pen = plot.ctx, y = plot.valToPos(value, "y", true), box = plot.bbox;
      if (y < box.top || y > box.top + box.height) return;
      pen.save(); pen.strokeStyle = ink("soft"); pen.lineWidth = 1; pen.beginPath(); pen.moveTo(box.left, y); pen.lineTo(box.left + box.width, y); pen.stroke(); pen.restore();
    };
    host.append(make("h3", {}, "Response of the loop cut open"));
    this.gain = new Chart(host, { title: "Open-loop gain over frequency", y: "gain (dB)", x: { label: "frequency (Hz)", log: true, hide: true }, height: 140, sync: "loop", range: [-40, 50], series: series(), draw: level(0) });
    this.phase = new Chart(host, { title: "Open-loop phase over frequency", y: "phase (°)", x: { label: "frequency (Hz)", log: true }, height: 150, sync: "loop", range: [-400, -60], series: series().map((one) => ({ ...one, quiet: true })), draw: level(-180) });
    host.append(make("h3", {}, "Distance from −1"));
    const box = make("div");
    host.append(box);
    this.plane = new Plane(box);
    host.append(make("p", { class: "note" }, "The disc about −1 has the modulus margin as its radius: no curve enters it."));
    this.budget = make("div");
    budgetHost.append(make("h2", {}, "What each part costs"), this.budget);
  }

  show(loop, curves, ghost) {
    const none = new Array(curves.frequency_Hz.length).fill(null);
    const ends = (from) => `${from.frequency_Hz[0]} ${from.frequency_Hz[from.frequency_Hz.length - 1]}`;
    const of = (from, name) => (from && from[name] && ends(from) === ends(curves) ? spaced(from[name], none.length) : none);
    const rows = (name) => [curves.frequency_Hz, of(curves, `${name}_0`), of(curves, `${name}_1`), of(ghost, `${name}_0`), of(ghost, `${name}_1`)];
    this.gain.name(loop.sides);
    this.gain.show(rows("gain_dB"));
    this.phase.show(rows("phase_deg"));
    const plane = [[curves, 0, FIRST], [curves, 1, SECOND], [ghost, 0, OTHER[0]], [ghost, 1, OTHER[1]]]
      .filter(([from, i]) => from && from[`gain_dB_${i}`])
      .map(([from, i, look]) => ({ gain_dB: from[`gain_dB_${i}`], phase_deg: from[`phase_deg_${i}`], ...look }));
    this.plane.show(plane, loop.stable ? number(loop.figures.modulus_margin) : NaN);
    this.showTable(loop);
    if (loop.budget) this.showBudget(loop.budget);
    this.budget.classList.toggle("waiting", !loop.budget);
  }

  showTable(loop) {
    const pressures = new Map(loop.margins.map((m) => [m.name.split(",")[0], fixed(m.arterial_mmHg, 0)]));
    const at = [...pressures].map(([name, mmHg]) => `${name} ${mmHg}`).join(", ");
    const head = ["pressure, side", "gain (dB)", "phase (°)", "delay (ticks)", "modulus", "cross­over (Hz)"];
    const body = loop.margins.map((m) => {
      const worst = m.name === loop.worst && loop.margins.length > 1, name = m.name;
      if (!m.stable) return make("tr", { class: worst ? "worst" : "" }, make("td", {}, name), make("td", { colSpan: 5, class: "broken" }, "unstable"));
      const cells = [[m.gain_margin_dB, 1], [m.phase_margin_deg, 1], [m.delay_margin_ticks, 1], [m.modulus_margin, 3], [m.crossover_Hz, 1]];
      return make("tr", { class: worst ? "worst" : "" }, make("td", {}, name), ...cells.map(([value, decimals]) => make("td", {}, fixed(number(value), decimals))));
    });
    fill(this.table, make("table", {}, make("caption", {}, `Margins of the exact sampled loop at the true light slope; arterial pressure: ${at} mmHg. Worst: ${loop.worst}.`),
      make("thead", {}, make("tr", {}, ...head.map((h) => make("th", { scope: "col" }, h)))), make("tbody", {}, ...body)));
    this.words.textContent = loop.stable
      ? `Gain margin ${shown(number(loop.figures.gain_margin_dB), 3)} dB, phase margin ${shown(number(loop.figures.phase_margin_deg), 3)}°, modulus margin ${fixed(number(loop.figures.modulus_margin), 3)}; the loop crosses 1 at ${shown(number(loop.figures.crossover_Hz), 3)} Hz.`
      : "The loop is unstable: it oscillates by itself.";
    if (loop.resting_on_dead_band) this.words.textContent += " The valve rests inside its dead band.";
  }

  showBudget(budget) {
    const sum = Object.values(budget.degrees).reduce((a, b) => a + b, 0);
    fill(this.budget, make("p", { class: "note" }, `Phase at crossover, ${shown(budget.at_Hz, 3)} Hz, part by part; they sum to ${fixed(sum, 1)}°. Hatched bars give phase.`), budgetBars(budget.degrees));
  }
}
