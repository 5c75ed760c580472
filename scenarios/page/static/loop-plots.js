// The strip charts of the Loop view.

import { num } from "./format.js";
import { mean } from "./ragged-numbers.js";
import { round } from "./scale.js";

const has = Number.isFinite;
const sight = 300; // cycles before any zoom
const cycles = { label: "cycle", unit: "" };

// kinds are the plots, in their order on the page.
export const kinds = [
  { key: "sparks", title: "Spark", x: cycles, y: { label: "spark advance", unit: "deg before TDC" } },
  { key: "peak", title: "Where the peak lands", x: cycles, y: { label: "peak", unit: "deg after TDC" } },
  { key: "lost", title: "Torque lost against MBT", x: cycles, y: { label: "lost", unit: "%" } },
];

// last is the last number of a row.
export function last(row) {
  return row?.at(-1) ?? NaN;
}

// home is what is in sight: the last cycles, and the values there, some of them at least.
function home(n, least, ...rows) {
  const from = Math.max(0, n - sight);
  const seen = [...rows.flatMap((r) => r.slice(from)).filter(has), ...least];
  return { x: [from, Math.max(n, sight)], y: round(Math.min(...seen) - 1, Math.max(...seen) + 1, 5) };
}

// anchors are places on a line for its label.
function anchors(xs, ys) {
  const from = Math.max(0, xs.length - sight);
  return [0.15, 0.4, 0.7].map((u) => from + Math.floor(u * (xs.length - 1 - from))).filter((i) => has(ys[i])).map((i) => [xs[i], ys[i]]);
}

// beside are places over (side 1) or under (-1) a cloud for its label, within y.
function beside(xs, ys, side, y) {
  const near = 12; // cycles to each side that a label covers
  const room = side * 0.12 * (y[1] - y[0]); // about a line of text
  return anchors(xs, ys).map(([x]) => {
    const some = ys.slice(Math.max(0, x - near), x + near).filter(has);
    return [x, Math.min(y[1], Math.max(y[0], room + (side > 0 ? Math.max(...some) : Math.min(...some))))];
  });
}

// loss is the torque lost in each cycle [%].
export function loss(rows) {
  return rows.brake_torque_nm.map((t, i) => 100 * (1 - t / (rows.brake_torque_at_mbt_nm[i] ?? NaN)));
}

export const draw = {
  sparks(rows) {
    const xs = rows.cycle, n = xs.length;
    const line = (name, look, ys) => ({ name, look, xs, ys, at: anchors(xs, ys) });
    return {
      home: home(n, [0], rows.spark_deg_btdc, rows.ordered_deg_btdc, rows.mbt_deg_btdc, rows.base_deg_btdc),
      lines: [
        { name: "believed from", look: "other", xs, ys: rows.safe_from_deg_btdc, at: anchors(xs, rows.safe_from_deg_btdc) },
        { name: "believed to", look: "other", xs, ys: rows.safe_to_deg_btdc, at: anchors(xs, rows.safe_to_deg_btdc) },
        line("base map", "gray", rows.base_deg_btdc), line("ordered next", "ink", rows.ordered_deg_btdc), line("MBT", "third", rows.mbt_deg_btdc), line("fired", "main", rows.spark_deg_btdc),
      ],
      summary: `Spark over ${n} cycles: fired ${num(last(rows.spark_deg_btdc), 1)}, ordered for the next ${num(last(rows.ordered_deg_btdc), 1)}, MBT ${num(last(rows.mbt_deg_btdc), 1)} deg before TDC.`,
    };
  },

  peak(rows) {
    const xs = rows.cycle, n = xs.length;
    const recent = (row) => mean(row.slice(-sight).filter(has));
    const over = recent(rows.lpp_deg_atdc) < recent(rows.read_deg_atdc) ? -1 : 1; // where true peaks are, seen from readings
    const all = home(n, [0, 30], rows.read_deg_atdc, rows.lpp_deg_atdc);
    return {
      home: all,
      lines: [
        { name: "true peak", look: "gray", cloud: true, xs, ys: rows.lpp_deg_atdc, at: beside(xs, rows.lpp_deg_atdc, over, all.y) },
        { name: "read", look: "other", cloud: true, xs, ys: rows.read_deg_atdc, at: beside(xs, rows.read_deg_atdc, -over, all.y) },
        { name: "target", look: "third", xs, ys: rows.target_deg_atdc, at: anchors(xs, rows.target_deg_atdc) },
      ],
      summary: `Readings and true peaks over ${n} cycles: read ${num(last(rows.read_deg_atdc), 1)}, true ${num(last(rows.lpp_deg_atdc), 1)}, wanted ${num(last(rows.target_deg_atdc), 1)} deg after TDC.`,
    };
  },

  lost(rows) {
    const ys = loss(rows);
    return {
      home: home(ys.length, [0, 5], ys), lines: [{ name: "lost", look: "main", xs: rows.cycle, ys }],
      summary: `Torque lost against the same cycles fired at MBT: ${num(last(ys), 2)} % in the last.`,
    };
  },
};
