// The ledger: each limit with its figure, and whether it is kept, as the whole check found it.
import { fill, make, withUnit } from "./make.js";

export class Ledger {
  constructor(host) {
    host.append(make("h2", {}, "Does it keep its limits?"));
    this.words = make("p", { class: "answer", role: "status" });
    this.table = make("div", { class: "scroll", tabIndex: 0, role: "region", "aria-label": "Limits" });
    host.append(this.words, this.table);
    this.rows = null; this.other = null;
  }

  waiting(text) { this.table.classList.add("waiting"); this.words.textContent = text; }

  show(head) {
    this.head = head;
    this.table.classList.remove("waiting");
    const broken = head.ledger.filter((row) => !row.kept);
    this.words.textContent = head.passed
      ? `Yes: all ${head.ledger.length} limits are kept on the record ${head.record}.`
      : (broken.length ? `No: ${broken.length} of ${head.ledger.length} limits ${broken.length > 1 ? "are" : "is"} not kept: ${broken.map((row) => row.what).join("; ")}.`
        : `No verdict: ${head.message || (head.set_point ? "the record cannot show it" : "no set point was found")}.`);
    this.draw();
  }

  showOther(head, name) { this.other = head; this.otherName = name; if (this.head) this.draw(); }

  draw() {
    const other = this.other ? new Map(this.other.ledger.map((row) => [row.figure + row.limit, row])) : null;
    const heads = ["requirement", "limit", "found", ...(other ? [`${this.otherName}, held beside`] : []), "kept?"];
    const body = this.head.ledger.map((row) => {
      const beside = other?.get(row.figure + row.limit);
      return make("tr", { "data-figure": row.figure, "data-limit": row.limit }, make("td", {}, row.what),
        make("td", {}, withUnit(row.allowed_text, row.unit)), make("td", { class: "found" }, withUnit(row.found_text, row.unit)),
        ...(other ? [make("td", {}, beside ? withUnit(beside.found_text, row.unit) : "not asked")] : []),
        make("td", { class: row.kept ? "kept" : "broken" }, row.kept ? "kept" : "not kept"));
    });
    fill(this.table, make("table", {}, make("caption", {}, "As `cuffloop check` judges it, with the set point that the rig finds by itself"),
      make("thead", {}, make("tr", {}, ...heads.map((h) => make("th", { scope: "col" }, h)))), make("tbody", {}, ...body)));
  }

  clear(text) { this.head = null; fill(this.table); this.words.textContent = text; }
}
