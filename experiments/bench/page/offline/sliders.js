// Three sliders, each with places of its own; what stands where decides the numbers of the run.
import { make } from "../parts/make.js";

export class Sliders {
  // axes: [{ name, label, unit, values, words, usual, places, rows }]
  constructor(host, axes, usual, turned) {
    this.axes = axes; this.usual = usual;
    this.at = axes.map((axis) => axis.usual);
    const box = make("div", { class: "sliders", role: "group", "aria-label": "What can be turned" });
    this.inputs = axes.map((axis, i) => {
      const id = `turn-${axis.name}`;
      const input = make("input", { id, type: "range", min: 0, max: axis.values.length - 1, step: 1, value: axis.usual, disabled: axis.values.length < 2,
        oninput: () => { this.at[i] = Number(input.value); this.tell(); turned(); } });
      box.append(make("label", { htmlFor: id }, axis.label), input, axis.said = make("output", { htmlFor: id }));
      return input;
    });
    this.reset = make("button", { type: "button", onclick: () => { this.at = axes.map((axis) => axis.usual); this.tell(); turned(); } }, "As the rig has it");
    host.append(box, make("p", { class: "bar" }, this.reset));
    this.tell();
  }

  tell() {
    this.axes.forEach((axis, i) => {
      const own = this.at[i] === axis.usual ? ", the rig's own" : "";
      axis.said.textContent = axis.words[this.at[i]] + own;
      this.inputs[i].value = this.at[i];
      this.inputs[i].setAttribute("aria-valuetext", axis.said.textContent);
    });
    this.reset.disabled = this.axes.every((axis, i) => this.at[i] === axis.usual);
  }

  // The numbers of the run as the sliders stand.
  numbers() {
    const values = Float64Array.from(this.usual);
    this.axes.forEach((axis, i) => axis.places.forEach((place, j) => { values[place] = axis.rows[this.at[i]][j]; }));
    return values;
  }
}
