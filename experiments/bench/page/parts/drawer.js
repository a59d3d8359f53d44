// The drawer: every parameter of the rig with its slider, its typed number, and what it is.
import { fill, make, shown } from "./make.js";

const STEPS = 1000;

export class Drawer {
  // told: { turn(key, value, dragging), hold(), done() }
  constructor(host, told) {
    this.told = told;
    this.rows = new Map();
    this.find = make("input", { class: "find", type: "search", placeholder: "Find a parameter", "aria-label": "Find a parameter by name or meaning", oninput: () => this.filter() });
    this.said = make("p", { class: "note", role: "status" });
    this.list = make("div", { class: "knobs" });
    host.append(make("h2", {}, "Turn a knob"), this.find, this.said, this.list);
  }

  // Knobs of another rig: rows are made as they are looked for, the featured ones at once.
  hold(knobs, featured) {
    this.knobs = new Map(knobs.map((knob) => [knob.key, knob]));
    this.featured = featured;
    this.rows.clear();
    fill(this.list);
    this.filter();
  }

  filter() {
    const words = this.find.value.toLowerCase().split(/\s+/).filter(Boolean);
    const keys = [...this.knobs.keys()];
    const matches = words.length
      ? keys.filter((key) => { const k = this.knobs.get(key); const text = `${key} ${k.label} ${k.meaning} ${k.unit}`.toLowerCase(); return words.every((w) => text.includes(w)); })
      : [...this.featured, ...keys.filter((key) => !this.featured.includes(key) && key in (this.settings ?? {}))];
    const many = matches.length > 40;
    fill(this.list, ...matches.slice(0, 40).map((key) => this.row(key).host));
    this.said.textContent = words.length
      ? (matches.length ? `${matches.length} of ${keys.length} parameters${many ? ", the first 40 shown" : ""}` : "No parameter of that name or meaning")
      : `The ${this.featured.length} that matter most; ${keys.length} can be found`;
    this.refresh();
  }

  row(key) {
    if (!this.rows.has(key)) this.rows.set(key, this.makeRow(this.knobs.get(key)));
    return this.rows.get(key);
  }

  makeRow(knob) {
    const id = `k-${knob.key.replace(".", "-")}`;
    const title = [knob.key, knob.meaning, knob.low !== null ? `from ${shown(knob.low)} to ${shown(knob.high)} ${knob.unit}`.trim() : "", knob.source ? `source: ${knob.source}` : "", knob.note].filter(Boolean).join("; ");
    const wrong = make("div", { class: "wrong", role: "alert" });
    const back = make("button", { type: "button", onclick: () => this.told.turn(knob.key, undefined, false), "aria-label": `Reset ${knob.label}` }, "reset");
    const given = make("span"), line = make("div", { class: "given", hidden: true }, given, back);
    const label = make("label", { htmlFor: id, title }, knob.label);
    const host = make("div", { class: "knob", title }, label);
    const row = { host, wrong, given, line, slider: null, typed: null };
    if (knob.kind === "switch") {
      row.typed = make("input", { id, type: "checkbox", onchange: (e) => this.told.turn(knob.key, e.target.checked, false) });
      host.append(row.typed);
    } else if (knob.kind === "choice") {
      row.typed = make("select", { id, onchange: (e) => this.told.turn(knob.key, e.target.value, false) }, ...knob.choices.map((c) => make("option", { value: c }, c)));
      host.append(row.typed);
    } else this.numberRow(row, knob, id);
    host.append(make("div", { class: "why" }, knob.meaning), line, wrong);
    return row;
  }

  numberRow(row, knob, id) {
    row.typed = make("input", {
      id, class: "typed", type: "text", inputMode: "decimal", autocomplete: "off", "aria-label": `${knob.label}${knob.unit ? `, in ${knob.unit}` : ""}`,
      onchange: (e) => this.typedIn(knob, row, e.target.value),
    });
    row.slider = make("input", {
      type: "range", min: 0, max: STEPS, step: 1, "aria-label": `${knob.label}, slider`,
      onpointerdown: () => this.told.hold(),
      oninput: (e) => this.told.turn(knob.key, this.valueAt(knob, Number(e.target.value)), true),
      onchange: () => this.told.done(knob.key),
    });
    row.host.append(make("span", {}, row.typed, make("span", { class: "unit" }, knob.unit ? ` ${knob.unit}` : "")), row.slider);
  }

  typedIn(knob, row, text) {
    const clean = text.trim().replace("−", "-").replace(",", ".");
    const value = clean === "" ? NaN : Number(clean);
    if (!Number.isFinite(value) || value < knob.low || value > knob.high || (knob.kind === "whole" && !Number.isInteger(value))) {
      const what = knob.kind === "whole" ? "a whole number" : "a number";
      this.complain(knob.key, `${text.trim() || "nothing"} is not ${what} from ${shown(knob.low)} to ${shown(knob.high)}${knob.unit ? ` ${knob.unit}` : ""}`);
      row.typed.setAttribute("aria-invalid", "true");
      return;
    }
    this.told.turn(knob.key, value, false);
  }

  reach(knob) {
    const value = Number(this.value(knob));
    const low = knob.logarithmic && value <= 0 ? knob.slider_low : Math.min(knob.slider_low, value);
    return [low, Math.max(knob.slider_high, value)];
  }

  valueAt(knob, place) {
    const [low, high] = this.reach(knob), share = place / STEPS;
    const value = knob.logarithmic ? low * (high / low) ** share : low + (high - low) * share;
    if (knob.kind === "whole") return Math.round(value);
    return Math.min(Math.max(Number(value.toPrecision(4)), knob.low), knob.high);
  }

  placeOf(knob, value) {
    const [low, high] = this.reach(knob);
    const share = knob.logarithmic ? Math.log(value / low) / Math.log(high / low) : (value - low) / (high - low);
    return Math.round(STEPS * Math.min(Math.max(share, 0), 1));
  }

  value(knob) { return this.settings && knob.key in this.settings ? this.settings[knob.key] : knob.value; }

  show(settings) { this.settings = settings; if (!this.find.value) this.addChanged(); this.refresh(); }

  addChanged() {
    const missing = Object.keys(this.settings).filter((key) => this.knobs.has(key) && !this.row(key).host.isConnected);
    for (const key of missing) this.list.append(this.row(key).host);
  }

  refresh() {
    if (!this.settings) return;
    for (const [key, row] of this.rows) {
      const knob = this.knobs.get(key), value = this.value(knob), changed = key in this.settings && this.settings[key] !== knob.value;
      row.host.classList.toggle("changed", changed);
      row.line.hidden = !changed;
      row.given.textContent = changed ? `changed; the rig has ${typeof knob.value === "number" ? shown(knob.value) : knob.value} ${knob.unit}` : "";
      if (knob.kind === "switch") row.typed.checked = value;
      else if (document.activeElement !== row.typed || row.slider === null) row.typed.value = typeof value === "number" ? String(value) : value;
      if (row.slider && document.activeElement !== row.slider) row.slider.value = this.placeOf(knob, value);
      if (row.slider) row.slider.setAttribute("aria-valuetext", `${shown(Number(value))} ${knob.unit}`.trim());
      if (row.slider && document.activeElement === row.slider) row.typed.value = String(value);
    }
  }

  complain(key, line) {
    this.clear();
    if (!this.knobs.has(key)) return false;
    const row = this.row(key);
    if (!row.host.isConnected) this.list.prepend(row.host);
    row.wrong.textContent = line;
    return true;
  }

  clear() { for (const row of this.rows.values()) { row.wrong.textContent = ""; row.typed.removeAttribute("aria-invalid"); } }
}
