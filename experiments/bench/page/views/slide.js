// A labelled slider with its value in words, for a number of the state.
import { make } from "../parts/make.js";

let count = 0;

// about: { label, low, high, step, words(value), value(state), set(state, value) }
export function slide(host, sheet, about) {
  const id = `slide-${++count}`, said = make("output", { htmlFor: id });
  const input = make("input", {
    id, type: "range", min: about.low, max: about.high, step: about.step,
    onpointerdown: () => sheet.state.hold(),
    oninput: () => sheet.change((now) => about.set(now, Number(input.value)), true),
    onchange: () => sheet.rested(),
  });
  host.append(make("label", { htmlFor: id }, about.label), input, said);
  return { show(state) {
    const value = about.value(state);
    if (document.activeElement !== input || Number(input.value) !== value) input.value = value;
    said.textContent = about.words(value);
    input.setAttribute("aria-valuetext", said.textContent);
  } };
}

// One for a knob of the rig, where the rig has it.
export function knobSlide(host, sheet, key, label, reach) {
  const knob = () => sheet.rig().knobs.find((one) => one.key === key);
  if (!knob()) return { show() {} };
  const [low, high] = reach;
  return slide(host, sheet, {
    label, low, high, step: (high - low) / 200,
    words: (value) => `${Number(value.toPrecision(3))} ${knob()?.unit ?? ""}`.trim(),
    value: (state) => Number(state.settings[key] ?? knob()?.value ?? low),
    set: (state, value) => { if (value === knob()?.value) delete state.settings[key]; else state.settings[key] = value; },
  });
}
