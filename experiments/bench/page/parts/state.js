// What is on the page: one plain object, a history for undo, and an address that holds all of it.

export const VIEWS = ["tune", "understand", "break"];
const NUMBERS = ["window_s", "offset_mmHg", "volume_error"];

export function fresh(rig) {
  return {
    view: "tune", rig, settings: {}, ghost: null, window_s: 5, offset_mmHg: 0, volume_error: 0, options: {},
  };
}

export class State {
  constructor(now) {
    this.now = now;
    this.past = [];
    this.future = [];
    this.mark = null;      // the state before a hand took hold of a slider
    this.watchers = [];
  }

  watch(watcher) { this.watchers.push(watcher); }

  tell(about) { for (const watcher of this.watchers) watcher(this.now, about); }

  // One step of history, whatever happens until `done`.
  hold() { if (this.mark === null) this.mark = JSON.stringify(this.now); }

  done() {
    if (this.mark !== null && this.mark !== JSON.stringify(this.now)) { this.past.push(this.mark); this.future = []; }
    this.mark = null;
  }

  change(about, change) {
    const held = this.mark !== null;
    this.hold();
    change(this.now);
    if (!held && !about.dragging) this.done();
    this.tell(about);
  }

  undo() { this._step(this.past, this.future); }

  redo() { this._step(this.future, this.past); }

  _step(from, to) {
    this.done();
    if (!from.length) return;
    to.push(JSON.stringify(this.now));
    this.now = JSON.parse(from.pop());
    this.tell({ everything: true });
  }
}

function written(value) { return typeof value === "string" ? `'${value}` : String(value); }

function readValue(text) {
  if (text.startsWith("'")) return text.slice(1);
  if (text === "true" || text === "false") return text === "true";
  const value = Number(text);
  return text !== "" && Number.isFinite(value) ? value : undefined;
}

export function address(state) {
  const words = new URLSearchParams();
  words.set("view", state.view);
  words.set("rig", state.rig);
  for (const [key, value] of Object.entries(state.settings)) words.append(`set.${key}`, written(value));
  if (state.ghost) {
    words.set("ghost", state.ghost.rig);
    for (const [key, value] of Object.entries(state.ghost.settings)) words.append(`ghost.${key}`, written(value));
  }
  const usual = fresh(state.rig);
  for (const name of NUMBERS) if (state[name] !== usual[name]) words.set(name, String(state[name]));
  for (const [name, value] of Object.entries(state.options)) words.set(`option.${name}`, written(value));
  return `#${words}`;
}

// What an address holds; what does not belong there is left out.
export function readAddress(hash, rigs) {
  const words = new URLSearchParams(hash.replace(/^#/, ""));
  const known = (rig) => (rigs.includes(rig) ? rig : null);
  const state = fresh(known(words.get("rig")) ?? rigs[0]);
  if (VIEWS.includes(words.get("view"))) state.view = words.get("view");
  if (known(words.get("ghost"))) state.ghost = { rig: words.get("ghost"), settings: {} };
  for (const [name, text] of words) {
    const value = readValue(text);
    if (value === undefined) continue;
    if (name.startsWith("set.")) state.settings[name.slice(4)] = value;
    else if (name.startsWith("option.")) state.options[name.slice(7)] = value;
    else if (name.startsWith("ghost.") && state.ghost) state.ghost.settings[name.slice(6)] = value;
    else if (NUMBERS.includes(name) && typeof value === "number") state[name] = value;
  }
  return state;
}
