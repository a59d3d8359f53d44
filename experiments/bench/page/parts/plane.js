// The plane of Nyquist with the disc of the modulus margin, and the budget as bars.
import { colour } from "./chart.js";
import { fixed, make, signed } from "./make.js";

const LOW_X = -2.6, HIGH_X = 1.1, LOW_Y = -2.0, HIGH_Y = 1.2;

export class Plane {
  constructor(host) {
    this.canvas = make("canvas", { class: "plane", role: "img", "aria-label": "Loop gain in the complex plane" });
    host.append(this.canvas);
    this.shown = null;
    new ResizeObserver(() => this.draw()).observe(host);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.draw());
  }

  // curves: [{gain_dB, phase_deg, colour, dash}], margin: radius of the disc or NaN
  show(curves, margin) {
    this.shown = { curves, margin };
    this.canvas.setAttribute("aria-label", Number.isFinite(margin)
      ? `Loop gain in the complex plane. It keeps ${fixed(margin, 3)} from −1, the modulus margin.`
      : "Loop gain in the complex plane. The loop is unstable: no modulus margin.");
    this.draw();
  }

  draw() {
    const width = Math.floor(this.canvas.parentElement.clientWidth);
    if (!this.shown || width < 40) return;
    const height = Math.round(width * (HIGH_Y - LOW_Y) / (HIGH_X - LOW_X)), ratio = devicePixelRatio || 1;
    if (this.canvas.width !== Math.round(width * ratio) || this.canvas.height !== Math.round(height * ratio)) {
      this.canvas.width = Math.round(width * ratio); this.canvas.height = Math.round(height * ratio);
    }
    const pen = this.canvas.getContext("2d");
    const ink = (name) => colour(this.canvas, name);
    const scale = width / (HIGH_X - LOW_X);
    const x = (re) => (re - LOW_X) * scale, y = (im) => (HIGH_Y - im) * scale;
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.clearRect(0, 0, width, height);
    pen.lineWidth = 1;
    pen.strokeStyle = ink("grid"); pen.fillStyle = ink("soft"); pen.font = "12px Georgia, 'DejaVu Serif', serif";
    for (let re = -2; re <= 1; re++) { line(pen, [[x(re), 0], [x(re), height]]); pen.fillText(String(re).replace("-", "−"), x(re) + 3, y(0) + 13); }
    for (let im = -2; im <= 1; im++) { line(pen, [[0, y(im)], [width, y(im)]]); if (im) pen.fillText(`${im < 0 ? "−" : ""}${Math.abs(im) === 1 ? "" : Math.abs(im)}j`, 3, y(im) - 3); }
    pen.strokeStyle = ink("soft"); circle(pen, x(0), y(0), scale); pen.stroke();
    if (Number.isFinite(this.shown.margin)) {
      pen.fillStyle = ink("green"); pen.globalAlpha = 0.2;
      circle(pen, x(-1), y(0), this.shown.margin * scale); pen.fill();
      pen.globalAlpha = 1; pen.strokeStyle = ink("green"); pen.stroke();
    }
    pen.strokeStyle = ink("ink"); pen.lineWidth = 1.6;
    line(pen, [[x(-1) - 5, y(0)], [x(-1) + 5, y(0)]]); line(pen, [[x(-1), y(0) - 5], [x(-1), y(0) + 5]]);
    for (const curve of this.shown.curves) this._curve(pen, curve, x, y, ink);
  }

  _curve(pen, curve, x, y, ink) {
    pen.strokeStyle = ink(curve.colour); pen.lineWidth = curve.width ?? 1.8; pen.setLineDash(curve.dash ?? []);
    pen.beginPath();
    let down = false;
    for (let i = 0; i < curve.gain_dB.length; i++) {
      const size = 10 ** (curve.gain_dB[i] / 20), angle = curve.phase_deg[i] * Math.PI / 180;
      if (size > 6) { down = false; continue; }
      const at = [x(size * Math.cos(angle)), y(size * Math.sin(angle))];
      if (down) pen.lineTo(...at); else pen.moveTo(...at);
      down = true;
    }
    pen.stroke(); pen.setLineDash([]);
  }
}

function line(pen, points) { pen.beginPath(); points.forEach((p, i) => (i ? pen.lineTo(...p) : pen.moveTo(...p))); pen.stroke(); }

function circle(pen, x, y, radius) { pen.beginPath(); pen.arc(x, y, radius, 0, 2 * Math.PI); }

// Degrees that each part costs or gives at crossover, dearest first.
export function budgetBars(degrees) {
  const rows = Object.entries(degrees).sort((a, b) => a[1] - b[1]);
  const low = Math.min(0, ...rows.map((r) => r[1])), high = Math.max(0, ...rows.map((r) => r[1]));
  const place = (value) => 100 * (value - low) / (high - low || 1);
  const host = make("div", { class: "bars", role: "list", "aria-label": "Phase at crossover, part by part" });
  for (const [part, value] of rows) {
    const bar = make("i", { class: value > 0 ? "lead" : "" }), zero = make("b");
    bar.style.left = `${Math.min(place(value), place(0))}%`;
    bar.style.width = `${Math.abs(place(value) - place(0))}%`;
    zero.style.left = `${place(0)}%`;
    const row = make("span", { role: "listitem", "aria-label": `${part}: ${signed(value, 1)} degrees` }, part);
    host.append(row, make("span", { class: "track", "aria-hidden": "true" }, bar, zero),
      make("span", { class: "number", "aria-hidden": "true" }, `${signed(value, 1)}°`));
  }
  return host;
}
