// Two knobs against each other: a map of modulus margin and of error that fills in from coarse to fine.
import { fill, fixed, make, shown } from "../parts/make.js";
import { number } from "../parts/wire.js";

const DARK = [0, 46, 77], MIDDLE = [0, 114, 178], LIGHT = [240, 246, 250];  // one hue, by lightness: for every eye

function shade(share) {
  const from = share < 0.5 ? DARK : MIDDLE, to = share < 0.5 ? MIDDLE : LIGHT, part = share < 0.5 ? 2 * share : 2 * share - 1;
  return `rgb(${from.map((v, i) => Math.round(v + (to[i] - v) * Math.min(Math.max(part, 0), 1))).join(",")})`;
}

export class Brush {
  constructor(host, sheet) {
    this.sheet = sheet; this.at = [8, 8];
    const pick = (id, label) => { const made = make("select", { id }); this.line.append(make("label", { htmlFor: id }, label), made); return made; };
    this.line = make("p", { class: "bar" });
    this.x = pick("map-x", "across"); this.y = pick("map-y", "upwards");
    this.line.append(make("button", { type: "button", onclick: () => this.ask() }, "Draw the map"));
    this.words = make("p", { class: "answer", role: "status" }, "Pick two knobs: a map fills in about where they stand. Click a point, or press Enter on it, to take it.");
    this.maps = make("div", { class: "maps", hidden: true });
    this.readout = make("p", { class: "readout", role: "status" });
    host.append(make("h2", {}, "Two knobs against each other"), this.line, this.words, this.maps, this.readout);
    this.canvases = ["modulus margin", "tracking error, rms (mmHg)"].map((title, which) => {
      const canvas = make("canvas", { tabIndex: 0, role: "application", "aria-label": `Map of ${title}. Arrow keys move, Enter takes the point.`, width: 340, height: 300 });
      canvas.addEventListener("pointermove", (e) => this.pointed(e, canvas));
      canvas.addEventListener("click", (e) => { this.pointed(e, canvas); this.take(); });
      canvas.addEventListener("keydown", (e) => this.key(e));
      this.maps.append(make("figure", {}, make("figcaption", {}, title), canvas));
      return { canvas, which };
    });
    sheet.handlers.map = (answer) => this.arrived(answer);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.draw());
  }

  shown(now) {
    const rig = this.sheet.rig(), keys = [...new Set([...rig.featured, ...Object.keys(now.settings)])];
    const knobs = keys.map((key) => rig.knobs.find((one) => one.key === key)).filter((one) => one && (one.kind === "number" || one.kind === "whole"));
    const listed = knobs.map((one) => one.key).join();
    if (this.listed === listed) return;
    this.listed = listed;
    for (const [select, usual] of [[this.x, 0], [this.y, 6]]) {
      const before = select.value;
      fill(select, ...knobs.map((one) => make("option", { value: one.key }, one.label)));
      select.value = knobs.some((one) => one.key === before) ? before : (knobs[usual] ?? knobs[0]).key;
    }
  }

  span(key) {
    const knob = this.sheet.rig().knobs.find((one) => one.key === key), value = Number(this.sheet.state.now.settings[key] ?? knob.value);
    if (!(value > 0)) return [knob.slider_low, knob.slider_high];
    return [Math.max(knob.low, value / 3), Math.min(knob.high, value * 3)];
  }

  ask() {
    const [x_low, x_high] = this.span(this.x.value), [y_low, y_high] = this.span(this.y.value);
    this.points = new Map(); this.stride = 4; this.maps.hidden = false;
    this.words.textContent = "Filling in, from coarse to fine…";
    this.sheet.asking.askAside("map", "map", { ...this.sheet.request(), options: { x: this.x.value, x_low, x_high, y: this.y.value, y_low, y_high } });
  }

  arrived({ head }) {
    if (head.error) { this.words.textContent = head.error; return; }
    if (head.last) return;
    this.axes = { x: head.x, y: head.y };
    for (const [i, j, margin, error] of head.points) this.points.set(`${i},${j}`, { i, j, stride: head.stride, values: [number(margin), number(error)] });
    this.stride = head.stride;
    const limit = this.sheet.rig().limits.modulus_margin?.min ?? 0.5;
    this.words.textContent = this.points.size < head.of ? `Filling in, from coarse to fine: ${this.points.size} of ${head.of} points.`
      : `All ${head.of} points. Hatched: the modulus margin is below ${limit}; crossed: unstable or not possible.`;
    this.draw();
  }

  draw() {
    if (!this.axes || this.maps.hidden) return;
    const limit = this.sheet.rig().limits.modulus_margin?.min ?? 0.5, count = this.axes.x.values.length;
    for (const { canvas, which } of this.canvases) {
      const pen = canvas.getContext("2d"), ink = getComputedStyle(canvas).color, wide = (canvas.width - 70) / count, high = (canvas.height - 46) / count;
      const x = (i) => 62 + wide * i, y = (j) => 6 + high * (count - 1 - j);
      pen.clearRect(0, 0, canvas.width, canvas.height);
      const values = [...this.points.values()].map((p) => p.values[which]).filter((v) => Number.isFinite(v) && v >= 0);
      const low = which ? Math.min(...values) : 0, top = which ? Math.min(Math.max(...values), 8 * low + 1) : 1;
      const sorted = [...this.points.values()].sort((a, b) => b.stride - a.stride);
      for (const p of sorted) {
        const value = p.values[which], good = Number.isFinite(value) && value >= 0, size = p.stride;
        pen.fillStyle = good ? shade(which ? 1 - (value - low) / (top - low || 1) : value / top) : "#b9b4a9";
        const left = x(p.i), upper = y(Math.min(p.j + size - 1, count - 1));
        const w = Math.min(size, count - p.i) * wide, h = Math.min(size, count - p.j) * high;
        pen.fillRect(left, upper, w + 0.5, h + 0.5);
        if (!good) mark(pen, left, upper, w, h, true);
        else if (p.values[0] < limit) mark(pen, left, upper, w, h, false);
      }
      pen.strokeStyle = ink; pen.lineWidth = 2; pen.strokeRect(x(this.at[0]), y(this.at[1]), wide, high);
      this.scales(pen, ink, x, y, canvas);
    }
    this.tell();
  }

  scales(pen, ink, x, y, canvas) {
    const { x: across, y: upwards } = this.axes, count = across.values.length;
    pen.fillStyle = ink; pen.font = "12px Georgia, 'DejaVu Serif', serif"; pen.textAlign = "center";
    for (const i of [0, 8, 16]) pen.fillText(shown(across.values[i], 3), Math.min(x(i) + 8, canvas.width - 20), canvas.height - 26);
    pen.fillText(this.label(across.key), (62 + canvas.width) / 2, canvas.height - 8, canvas.width - 62);
    pen.textAlign = "right";
    for (const j of [0, 8, 16]) pen.fillText(shown(upwards.values[j], 3), 58, y(j) + 12);
    pen.save(); pen.translate(11, canvas.height / 2 - 20); pen.rotate(-Math.PI / 2); pen.textAlign = "center";
    pen.fillText(this.label(upwards.key), 0, 0, count * 14); pen.restore();
  }

  label(key) { const knob = this.sheet.rig().knobs.find((one) => one.key === key); return knob ? `${knob.label}${knob.unit ? ` (${knob.unit})` : ""}` : key; }

  pointed(event, canvas) {
    if (!this.axes) return;
    const box = canvas.getBoundingClientRect(), count = this.axes.x.values.length;
    const px = (event.clientX - box.left) * canvas.width / box.width, py = (event.clientY - box.top) * canvas.height / box.height;
    const clip = (v) => Math.min(Math.max(Math.floor(v), 0), count - 1);
    this.at = [clip((px - 62) / ((canvas.width - 70) / count)), count - 1 - clip((py - 6) / ((canvas.height - 46) / count))];
    this.draw();
  }

  key(event) {
    const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[event.key];
    if (step && this.axes) { event.preventDefault(); this.at = this.at.map((v, k) => Math.min(Math.max(v + step[k], 0), 16)); this.draw(); }
    if (event.key === "Enter") this.take();
  }

  tell() {
    const [i, j] = this.at, { x, y } = this.axes, point = this.points.get(`${i},${j}`);
    const [margin, error] = point?.values ?? [NaN, NaN];
    const found = point ? (margin >= 0 ? `modulus margin ${fixed(margin, 3)}, error ${fixed(error, 2)} mmHg rms` : Number.isNaN(margin) ? "not possible" : "unstable") : "not worked out yet";
    this.readout.textContent = `${this.label(x.key)} ${shown(x.values[i])}, ${this.label(y.key)} ${shown(y.values[j])}: ${found}.`;
  }

  take() {
    if (!this.axes) return;
    const { x, y } = this.axes, knob = (key) => this.sheet.rig().knobs.find((one) => one.key === key);
    this.sheet.change((now) => {
      for (const [key, value] of [[x.key, x.values[this.at[0]]], [y.key, y.values[this.at[1]]]]) { if (value === knob(key)?.value) delete now.settings[key]; else now.settings[key] = value; }
    });
  }
}

function mark(pen, left, top, wide, high, crossed) {
  pen.save(); pen.beginPath(); pen.rect(left, top, wide, high); pen.clip(); pen.strokeStyle = crossed ? "#5b3b28" : "#ff9a55"; pen.lineWidth = 1;
  pen.beginPath();
  for (let at = -high; at < wide; at += 6) { pen.moveTo(left + at, top + high); pen.lineTo(left + at + high, top); if (crossed) { pen.moveTo(left + at, top); pen.lineTo(left + at + high, top + high); } }
  pen.stroke(); pen.restore();
}
