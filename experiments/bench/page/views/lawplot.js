// The artery's law at rest, and on it the cloud of what the clamp holds: the operating point moves along the curve.
import { colour } from "../parts/chart.js";
import { fixed, make } from "../parts/make.js";

const HEIGHT = 260, LEFT = 46, BOTTOM = 36, TOP = 8, RIGHT = 8;

export class LawPlot {
  constructor(host) {
    this.canvas = make("canvas", { class: "plane", role: "img", "aria-label": "Area of the artery over transmural pressure" });
    host.append(this.canvas);
    new ResizeObserver(() => this.draw()).observe(host);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.draw());
  }

  show(law, curves) {
    this.law = law; this.curves = curves;
    this.canvas.setAttribute("aria-label", `Area of the artery over transmural pressure. Held at ${fixed(law.held_mmHg, 1)} mmHg; unloaded at ${fixed(law.unloaded_mmHg, 1)} mmHg.`);
    this.draw();
  }

  draw() {
    const width = Math.floor(this.canvas.parentElement.clientWidth);
    if (!this.law || width < 60) return;
    const ratio = devicePixelRatio || 1;
    this.canvas.width = Math.round(width * ratio); this.canvas.height = Math.round(HEIGHT * ratio);
    const pen = this.canvas.getContext("2d"), ink = (name) => colour(this.canvas, name);
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.clearRect(0, 0, width, HEIGHT);
    const { law_mmHg: p, law_area: a } = this.curves;
    const low = p[0], high = p[p.length - 1], most = Math.max(...a) * 1.05;
    const x = (value) => LEFT + (width - LEFT - RIGHT) * (value - low) / (high - low);
    const y = (value) => TOP + (HEIGHT - TOP - BOTTOM) * (1 - value / most);
    pen.font = "12px Georgia, 'DejaVu Serif', serif"; pen.fillStyle = ink("soft"); pen.strokeStyle = ink("grid"); pen.lineWidth = 1;
    for (let tick = Math.ceil(low / 20) * 20; tick <= high; tick += 20) { stroke(pen, [[x(tick), TOP], [x(tick), y(0)]]); pen.textAlign = "center"; pen.fillText(String(tick).replace("-", "−"), x(tick), y(0) + 14); }
    for (let tick = 0; tick <= most; tick += 0.2) { stroke(pen, [[LEFT, y(tick)], [width - RIGHT, y(tick)]]); pen.textAlign = "right"; pen.fillText(tick.toFixed(1), LEFT - 5, y(tick) + 4); }
    pen.textAlign = "center"; pen.fillText("transmural pressure (mmHg)", (LEFT + width) / 2, HEIGHT - 5);
    pen.save(); pen.translate(11, HEIGHT / 2 - 12); pen.rotate(-Math.PI / 2); pen.fillText("area, share of largest", 0, 0); pen.restore();
    pen.strokeStyle = ink("grey"); pen.lineWidth = 1.8;
    stroke(pen, Array.from(p, (value, i) => [x(value), y(a[i])]));
    this.cloud(pen, ink, x, y);
    pen.lineWidth = 1.4; pen.setLineDash([6, 3]); pen.strokeStyle = ink("orange");
    stroke(pen, [[x(this.law.unloaded_mmHg), TOP], [x(this.law.unloaded_mmHg), y(0)]]);
    pen.setLineDash([]);
    pen.fillStyle = ink("blue"); pen.beginPath(); pen.arc(x(this.law.held_mmHg), y(this.law.held_area), 5, 0, 2 * Math.PI); pen.fill();
    pen.textAlign = "left"; pen.fillStyle = ink("ink");
    pen.fillText("dashed: unloaded; disc: what is held; dots: the run", LEFT + 6, TOP + 12);
  }

  cloud(pen, ink, x, y) {
    const { time_s: t, arterial_mmHg: arterial, external_mmHg: external, area } = this.curves;
    if (!t) return;
    pen.fillStyle = ink("blue"); pen.globalAlpha = 0.35;
    for (let i = 0; i < t.length; i += 6) if (t[i] > 1) pen.fillRect(x(arterial[i] - external[i]) - 1, y(area[i]) - 1, 2, 2);
    pen.globalAlpha = 1;
  }
}

function stroke(pen, points) { pen.beginPath(); points.forEach((p, i) => (i ? pen.lineTo(...p) : pen.moveTo(...p))); pen.stroke(); }
