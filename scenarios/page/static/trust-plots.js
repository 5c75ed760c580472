// What the plots of the Trust view show.

import { num } from "./format.js";
import { round } from "./scale.js";
import { late } from "./trust-words.js";

const has = Number.isFinite;
const angle = { label: "angle", unit: "deg after TDC", kind: "angle" };
const spark = { label: "spark advance", unit: "deg before TDC" };

// kinds are the plots, in their order on the page; the first is picked from.
export const kinds = [
  { key: "flips", title: "Where it can be believed", x: spark, y: { label: "MAP", unit: "kPa" } },
  { key: "reading", title: "Read and true, along the chosen row", x: spark, y: { label: "peak", unit: "deg after TDC" } },
  { key: "fooled", title: "The cycle that misled most", x: angle, y: { label: "signal", unit: "" } },
  { key: "true", title: "The same cycle, truly", x: angle, y: { label: "true pressure", unit: "bar" } },
];

// quantities that the tiles may show: name, unit, of a cell, and the darkest value.
export const quantities = {
  wrong: { text: "wrong side of the target", unit: "%", of: (c) => scaled(c.wrong_side_fraction, 100), most: 50 },
  error: { text: "rms error", unit: "deg", of: (c) => scaled(c.rms_error_deg, 1), most: 20 },
  declined: { text: "declined", unit: "%", of: (c) => scaled(c.declined_fraction, 100), most: 100 },
};

function scaled(v, by) {
  return v === null ? NaN : v * by;
}

// line is one value of each row, against its load, broken at rows without it.
function line(rows, loads, name, look, of) {
  const xs = rows.map((n) => (n ? of(n) : null));
  const ys = loads.map((m, k) => (has(xs[k]) ? m : null));
  return { name, unit: "kPa", look, xs, ys, at: loads.map((m, k) => [xs[k], m]).filter(([x]) => has(x)) };
}

// alone are the rows of a line that it joins to no other.
function alone({ look, xs, ys }) {
  return xs.map((x, k) => ({ x, y: ys[k], look })).filter((d, k) => has(d.x) && !has(xs[k - 1]) && !has(xs[k + 1]));
}

// flipAt is where a flip is; a reader that is believed nowhere has none to draw.
function flipAt(flip) {
  return flip.how === "nowhere" ? null : flip.spark_deg_btdc;
}

// flipMap shows nodes, rows of ascending load, as tiles.
export function flipMap({ nodes, loads, quantity, atMap, atSpark }) {
  const q = quantities[quantity];
  const sparks = nodes.reduce((best, n) => (n.cells.length > best.length ? n.cells.map((c) => c.spark_deg_btdc) : best), []);
  const rows = loads.map((m) => nodes.find((o) => Math.abs(o.map_kpa - m) < 1e-6));
  const values = rows.map((n) => (n ? n.cells.map(q.of) : []));
  const lines = [
    line(rows, loads, "believed from", "main", (n) => n.safe_from_deg_btdc), line(rows, loads, "believed to", "main", (n) => n.safe_to_deg_btdc),
    line(rows, loads, "MBT", "third", (n) => n.mbt_deg_btdc),
    line(rows, loads, "flip, late side", "gray", (n) => flipAt(n.retarded_flip)), line(rows, loads, "flip, early side", "gray", (n) => flipAt(n.advanced_flip)),
  ];
  const pad = (loads[1] - loads[0]) / 2;
  return {
    home: { x: [sparks.length ? sparks[0] - 2.5 : -22.5, sparks.length ? sparks.at(-1) + 2.5 : 62.5], y: [loads[0] - pad, loads.at(-1) + pad] },
    grid: { name: q.text, unit: q.unit, xs: sparks, ys: loads, values, share: (v) => Math.min(1, Math.max(0, v / q.most)) * 0.85 },
    lines,
    dots: [...(sparks.length ? [{ x: atSpark, y: atMap, look: "main", text: "chosen" }] : []), ...lines.flatMap(alone)],
    summary: `${q.text} over spark and load, ${nodes.length} of ${loads.length} rows.`,
  };
}

// along shows reading and truth of one row.
export function along(node, atSpark) {
  const xs = node.cells.map((c) => c.spark_deg_btdc);
  const of = (k) => node.cells.map((c) => c[k] ?? NaN);
  const truth = of("true_peak_deg_atdc"), read = of("read_deg_atdc");
  const known = [...truth, ...read].filter(has);
  const rules = [{ x: atSpark, look: "other", text: "chosen" }];
  if (has(node.mbt_deg_btdc)) rules.push({ x: node.mbt_deg_btdc, look: "third", text: "MBT" });
  const bands = has(node.safe_from_deg_btdc) ? [{ from: node.safe_from_deg_btdc, to: node.safe_to_deg_btdc }] : [];
  return {
    home: { x: [xs[0], xs.at(-1)], y: round(Math.min(...known) - 3, Math.max(...known) + 3, 5) }, rules, bands,
    lines: [
      { name: "true", look: "gray", xs, ys: truth, also: { name: "its sd", unit: "deg", values: of("true_peak_sd_deg") }, at: [1, 3, 5].map((i) => [xs[i], truth[i]]) },
      { name: "read", look: "main", xs, ys: read, also: { name: "its sd", unit: "deg", values: of("read_sd_deg") }, at: [2, 4, 12].map((i) => [xs[i], read[i]]) },
    ],
    summary: `Mean reading and mean true peak against spark at ${num(node.speed_rpm, 0)} rpm and ${num(node.map_kpa, 1)} kPa.`,
  };
}

// trace shows the signal of the cycle that misled, and true what truly happened.
export function trace(f) {
  const rules = [];
  if (has(f.read_deg_atdc)) rules.push({ x: f.read_deg_atdc, look: "other", text: `read ${num(f.read_deg_atdc, 1)}` });
  if (has(f.true_peak_deg_atdc)) rules.push({ x: f.true_peak_deg_atdc, look: "third", text: `${late(f) ? "true, CA50" : "true"} ${num(f.true_peak_deg_atdc, 1)}` });
  const most = Math.max(...f.signal);
  return {
    home: { x: [-60, 120], y: round(Math.min(0, ...f.signal), 1.08 * most, 5) }, rules, lines: [{ name: "signal", unit: f.unit, look: "main", xs: f.theta, ys: f.signal }],
    summary: `The signal of cycle ${f.cycle} as the reader got it.`,
  };
}

export function truly(f) {
  return {
    home: { x: [-60, 120], y: round(0, 1.08 * Math.max(...f.pressure_bar), 5) }, lines: [{ name: "pressure", look: "main", xs: f.theta, ys: f.pressure_bar }],
    rules: [{ x: -f.spark_deg_btdc, look: "other", text: `spark ${num(f.spark_deg_btdc, 0)}` },
      ...(has(f.true_peak_deg_atdc) ? [{ x: f.true_peak_deg_atdc, look: "third", text: `${late(f) ? "true, CA50" : "true"} ${num(f.true_peak_deg_atdc, 1)}` }] : [])],
    dots: has(f.lpp_deg_atdc) ? [{ x: f.lpp_deg_atdc, y: f.pmax_bar, look: "third", text: `LPP ${num(f.lpp_deg_atdc, 1)}, ${num(f.pmax_bar, 1)} bar` }] : [], // the highest; where compression alone is higher than burning it is not the true peak
    summary: `True pressure of cycle ${f.cycle}: ${num(f.pmax_bar, 1)} bar at ${num(f.lpp_deg_atdc, 1)} deg after TDC.`,
  };
}
