// The line above the sheet: which view, which rig, what is held beside it, undo, and what can be taken home.
import { make } from "./make.js";
import { copy, savePicture, saveText } from "./take.js";
import { views } from "../views/views.js";

export class TopBar {
  constructor(host, sheet) {
    this.sheet = sheet;
    const names = sheet.known.rigs.map((rig) => rig.name);
    const button = (text, act, more = {}) => make("button", { type: "button", onclick: act, ...more }, text);
    this.tabs = views.map((view) => make("button", { type: "button", role: "tab", onclick: () => sheet.change((now) => { now.view = view.name; }), onkeydown: (e) => this.arrow(e) }, view.label));
    const options = () => names.map((name) => make("option", { value: name }, name));
    this.rig = make("select", { id: "rig", onchange: (e) => sheet.state.change({ everything: true }, (now) => { now.rig = e.target.value; now.settings = {}; }) }, ...options());
    this.ghost = make("select", { id: "beside", onchange: (e) => this.beside(e.target.value) }, make("option", { value: "" }, "nothing"), make("option", { value: "*" }, "this, as it is now"), ...options());
    this.window = make("select", { id: "window", onchange: (e) => sheet.change((now) => { now.window_s = Number(e.target.value); }) }, ...sheet.known.windows_s.map((s) => make("option", { value: s }, `${s} s`)));
    this.undo = button("Undo", () => sheet.state.undo(), { title: "Ctrl-Z" });
    this.redo = button("Redo", () => sheet.state.redo(), { title: "Ctrl-Y" });
    this.reset = button("Reset all", () => sheet.resetAll());
    const label = (id, text) => make("label", { htmlFor: id }, text);
    this.header = make("header", {},
      make("h1", {}, "Bench"),
      make("div", { class: "bar", role: "tablist", "aria-label": "Ways in" }, ...this.tabs),
      make("div", { class: "bar" }, label("rig", "rig"), this.rig, label("beside", "held beside"), this.ghost, label("window", "run"), this.window),
      make("div", { class: "bar" }, this.undo, this.redo, this.reset),
      make("div", { class: "bar" },
        button("Save picture", () => savePicture(sheet.host, this.title(), sheet.known.caution)),
        button("Save rig file", () => saveText(`${sheet.state.now.rig}-bench.toml`.replace(/.*\//, ""), sheet.own?.head.repeats?.rig_file ?? "")),
        button("Copy command", () => this.copyCommand())));
  }

  arrow(event) {
    const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
    if (!step) return;
    const next = this.tabs[(this.tabs.indexOf(event.target) + step + this.tabs.length) % this.tabs.length];
    next.focus(); next.click();
  }

  title() { return `${this.sheet.state.now.rig} on ${this.sheet.known.record}: ${this.sheet.own?.head.repeats?.check ?? ""}`; }

  async copyCommand() {
    const command = this.sheet.own?.head.repeats?.check ?? "";
    this.sheet.say(await copy(command) ? `Copied: ${command}` : `The command: ${command}`);
  }

  beside(which) {
    this.sheet.state.change({ ghost: true }, (now) => {
      now.ghost = which === "" ? null : which === "*" ? { rig: now.rig, settings: { ...now.settings } } : { rig: which, settings: {} };
    });
  }

  show(now, state) {
    views.forEach((view, i) => {
      const chosen = view.name === now.view;
      this.tabs[i].setAttribute("aria-selected", String(chosen));
      this.tabs[i].tabIndex = chosen ? 0 : -1;
    });
    this.rig.value = now.rig;
    this.window.value = String(now.window_s);
    this.ghost.value = !now.ghost ? "" : Object.keys(now.ghost.settings).length ? "*" : now.ghost.rig;
    this.undo.disabled = !state.past.length;
    this.redo.disabled = !state.future.length;
    this.reset.disabled = !Object.keys(now.settings).length && !now.offset_mmHg && !now.volume_error;
  }
}
