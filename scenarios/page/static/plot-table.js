// The table beside each plot: the same data for those who read or hear it.

import { el } from "./dom.js";
import { figures, join } from "./format.js";

const most = 61; // rows; the CSV file has all

// columns of a plot's data: those of lines with the same xs share one table.
export function columns(plot) {
  const groups = [];
  for (const line of plot.data.lines) {
    let g = groups.find((o) => o.xs === line.xs);
    if (!g) groups.push((g = { xs: line.xs, columns: [{ head: join(plot.x.label, plot.x.unit), values: line.xs }] }));
    g.columns.push({ head: join(line.name, line.unit ?? plot.y.unit), values: line.ys });
    if (line.also && !g.columns.some((c) => c.values === line.also.values)) {
      g.columns.push({ head: join(line.also.name, line.also.unit), values: line.also.values });
    }
  }
  const { grid } = plot.data;
  if (grid) {
    const cells = grid.ys.flatMap((y, k) => grid.xs.map((x, i) => [x, y, grid.values[k]?.[i]])).filter((c) => Number.isFinite(c[2]));
    const heads = [join(plot.x.label, plot.x.unit), join(plot.y.label, plot.y.unit), join(grid.name, grid.unit)];
    groups.push({ xs: cells.map((c) => c[0]), columns: heads.map((head, j) => ({ head, values: cells.map((c) => c[j]) })) });
  }
  return groups;
}

// marks are the single points and vertical lines of a plot's data.
export function marks(plot) {
  const { rules = [], dots = [] } = plot.data;
  return [...rules.map((r) => ({ text: r.text, x: r.x, y: null })), ...dots].filter((m) => m.text);
}

// table is a closed details element that fills itself when opened.
export function table(plot) {
  const place = el("div", { className: "scroll", tabIndex: 0, role: "region", "aria-label": `${plot.title}, table` });
  const element = el("details", {}, el("summary", { textContent: "as a table" }), place);
  let timer;

  function fill() {
    if (!element.open || !plot.data) return;
    const tables = [];
    const m = marks(plot);
    if (m.length) {
      tables.push(rows("Marks", ["mark", join(plot.x.label, plot.x.unit), join(plot.y.label, plot.y.unit)],
        m.map((k) => [k.text, figures(k.x, 4), k.y === null ? "" : figures(k.y, 4)])));
    }
    for (const g of columns(plot)) {
      const [lo, hi] = plot.shown().x;
      const shown = [...g.xs.keys()].filter((i) => g.xs[i] >= lo && g.xs[i] <= hi);
      const every = Math.ceil(shown.length / most) || 1;
      const some = shown.filter((_, k) => k % every === 0);
      tables.push(rows(every > 1 ? `${plot.title}, one of ${every} samples of what is shown` : plot.title,
        g.columns.map((c) => c.head), some.map((i) => g.columns.map((c) => figures(c.values[i], 5)))));
    }
    place.replaceChildren(...tables);
  }
  element.addEventListener("toggle", fill);

  return {
    element,
    // changed fills it again once the data rest.
    changed() {
      if (!element.open) return;
      clearTimeout(timer);
      timer = setTimeout(fill, 300);
    },
  };
}

function rows(caption, heads, body) {
  return el("table", {}, el("caption", { textContent: caption }),
    el("thead", {}, el("tr", {}, ...heads.map((h) => el("th", { scope: "col", textContent: h })))),
    el("tbody", {}, ...body.map((r) => el("tr", {}, ...r.map((c, i) =>
      i ? el("td", { textContent: c }) : el("th", { scope: "row", textContent: c }))))));
}
