// Understand: what does a wrong set point do? And how is the right one found?
import { LawPlot } from "./lawplot.js";
import { fixed, make, signed } from "../parts/make.js";
import { SearchSteps } from "./searchsteps.js";
import { knobSlide, slide } from "./slide.js";

export class Understand {
  constructor(host, sheet) {
    this.sheet = sheet;
    this.box = make("div", {}, make("h2", {}, "What does a wrong set point do?"));
    this.words = make("p", { class: "answer", role: "status" });
    const sliders = make("div", { class: "sliders" });
    this.box.append(this.words, sliders);
    this.sliders = [
      slide(sliders, sheet, { label: "volume held, against the unloaded one", low: -40, high: 40, step: 1,
        words: (value) => (value === 0 ? "as it should be" : `${Math.abs(value)} % too ${value > 0 ? "large" : "small"}`),
        value: (state) => Math.round(100 * state.volume_error), set: (state, value) => { state.volume_error = value / 100; } }),
      knobSlide(sliders, sheet, "tone.level", "vasomotor tone (constricted to the right)", [-2, 3]),
      knobSlide(sliders, sheet, "artery.fast_fraction", "share of the wall that follows at once; the rest creeps", [0.3, 1]),
      knobSlide(sliders, sheet, "light.venous_path_cm", "venous blood in the light's path", [0, 0.2]),
    ];
    const law = make("div");
    this.box.append(make("h3", {}, "The artery at rest, and where the clamp holds it"), law);
    this.law = new LawPlot(law);
    this.note = make("p", { class: "note" });
    this.box.append(this.note);
    host.append(this.box);
    this.search = new SearchSteps(this.box, sheet);
  }

  shown(visible, now) {
    this.box.hidden = !visible;
    for (const one of this.sliders) one.show(now);
  }

  answered(head, curves) {
    const { law } = head, t = head.strips.tracking;
    if (this.box.hidden) return;
    this.law.show(law, curves);
    this.note.textContent = `Compliance at what is held is ${fixed(100 * law.compliance_share, 0)} % of that at the unloaded pressure: the loop's gain falls with it.`;
    if (!t || !t.beats) { this.words.textContent = head.strips.why ?? head.strips.message ?? ""; return; }
    const off = Math.round(1000 * law.offset_mmHg) / 1000;
    const share = Math.round(100 * law.volume_error);  // the answer's own: the slider may be further by now
    const wrong = share ? `${Math.abs(share)} % too ${share > 0 ? "large" : "small"}, ` : "";
    const held = off === 0 ? "Held at the unloaded volume" : `Held ${wrong}${fixed(Math.abs(off), 1)} mmHg of transmural pressure ${off > 0 ? "above" : "below"} the unloaded one`;
    this.words.textContent = `${held}, the cuff reads systolic pressure off by ${signed(t.systolic_mmHg, 1)}, mean by ${signed(t.mean_mmHg, 1)} and diastolic by ${signed(t.diastolic_mmHg, 1)} mmHg, `
      + `and the pulse is ${fixed(100 * (1 + (t.systolic_mmHg - t.diastolic_mmHg) / t.pulse_mmHg), 0)} % of its true size.`;
  }
}
