// The whole sheet: what is where, who asks what when, and what becomes of an answer.
import { Drawer } from "./drawer.js";
import { Brush } from "../views/brush.js";
import { Ledger } from "./ledger.js";
import { Asking } from "./live.js";
import { LoopView } from "./loopview.js";
import { make } from "./make.js";
import { People } from "../views/people.js";
import { State, address, fresh } from "./state.js";
import { Strips } from "./strips.js";
import { TopBar } from "./topbar.js";
import { views } from "../views/views.js";

const REST_ms = 180, CHECK_ms = 500, LOST_ms = 180_000;  // the first check of all compiles for a minute or two

export class Sheet {
  // settled: called with the state whenever it has come to rest (the page puts it into its address)
  // keys: where Ctrl-Z is listened for: the whole page, or in a notebook the sheet alone
  constructor(host, makeLine, settled, wanted, keys = host) {
    this.keys = keys;
    this.host = host; this.settled = settled; this.wanted = wanted;
    this.state = null; this.own = null; this.ghost = null; this.timers = {};
    this.handlers = {
      known: (a) => this.meet(a.head), state: (a) => this.serverState(a.head),
      own: (a) => this.answered(a), ghost: (a) => this.ghostAnswered(a),
      check: (a) => this.checked(a), "ghost-check": (a) => this.ghostChecked(a),
      "compile-own": (a) => { if (a.head.last) this.ask(false); },
      "compile-ghost": (a) => { if (a.head.last) this.askGhost(); },
    };
    this.asking = new Asking(makeLine, this.handlers);
    this.asking.onLost = () => this.say("The bench does not answer: it was stopped or restarted. This page finds it again by itself.", true);
    this.asking.onOpen = () => this.say("");
    this.status = make("p", { class: "state", role: "status" }, "Finding the bench…");
    host.classList.add("bench");
    host.append(this.status);
  }

  say(text, trouble = false) { this.status.textContent = text; this.status.classList.toggle("trouble", trouble); }

  meet(known) {
    this.known = known;
    if (!this.state) { this.state = new State(this.wanted(known.rigs.map((rig) => rig.name))); this.build(); this.state.watch((now, about) => this.changed(now, about)); }
    this.changed(this.state.now, { everything: true });
  }

  serverState(head) {
    this.ready = head.ready;
    if (head.trouble) this.say(head.trouble, true);
    else if (!head.ready) this.say("Preparing the kernel of this rig. The very first time it is compiled, which takes about half a minute; later it is there at once.");
    else { this.say(""); this.ask(false); this.askGhost(); }
  }

  rig(name = this.state.now.rig) { return this.known.rigs.find((rig) => rig.name === name); }

  build() {
    this.bar = new TopBar(this.host, this);
    this.caution = make("p", { class: "caution", role: "note" }, `Caution. ${this.known.caution}`);
    this.host.prepend(this.bar.header, this.caution);
    const left = make("aside", { class: "drawer card", "aria-label": "Parameters" });
    this.middle = make("div", { class: "middle" });
    const question = make("section", { class: "card", "aria-label": "Question" });
    const strips = make("section", { class: "card strips", "aria-label": "What the cuff does" });
    const budget = make("section", { class: "card budget", "aria-label": "What each part costs" });
    this.middle.append(question, strips, budget);
    this.right = make("section", { class: "right card", "aria-label": "What the loop allows" });
    const ledger = make("section", { class: "wide card", "aria-label": "Limits" });
    const people = make("section", { class: "wide card tuning", "aria-label": "Other fingers" });
    const brush = make("section", { class: "wide card tuning", "aria-label": "Map of two knobs" });
    this.host.append(make("main", { class: "sheet" }, left, this.middle, this.right, ledger, people, brush));
    this.drawer = new Drawer(left, {
      turn: (key, value, dragging) => this.turn(key, value, dragging), hold: () => this.state.hold(), done: () => this.rested(),
    });
    this.strips = new Strips(strips);
    this.loop = new LoopView(this.right, budget);
    this.ledger = new Ledger(ledger);
    this.people = new People(people, this);
    this.brush = new Brush(brush, this);
    this.views = Object.fromEntries(views.map((view) => [view.name, new view.build(question, this)]));
    this.keys.addEventListener("keydown", (event) => this.key(event));
  }

  key(event) {
    if (!(event.ctrlKey || event.metaKey) || event.altKey) return;
    const typing = event.target.matches?.("input[type=text], input[type=search]") && document.activeElement === event.target && event.target.value !== event.target.defaultValue;
    const letter = event.key.toLowerCase();
    if (letter === "z" && !event.shiftKey && !typing) { event.preventDefault(); this.state.undo(); }
    if ((letter === "y" || (letter === "z" && event.shiftKey)) && !typing) { event.preventDefault(); this.state.redo(); }
  }

  turn(key, value, dragging) {
    const knob = this.rig().knobs.find((one) => one.key === key);
    this.state.change({ key, dragging }, (now) => {
      if (value === undefined || value === knob?.value) delete now.settings[key]; else now.settings[key] = value;
      if (key.endsWith(".kind")) for (const other of Object.keys(now.settings)) if (other !== key && other.startsWith(`${key.split(".")[0]}.`)) delete now.settings[other];
    });
  }

  change(change, dragging = false) { this.state.change({ dragging }, change); }

  rested() { this.state.done(); this.ask(false); }

  // The state has changed: show it, and ask.
  changed(now, about) {
    const rig = this.rig();
    if (about.everything || this.heldRig !== rig) { this.heldRig = rig; this.drawer.hold(rig.knobs, rig.featured); }
    this.drawer.clear();
    this.drawer.show(now.settings);
    this.bar.show(now, this.state);
    this.host.dataset.view = now.view;
    for (const [name, view] of Object.entries(this.views)) view.shown(name === now.view, now);
    this.people.shown(now);
    this.brush.shown(now);
    if (!this.ready) return;
    this.ask(Boolean(about.dragging), about.key);
    if (about.everything || about.ghost) this.askGhost();
  }

  request(which = this.state.now) {
    const { rig, settings } = which, { window_s, offset_mmHg, volume_error } = this.state.now;
    return { rig, settings, window_s, offset_mmHg, volume_error };
  }

  ask(dragging, moved = "") {
    clearTimeout(this.timers.rest); clearTimeout(this.timers.check);
    this.asking.ask("own", { ...this.request(), dragging, moved });
    this.moved = moved || this.moved;
    if (dragging) this.timers.rest = setTimeout(() => this.ask(false, moved), REST_ms);
    else this.timers.check = setTimeout(() => this.askCheck(), CHECK_ms);
    this.ledger.waiting(dragging ? "You are turning a knob: the limits are judged once it rests." : "Running the whole check…");
    if (!dragging) this.settled(this.state.now);
    this.views[this.state.now.view].ask?.(dragging);
    if (this.state.now.view === "tune") this.people.ask();
  }

  askCheck() {
    const number = this.asking.askAside("check", "check", { ...this.request(), moved: this.moved ?? "" });
    this.timers.check = setTimeout(() => { if (this.asking.isNewest("check", number) && this.answeredCheck !== number) this.askCheck(); }, LOST_ms);
    if (this.state.now.ghost && this.ghostCheckFor !== JSON.stringify(this.state.now.ghost)) {
      this.ghostCheckFor = JSON.stringify(this.state.now.ghost);
      this.asking.askAside("ghost-check", "check", this.request(this.state.now.ghost));
    }
  }

  askGhost() {
    const { ghost } = this.state.now;
    if (ghost) this.asking.ask("ghost", { ...this.request(ghost), dragging: false });
    else { this.ghost = null; this.ledger.showOther(null); this.ghostCheckFor = null; if (this.own) this.draw(); }
  }

  answered(answer) {
    if (answer.head.error) { this.refused(answer.head); return; }
    this.own = answer;
    this.drawer.clear();
    this.say("");
    this.draw();
  }

  refused(head) {
    const beside = this.drawer.complain(head.key || "", head.error);
    this.say(beside ? `Not possible: ${head.key}; see beside it. The curves are those of before.` : head.error, true);
    clearTimeout(this.timers.check);
    this.ledger.waiting("Not judged: the rig as it stands is not possible.");
  }

  draw() {
    const { head, curves } = this.own;
    this.loop.show(head.loop, curves, this.ghost?.curves);
    this.strips.show({ ...head.strips, quick: head.quick }, curves, this.ghost?.curves, this.ghost ? this.state.now.ghost?.rig : "");
    for (const view of Object.values(this.views)) view.answered?.(head, curves);
    this.host.dispatchEvent(new CustomEvent("drawn", { detail: { quick: head.quick, number: head.number } }));
  }

  ghostAnswered(answer) {
    if (answer.head.error) { this.say(`Held beside: ${answer.head.error}`, true); return; }
    this.ghost = answer;
    if (this.own) this.draw();
  }

  checked(answer) {
    this.answeredCheck = answer.head.number;
    if (answer.head.last) return;
    if (answer.head.error) { this.ledger.clear(`No verdict: ${answer.head.error}`); return; }
    this.verdict = answer.head;
    this.ledger.show(answer.head);
    for (const view of Object.values(this.views)) view.checked?.(answer.head);
  }

  ghostChecked(answer) { if (!answer.head.last && !answer.head.error) this.ledger.showOther(answer.head, this.state.now.ghost?.rig ?? ""); }

  resetAll() { this.state.change({ everything: true }, (now) => Object.assign(now, { ...fresh(now.rig), view: now.view, ghost: now.ghost })); }

  address() { return address(this.state.now); }
}
