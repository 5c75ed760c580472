// Plot is the one kind of plot of every view: an SVG with axes, direct labels,
// hover readout, pan and zoom, a table of the same data, and files to keep.
//
// A plot is told once what it is (see the constructor) and then given data:
//   lines:   [{name, unit, look, xs, ys, figures, also, at}]  at: label anchors [[x, y], …]; also: {name, unit, values}
//            cloud: true draws points in place of a line
//   grid:    {name, unit, xs, ys, values: rows by y, share(v): 0 to 1}  a tile about each place of rising xs and ys
//   rules:   [{x, text, look}]         vertical lines
//   dots:    [{x, y, text, look}]      single points
//   bands:   [{from, to}]              shaded ranges of x
//   labels:  [{text, look, anchors}]   words beside one of the anchors [[x, y], …]
//   home:    {x: [lo, hi], y: [lo, hi]}  what is shown before any zoom
//   summary: one sentence for those who do not see it
// A look is main, other, third or gray: a colour together with its dashes.

import { el, svg } from "./dom.js";
import { figures, join } from "./format.js";
import { place } from "./label.js";
import { Scale, ticks } from "./scale.js";
import { handle } from "./plot-hand.js";
import { readout } from "./plot-read.js";
import { files } from "./plot-keep.js";
import { table } from "./plot-table.js";

const pad = { left: 50, right: 12, top: 24, bottom: 38 }; // around the frame [px]
const far = 1e4; // places farther off are drawn here [px]

export class Plot {
  // key is its name in addresses and files; x and y are {label, unit, kind:
  // linear, angle or log}; nearest is "x" or "xy", how the readout finds its
  // point; zoomed(range or null) hears of zooms; picked(x, y) of a click, if anybody
  // does; about() gives files their facts: {lines of text, meta object}.
  constructor({ key, title, x, y, nearest = "x", zoomed = () => {}, picked = null, about }) {
    Object.assign(this, { key, title, x, y, nearest, zoomed, picked, about });
    this.data = null;
    this.range = null; // {x, y} while zoomed
    this.size = { w: 0, h: 0 };
    this.svg = svg("svg", { role: "img" });
    this.body = svg("g");
    this.cursor = svg("g", { class: "cursor" });
    this.svg.append(this.body, this.cursor);
    this.field = el("div", { className: "field", tabIndex: 0, role: "group", "aria-roledescription": "plot" }, this.svg);
    this.tools = el("div", { className: "tools" });
    this.table = table(this);
    const id = `plot-${key}`;
    this.element = el("section", { className: "plot", id, "aria-labelledby": `${id}-title` },
      el("div", { className: "head" }, el("h3", { id: `${id}-title`, textContent: title }), this.tools),
      this.field, this.table.element);
    this.reader = readout(this);
    handle(this);
    files(this);
    new ResizeObserver(() => this.resize()).observe(this.field);
  }

  // draw shows data.
  draw(data) {
    this.data = data;
    this.paint();
    this.table.changed();
  }

  // show sets the shown range, null for all of it.
  show(range, tell = true) {
    this.range = range;
    this.paint();
    if (tell) this.zoomed(range);
  }

  shown() {
    return this.range ?? this.data.home;
  }

  resize() {
    this.size = { w: this.field.clientWidth, h: this.field.clientHeight };
    this.paint();
  }

  paint() {
    const { w, h } = this.size;
    if (!this.data || w < 120 || h < 90) return;
    const { x, y } = this.shown();
    this.box = { x0: pad.left, x1: w - pad.right, y0: pad.top, y1: h - pad.bottom };
    this.sx = new Scale(x[0], x[1], this.box.x0, this.box.x1, this.x.kind === "log");
    this.sy = new Scale(y[0], y[1], this.box.y1, this.box.y0, this.y.kind === "log");
    this.svg.setAttribute("width", w);
    this.svg.setAttribute("height", h);
    this.svg.setAttribute("viewBox", `0 0 ${w} ${h}`); // paper has another width
    this.svg.setAttribute("aria-label", this.data.summary);
    this.field.setAttribute("aria-label", `${this.title}. Plus and minus zoom, arrows move, 0 shows all.`);
    this.body.replaceChildren(...this.axes(), ...this.content());
    this.reader.paint();
  }

  axes() {
    const { x0, x1, y0, y1 } = this.box;
    const out = [];
    const grid = svg("g", { class: "grid" });
    const texts = svg("g", { class: "ticks" });
    for (const v of ticks(this.sx.lo, this.sx.hi, Math.max(2, (x1 - x0) / 62), this.x.kind)) {
      const at = this.sx.place(v).toFixed(1);
      grid.append(svg("line", { x1: at, x2: at, y1: y0, y2: y1 }));
      texts.append(text(at, y1 + 15, tick(v), "middle"));
    }
    for (const v of ticks(this.sy.lo, this.sy.hi, Math.max(2, (y1 - y0) / 38), this.y.kind)) {
      const at = this.sy.place(v).toFixed(1);
      grid.append(svg("line", { x1: x0, x2: x1, y1: at, y2: at }));
      texts.append(text(x0 - 6, Number(at) + 4, tick(v), "end"));
    }
    out.push(grid, svg("rect", { class: "frame", x: x0, y: y0, width: x1 - x0, height: y1 - y0 }), texts);
    const names = svg("g", { class: "names" },
      text(x0 - 40, y0 - 10, join(this.y.label, this.y.unit), "start"),
      text((x0 + x1) / 2, y1 + 32, join(this.x.label, this.x.unit), "middle"));
    out.push(names);
    return out;
  }

  content() {
    const { x0, x1, y0, y1 } = this.box;
    const { lines, rules = [], dots = [], bands = [], grid } = this.data;
    const id = `clip-${this.key}`;
    const clip = svg("clipPath", { id }, svg("rect", { x: x0, y: y0, width: x1 - x0, height: y1 - y0 }));
    const inside = svg("g", { "clip-path": `url(#${id})` });
    const labels = [], points = [];
    if (grid) inside.append(...this.tiles(grid));
    for (const b of bands) {
      const a = clamp(this.sx.place(b.from)), e = clamp(this.sx.place(b.to));
      inside.append(svg("rect", { class: "band", x: Math.min(a, e), y: y0, width: Math.abs(e - a), height: y1 - y0 }));
    }
    for (const r of rules) {
      const at = clamp(this.sx.place(r.x));
      inside.append(svg("line", { class: `rule ${r.look}`, x1: at, x2: at, y1: y0, y2: y1 }));
      for (let y = y0; y < y1; y += 6) points.push([at, y]);
      if (r.text) labels.push({ text: r.text, look: r.look, anchors: [0.06, 0.16, 0.3].map((u) => [at, y0 + u * (y1 - y0)]) });
    }
    for (const l of lines) {
      inside.append(svg("path", l.cloud ? { class: `cloud ${l.look}`, d: this.cloud(l) } : { class: `line ${l.look}`, d: this.path(l, points) }));
    }
    for (const d of dots) {
      const at = [clamp(this.sx.place(d.x)), clamp(this.sy.place(d.y))];
      inside.append(svg("circle", { class: `dot ${d.look}`, cx: at[0], cy: at[1], r: 4 }));
      points.push(at);
      if (d.text) labels.unshift({ text: d.text, look: d.look, anchors: [at] });
    }
    for (const l of lines) {
      if (l.at) labels.push({ text: l.name, look: l.look, anchors: l.at.map(([x, y]) => [this.sx.place(x), this.sy.place(y)]) });
    }
    for (const { text, look, anchors } of this.data.labels ?? []) {
      labels.push({ text, look, anchors: anchors.map(([x, y]) => [this.sx.place(x), this.sy.place(y)]) });
    }
    const words = svg("g", { class: "labels" });
    place(labels, points, this.box).forEach((p, i) => {
      if (p) words.append(svg("text", { class: `text ${labels[i].look}`, x: p.x.toFixed(1), y: p.y.toFixed(1) }, labels[i].text));
    });
    return [clip, inside, words];
  }

  // tiles draws a grid; a tile reaches half way to its neighbours.
  tiles({ xs, ys, values, share }) {
    const ends = (at, i) => [at[i] - (at[i] - (at[i - 1] ?? 2 * at[i] - at[i + 1])) / 2, at[i] + ((at[i + 1] ?? 2 * at[i] - at[i - 1]) - at[i]) / 2];
    const out = [];
    ys.forEach((_, k) => xs.forEach((_, i) => {
      const v = values[k]?.[i];
      if (!Number.isFinite(v)) return;
      const [a, b] = ends(xs, i).map((x) => clamp(this.sx.place(x))), [c, d] = ends(ys, k).map((y) => clamp(this.sy.place(y)));
      out.push(svg("rect", { class: "tile", x: Math.min(a, b), y: Math.min(c, d), width: Math.abs(b - a), height: Math.abs(d - c), "fill-opacity": share(v).toFixed(3) }));
    }));
    return out;
  }

  // cloud draws points.
  cloud({ xs, ys }) {
    let d = "";
    for (let i = 0; i < Math.min(xs.length, ys.length); i++) {
      if (Number.isFinite(xs[i]) && Number.isFinite(ys[i])) d += `M${clamp(this.sx.place(xs[i])).toFixed(1)} ${clamp(this.sy.place(ys[i])).toFixed(1)}h0`;
    }
    return d;
  }

  // path draws a line and adds some of its points, as obstacles for labels.
  path({ xs, ys, closed }, points) {
    const [lo, hi] = [this.sx.lo, this.sx.hi];
    let d = "", pen = "M", last = -Infinity;
    const n = Math.min(xs.length, ys.length);
    for (let i = 0; i < n; i++) {
      if (!Number.isFinite(ys[i])) {
        pen = "M";
        continue;
      }
      const before = xs[i] < lo && !(xs[i + 1] >= lo) && !(xs[i - 1] >= lo);
      const after = xs[i] > hi && !(xs[i - 1] <= hi) && !(xs[i + 1] <= hi);
      if (before || after) {
        pen = "M";
        continue;
      }
      const px = clamp(this.sx.place(xs[i])), py = clamp(this.sy.place(ys[i]));
      d += `${pen}${px.toFixed(1)} ${py.toFixed(1)}`;
      pen = "L";
      if (Math.abs(px - last) > 4) {
        points.push([px, py]);
        last = px;
      }
    }
    return closed ? d + "Z" : d;
  }
}

function tick(v) {
  return figures(Number(v.toPrecision(6)), 6).replace(/(\.\d*?)0+$/, "$1").replace(/\.$/, "");
}

function text(x, y, words, anchor) {
  return svg("text", { x, y, "text-anchor": anchor }, words);
}

function clamp(place) {
  return Math.min(far, Math.max(-far, place));
}
