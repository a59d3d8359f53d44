// A chart of curves over one axis: uPlot with our looks, our legend in words, and its width from the page.
import { make } from "./make.js";

export function colour(host, name) { return getComputedStyle(host).getPropertyValue(`--${name}`).trim(); }

function sample(host, series) {
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  svg.setAttribute("width", "26"); svg.setAttribute("height", "8"); svg.setAttribute("aria-hidden", "true");
  const line = document.createElementNS("http://www.w3.org/2000/svg", "line");
  const set = { x1: 0, x2: 26, y1: 4, y2: 4, stroke: colour(host, series.colour), "stroke-width": series.width ?? 1.6,
    "stroke-dasharray": (series.dash ?? []).join(" ") };
  for (const [name, value] of Object.entries(set)) line.setAttribute(name, value);
  svg.append(line);
  return svg;
}

export class Chart {
  // about: { title, y, x: {label, log}, series: [{name, colour, dash, width}], height, sync, range, padLegend }
  constructor(host, about) {
    this.about = about;
    this.figure = make("figure", { class: "chart", role: "group", "aria-label": about.title });
    this.legend = make("div", { class: "legend" });
    this.place = make("div", { role: "img", "aria-label": about.title });
    this.caption = make("p", { class: "hidden" });
    this.figure.append(this.legend, this.place, this.caption);
    host.append(this.figure);
    this.data = [[], ...about.series.map(() => [])];
    this.span = null;
    this.plot = null;
    new ResizeObserver(() => this.resize()).observe(this.place);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.build());
    this.build();
  }

  width() { return Math.max(160, Math.floor(this.place.clientWidth)); }

  build() {
    if (!this.place.isConnected || this.place.clientWidth === 0) return;
    this.plot?.destroy();
    const ink = colour(this.place, "soft"), grid = colour(this.place, "grid");
    const font = "12px Georgia, 'DejaVu Serif', serif";
    const axis = { stroke: ink, font, labelFont: font, grid: { stroke: grid, width: 1 }, ticks: { stroke: grid, width: 1 } };
    const { about } = this;
    const options = {
      width: this.width(), height: about.height, legend: { show: false }, padding: [8, 18, 0, 0],
      scales: { x: { time: false, distr: about.x.log ? 3 : 1, ...(about.x.range ? { range: about.x.range } : {}) },
        y: about.range ? { range: about.range } : {} },
      cursor: { y: false, points: { show: false }, drag: { x: true, y: false, setScale: false },
        ...(about.sync ? { sync: { key: about.sync, setSeries: false } } : {}) },
      axes: [
        { ...axis, label: about.x.hide ? undefined : about.x.label, labelSize: 18, size: about.x.hide ? 8 : 30,
          values: about.x.hide ? () => [] : (_, values) => values.map((v) => (v === null ? "" : String(+v.toPrecision(6)))) },
        { ...axis, label: about.y, labelSize: 18, size: 50, values: (_, values) => values.map((v) => (v === null ? "" : String(+v.toPrecision(6)).replace("-", "−"))) },
      ],
      series: [{}, ...about.series.map((one) => ({
        stroke: colour(this.place, one.colour), width: one.width ?? 1.6, dash: one.dash, points: { show: false },
        spanGaps: false,
      }))],
      hooks: {
        setCursor: [(plot) => about.onCursor?.(plot.cursor.idx)],
        setSelect: [(plot) => {
          if (plot.select.width < 4 || !about.onZoom) return;
          about.onZoom(plot.posToVal(plot.select.left, "x"), plot.posToVal(plot.select.left + plot.select.width, "x"));
          plot.setSelect({ left: 0, width: 0, top: 0, height: 0 }, false);
        }],
        draw: about.draw ? [(plot) => about.draw(plot, (name) => colour(this.place, name))] : [],
      },
    };
    this.plot = new uPlot(options, this.data, this.place);
    if (this.span) this.plot.setScale("x", { min: this.span[0], max: this.span[1] });
    this.explain();
  }

  explain() {
    const told = this.about.series.filter((one) => one.name && !one.quiet);
    this.legend.replaceChildren(...told.map((one) => make("span", {}, sample(this.place, one), one.name)));
  }

  // Names of the first curves; those behind them have none.
  name(names) {
    const told = this.about.series.filter((one) => !one.quiet);
    if (told.every((one, i) => one.name === (names[i] ?? ""))) return;
    told.forEach((one, i) => { one.name = names[i] ?? ""; });
    this.explain();
  }

  resize() {
    if (!this.plot) { this.build(); return; }
    if (this.plot.width !== this.width()) this.plot.setSize({ width: this.width(), height: this.about.height });
  }

  show(data) {
    this.data = data;
    if (!this.plot) { this.build(); return; }
    this.plot.batch(() => {
      this.plot.setData(data, !this.span);
      if (this.span) this.plot.setScale("x", { min: this.span[0], max: this.span[1] });
    });
  }

  zoom(span) {
    this.span = span;
    if (!this.plot || !this.data[0].length) return;
    const first = this.data[0][0], last = this.data[0][this.data[0].length - 1];
    this.plot.setScale("x", span ? { min: span[0], max: span[1] } : { min: first, max: last });
  }

  say(text) { this.place.setAttribute("aria-label", `${this.about.title}. ${text}`); }
}
