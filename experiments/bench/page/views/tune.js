// Tune: what limits me? Answered from the ledger and the budget, in words.
import { fixed, make, shown } from "../parts/make.js";
import { number } from "../parts/wire.js";

export class Tune {
  constructor(host, sheet) {
    this.sheet = sheet;
    this.box = make("div", {}, make("h2", {}, "What limits me?"));
    this.words = make("p", { class: "answer" }, "Turn a knob at the left: margins, trace and verdict follow.");
    this.box.append(this.words);
    host.append(this.box);
    this.limit = ""; this.cost = "";
  }

  shown(visible) { this.box.hidden = !visible; }

  answered(head) {
    if (!head.loop.stable) { this.words.textContent = "Stability: the loop oscillates by itself. Lower the gain, or take dead time, tube or lag out of it."; return; }
    const { budget } = head.loop;
    if (budget) {
      const [[part, degrees]] = Object.entries(budget.degrees).filter(([name]) => name !== "cuff").sort((a, b) => a[1] - b[1]);
      this.cost = ` At crossover (${shown(budget.at_Hz, 3)} Hz) the part that costs most phase, the filling of the cuff aside, is: ${part}, ${fixed(degrees, 1)}°.`;
    }
    this.tell();
  }

  checked(head) {
    const slack = head.ledger.map((row) => ({ row, slack: slackOf(row) })).sort((a, b) => a.slack - b.slack);
    const first = slack[0];
    this.limit = first ? `${first.slack < 0 ? "Beyond its limit" : "Nearest to its limit"}: ${first.row.what}, ${first.row.found_text} ${first.row.unit} where ${first.row.allowed_text} ${first.row.unit} is asked for.` : "";
    this.tell();
  }

  tell() { this.words.textContent = `${this.limit}${this.cost}`.trim(); }
}

// How much of a limit is left, as a share of it; below zero when it is broken.
function slackOf(row) {
  const found = number(row.found), allowed = row.allowed;
  if (Number.isNaN(found)) return -Infinity;
  const left = row.limit === "min" ? found - allowed : allowed - found;
  return left / (Math.abs(allowed) || 1);
}
