// The readout: what the lines are under the pointer, with units.

import { svg } from "./dom.js";
import { figures } from "./format.js";
import { width } from "./label.js";

// readout shows the values of plot at a place.
export function readout(plot) {
  let place = null;

  // index of the sample of line nearest to the place.
  function nearest(line) {
    let best = -1, least = Infinity;
    for (let i = 0; i < Math.min(line.xs.length, line.ys.length); i++) {
      if (!Number.isFinite(line.ys[i])) continue;
      const dx = plot.sx.place(line.xs[i]) - place[0];
      const dy = plot.nearest === "xy" ? plot.sy.place(line.ys[i]) - place[1] : 0;
      const d = dx * dx + dy * dy;
      if (d < least) [best, least] = [i, d];
    }
    return { i: best, least };
  }

  function paint() {
    plot.cursor.replaceChildren();
    if (!place || !plot.data || !plot.box) return;
    const { x0, x1, y0, y1 } = plot.box;
    if (place[0] < x0 || place[0] > x1 || place[1] < y0 || place[1] > y1) return;
    if (plot.data.grid && over(plot.data.grid)) return;
    let found = plot.data.lines.map((line) => ({ line, ...nearest(line) })).filter((f) => f.i >= 0);
    if (!found.length) return;
    if (plot.nearest === "xy") found = [found.reduce((a, b) => (b.least < a.least ? b : a))];
    const head = found[0].line.xs[found[0].i];
    const rows = [`${figures(head, 4)} ${plot.x.unit}`];
    for (const { line, i } of found) {
      rows.push(`${line.name} ${figures(line.ys[i], 4)} ${line.unit ?? plot.y.unit}`);
      if (line.also) rows.push(`${line.also.name} ${figures(line.also.values[i], 4)} ${line.also.unit}`);
      const at = [plot.sx.place(line.xs[i]), plot.sy.place(line.ys[i])];
      if (at[1] >= y0 && at[1] <= y1) plot.cursor.append(svg("circle", { class: `dot ${line.look}`, cx: at[0], cy: at[1], r: 3.5 }));
    }
    const at = plot.sx.place(head);
    if (plot.nearest === "x") plot.cursor.prepend(svg("line", { x1: at, x2: at, y1: y0, y2: y1 }));
    paper(at, rows);
  }

  // over shows the tile of grid under the place, if there is one.
  function over({ name, unit, xs, ys, values }) {
    const near = (all, v) => all.reduce((best, x, i) => (Math.abs(x - v) < Math.abs(all[best] - v) ? i : best), 0);
    const i = near(xs, plot.sx.value(place[0])), k = near(ys, plot.sy.value(place[1]));
    const v = values[k]?.[i];
    if (!Number.isFinite(v)) return false;
    paper(place[0], [`${figures(xs[i], 4)} ${plot.x.unit}, ${figures(ys[k], 4)} ${plot.y.unit}`, `${name} ${figures(v, 3)} ${unit}`]);
    return true;
  }

  // paper writes rows beside at.
  function paper(at, rows) {
    const { x1, y0, y1 } = plot.box;
    const w = Math.max(...rows.map(width)) + 14, h = 16 * rows.length + 8;
    const left = at + 12 + w > x1 ? Math.max(2, at - 12 - w) : at + 12;
    const top = Math.max(y0 + 2, Math.min(place[1] - h - 8, y1 - h - 2));
    plot.cursor.append(svg("rect", { class: "paper", x: left, y: top, width: w, height: h, rx: 3 }));
    rows.forEach((r, k) => plot.cursor.append(svg("text", { x: left + 7, y: top + 16 + 16 * k }, r)));
  }

  return {
    paint,
    show(at) { place = at; paint(); },
    hide() { if (place) { place = null; paint(); } },
  };
}
