// Thirty-two virtual fingers beside the chosen one: each a small trace with its margin, judged while a knob moves.
import { colour } from "../parts/chart.js";
import { fill, fixed, make } from "../parts/make.js";
import { number } from "../parts/wire.js";

const WIDE = 130, HIGH = 52;

export class People {
  constructor(host, sheet) {
    this.sheet = sheet; this.cells = []; this.underWay = false; this.again = false;
    this.on = make("button", { type: "button", "aria-pressed": "false", onclick: () => sheet.change((now) => { if (now.options.fingers) delete now.options.fingers; else now.options.fingers = 1; }) }, "Judge on 32 virtual fingers");
    this.words = make("p", { class: "answer", role: "status" });
    this.grid = make("ol", { class: "people", hidden: true });
    host.append(make("h2", {}, "Does it hold on other fingers?"), make("p", { class: "bar" }, this.on), this.words, this.grid);
    sheet.handlers.fingers = (answer) => this.arrived(answer);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.draw());
  }

  shown(now) {
    const on = Boolean(now.options.fingers);
    this.on.setAttribute("aria-pressed", String(on));
    this.grid.hidden = !on;
    if (!on) this.words.textContent = "A gain that suits one finger may be too much for another. These are invented fingers of the usual mixed group.";
  }

  // One request is under way and the newest waits: margins follow the hand, traces come when there is time for them.
  ask() {
    if (!this.sheet.state.now.options.fingers) return;
    if (this.underWay) { this.again = true; return; }
    this.underWay = true;
    if (!this.cells.length) this.words.textContent = "Running the fingers… The very first time their kernel is compiled, aside, for about a minute.";
    this.sheet.asking.askAside("fingers", "fingers", this.sheet.request());
  }

  arrived({ head, curves }) {
    if (head.last || head.error) {
      this.underWay = false;
      if (head.error) this.words.textContent = head.error;
      if (this.again) { this.again = false; this.ask(); }
      return;
    }
    this.rows = head.fingers;
    if (head.traces) this.curves = curves;
    if (!this.cells.length) this.build(head.of);
    this.draw();
    if (head.fingers.length === head.of) this.tell(head);
  }

  build(count) {
    this.cells = Array.from({ length: count }, () => {
      const canvas = make("canvas", { "aria-hidden": "true" }), words = make("span");
      return { host: make("li", {}, canvas, words), canvas, words };
    });
    fill(this.grid, ...this.cells.map((cell) => cell.host));
  }

  tell(head) {
    const limit = this.sheet.rig().limits.modulus_margin?.min ?? 0.5;
    const rows = head.fingers, held = rows.filter((row) => row.stable && number(row.modulus_margin) >= limit).length;
    const unstable = rows.filter((row) => !row.stable && !row.why).length, none = rows.filter((row) => row.why).length;
    const least = Math.min(...rows.filter((row) => row.stable).map((row) => number(row.modulus_margin)));
    this.words.textContent = `${held} of ${rows.length} keep a modulus margin of ${limit}; the least stable one has ${fixed(least, 3)}.`
      + (unstable ? ` On ${unstable} the loop is unstable.` : "") + (none ? ` On ${none} this rig cannot clamp.` : "");
  }

  draw() {
    const limit = this.sheet.rig().limits.modulus_margin?.min ?? 0.5;
    this.rows?.forEach((row, i) => {
      const cell = this.cells[i], margin = number(row.modulus_margin);
      const verdict = row.why ? "cannot clamp" : !row.stable ? "unstable" : margin >= limit ? "kept" : "below";
      cell.host.className = verdict === "kept" ? "" : "short";
      cell.words.textContent = row.why ? "cannot clamp" : row.stable ? `${fixed(margin, 2)} ${verdict}` : "unstable";
      cell.host.title = `${row.name}, ${row.about}${row.why ? `: ${row.why}` : `: modulus margin ${fixed(margin, 3)}, phase margin ${fixed(number(row.phase_margin_deg), 1)}°, error ${fixed(number(row.rms_mmHg), 2)} mmHg rms`}`;
      if (this.curves) this.trace(cell.canvas, i, verdict);
    });
  }

  trace(canvas, i, verdict) {
    const ratio = devicePixelRatio || 1, each = this.curves.cuff_mmHg.length / this.cells.length;
    canvas.width = WIDE * ratio; canvas.height = HIGH * ratio;
    const pen = canvas.getContext("2d"), cuff = this.curves.cuff_mmHg.subarray(i * each, (i + 1) * each), ideal = this.curves.ideal_mmHg.subarray(i * each, (i + 1) * each);
    let low = Infinity, high = -Infinity;
    for (const value of ideal) if (value === value) { low = Math.min(low, value); high = Math.max(high, value); }
    if (!(high > low)) return;
    const pad = 0.15 * (high - low);
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    const line = (values, name, width, dash) => {
      pen.strokeStyle = colour(canvas, name); pen.lineWidth = width; pen.setLineDash(dash); pen.beginPath();
      values.forEach((value, k) => { if (value === value) pen.lineTo(WIDE * k / each, HIGH - HIGH * Math.min(Math.max((value - low + pad) / (high - low + 2 * pad), 0), 1)); });
      pen.stroke();
    };
    line(ideal, "orange", 1.1, [3, 2]);
    line(cuff, verdict === "kept" ? "blue" : "violet", 1.3, []);
  }
}
