// A search for the set point, gone through step by step.
import { Chart } from "../parts/chart.js";
import { fill, fixed, make, shown, signed } from "../parts/make.js";
import { number } from "../parts/wire.js";

export class SearchSteps {
  constructor(host, sheet) {
    this.sheet = sheet; this.step = -1; this.found = null;
    const button = (text, act) => make("button", { type: "button", onclick: act }, text);
    this.which = make("select", { id: "strategy" }, ...sheet.known.strategies.map((name) => make("option", { value: name }, name)));
    this.which.value = sheet.known.strategy;
    this.back = button("Step back", () => this.go(-1)); this.next = button("Next step", () => this.go(1));
    this.words = make("p", { class: "answer", role: "status" });
    this.chartBox = make("div", { hidden: true });
    this.table = make("div", { class: "scroll", tabIndex: 0, role: "region", "aria-label": "Steps of the search" });
    host.append(make("h3", {}, "How is the right one found?"),
      make("p", { class: "bar" }, make("label", { htmlFor: "strategy" }, "search"), this.which, button("Search with this rig", () => this.ask()), this.back, this.next),
      this.words, this.chartBox, this.table);
    this.chart = new Chart(this.chartBox, { title: "Cuff pressure and light during the search", y: "mmHg", x: { label: "time (s)" }, height: 190,
      series: [{ name: "arterial pressure", colour: "grey", width: 1 }, { name: "cuff pressure", colour: "blue" }],
      draw: (plot, ink) => this.mark(plot, ink) });
    sheet.handlers.search = (answer) => this.answered(answer);
    this.enable();
  }

  ask() {
    this.words.textContent = "Searching… The first search of all compiles for about a minute.";
    this.sheet.asking.askAside("search", "search", { ...this.sheet.request(), options: { strategy: this.which.value } });
  }

  answered({ head, curves }) {
    if (head.last) return;
    if (head.error) { this.words.textContent = head.error; return; }
    this.found = head; this.step = -1;
    this.chartBox.hidden = false;
    this.chart.show([curves.time_s, curves.arterial_mmHg, curves.cuff_mmHg]);
    fill(this.table, make("table", {}, make("caption", {}, "Each hold of the search as the firmware saw it"),
      make("thead", {}, make("tr", {}, ...["step", "from (s)", "cuff (mmHg)", "light", "pulsation (%)", "what it was used for"].map((h) => make("th", { scope: "col" }, h)))),
      make("tbody", {}, ...head.steps.map((s) => make("tr", {}, make("td", {}, `${s.number}, ${s.purpose}`), make("td", {}, fixed(s.start_s, 1)), make("td", {}, fixed(s.cuff_mmHg, 0)),
        make("td", {}, fixed(s.light, 4)), make("td", {}, shown(100 * number(s.pulsation), 3)), make("td", {}, s.note))))));
    this.tell(); this.enable();
  }

  go(by) { this.step = Math.min(Math.max(this.step + by, -1), this.found.phases.length); this.tell(); this.enable(); this.chart.plot?.redraw(); }

  enable() { this.back.disabled = !this.found || this.step < 0; this.next.disabled = !this.found || this.step >= this.found.phases.length; }

  tell() {
    const f = this.found, phase = f.phases[this.step];
    const rows = [...this.table.querySelectorAll("tbody tr")];
    rows.forEach((row, i) => row.classList.toggle("worst", Boolean(phase) && Math.abs(f.steps[i].start_s - phase.start_s) < 0.05));
    if (phase) {
      const step = f.steps.find((s) => Math.abs(s.start_s - phase.start_s) < 0.05);
      this.words.textContent = `${this.step + 1} of ${f.phases.length}: ${phase.kind}, ${phase.purpose}, from ${fixed(phase.start_s, 1)} to ${fixed(phase.end_s, 1)} s.`
        + (step ? ` The pulsation is ${shown(100 * number(step.pulsation), 3)} % of the light at ${fixed(step.cuff_mmHg, 0)} mmHg; ${step.note}.` : "")
        + (phase.kind === "clamp" ? " The loop holds the volume and the search listens to how the light answers." : "");
    } else if (f.found) {
      this.words.textContent = `Found after ${fixed(f.search_s, 1)} s: light ${fixed(f.set_point, 4)} at ${fixed(f.cuff_mmHg, 0)} mmHg, said to be within ± ${fixed(f.interval_mmHg, 1)} mmHg (90 %). `
        + `In truth it is off by ${signed(number(f.error_mmHg), 2)} mmHg, which only the simulation knows.`;
    } else this.words.textContent = `Not found: ${f.message}`;
  }

  mark(plot, ink) {
    const phase = this.found?.phases[this.step];
    if (!phase) return;
    const left = plot.valToPos(phase.start_s, "x", true), right = plot.valToPos(phase.end_s, "x", true), { top, height } = plot.bbox;
    plot.ctx.save(); plot.ctx.fillStyle = ink("orange"); plot.ctx.globalAlpha = 0.18;
    plot.ctx.fillRect(left, top, Math.max(right - left, 2), height); plot.ctx.restore();
  }
}
