// What the plots of the Ragged view show.

import { num } from "./format.js";
import { round } from "./scale.js";

const angle = { label: "angle", unit: "deg after TDC", kind: "angle" };
const has = Number.isFinite;
const before = 10; // cycles that stay in sight, faintly
const sight = 300; // cycles of the run chart before any zoom

// kinds are the plots, in their order on the page.
export const kinds = [
  { key: "cycles", title: "Pressure, cycle by cycle", x: angle, y: { label: "true pressure", unit: "bar" } },
  { key: "signal", title: "What the reader gets", x: angle, y: { label: "signal", unit: "" } },
  { key: "peaks", title: "Peak cloud", x: { label: "true LPP", unit: "deg after TDC" }, y: { label: "peak pressure", unit: "bar" }, nearest: "xy" },
  { key: "run", title: "Reading against truth", x: { label: "cycle", unit: "" }, y: { label: "peak", unit: "deg after TDC" } },
];

function last(rows, shown) {
  return rows.slice(Math.max(0, shown - before - 1), shown);
}

function traces(theta, rows, shown, name, highest) {
  const some = last(rows, shown);
  return {
    home: { x: [-60, 120], y: round(Math.min(0, ...some.flat()), 1.05 * highest, 5) },
    lines: some.map((ys, i) => ({ name: i === some.length - 1 ? name : `${some.length - 1 - i} before`, look: i === some.length - 1 ? "main" : "faint", xs: theta, ys })).reverse(),
  };
}

// span is a range of y that holds nearly all values.
function span(...all) {
  const v = all.flat().filter(has).sort((a, b) => a - b);
  if (!v.length) return [0, 30];
  return round(v[Math.floor(0.005 * v.length)] - 1, v[Math.ceil(0.995 * (v.length - 1))] + 1, 5);
}

// outer are places for the name of a cloud: its points farthest up, or down for way -1.
function outer(xs, ys, way) {
  return xs.filter((i) => has(ys[i])).slice(-sight).sort((a, b) => way * (ys[b] - ys[a])).slice(0, 5).map((i) => [i, ys[i]]);
}

// draw makes the data of each plot of the cycles until shown.
export const draw = {
  cycles({ theta, pressure, lpp, pmax, shown, top }) {
    const n = shown - 1;
    return {
      ...traces(theta, pressure, shown, "this cycle", top),
      dots: has(lpp[n]) ? [{ x: lpp[n], y: pmax[n], look: "main", text: `LPP ${num(lpp[n], 1)}, ${num(pmax[n], 1)} bar` }] : [],
      summary: `True pressure of the newest cycle and up to ${before} before: peak ${num(pmax[n], 1)} bar at ${num(lpp[n], 1)} deg after TDC.`,
    };
  },

  signal({ theta, signal, read, truth, why, shown, highest }) {
    const n = shown - 1;
    const rules = [], labels = [];
    if (has(truth[n])) rules.push({ x: truth[n], look: "third", text: `true ${num(truth[n], 1)}` });
    if (has(read[n])) rules.push({ x: read[n], look: "other", text: `read ${num(read[n], 1)}` });
    else labels.push({ text: "declined", look: "other", anchors: [[-55, 0.95 * highest], [-55, 0.6 * highest]] });
    return {
      ...traces(theta, signal, shown, "this cycle", highest), rules, labels,
      summary: has(read[n]) ? `The reader reads ${num(read[n], 1)} deg, the true peak is at ${num(truth[n], 1)} deg after TDC.` : `The reader declines: ${why[n]}.`,
    };
  },

  peaks({ lpp, pmax, shown }) {
    const xs = lpp.slice(0, shown), ys = pmax.slice(0, shown), n = shown - 1;
    return {
      home: { x: span(xs), y: span(ys) },
      lines: [{ name: "peak", unit: "bar", look: "main", cloud: true, xs, ys }],
      dots: has(xs[n]) ? [{ x: xs[n], y: ys[n], look: "other", text: "this cycle" }] : [],
      summary: `Peak pressure against its angle, ${shown} cycles.`,
    };
  },

  run({ truth, read, averaged, over, shown }) {
    const xs = truth.slice(0, shown).map((_, i) => i);
    const t = truth.slice(0, shown), r = read.slice(0, shown);
    return {
      home: { x: [Math.max(0, shown - sight), Math.max(sight, shown)], y: span(t, r) },
      lines: [
        { name: "true peak", look: "gray", cloud: true, xs, ys: t, at: outer(xs, t, 1) },
        { name: "read", look: "other", cloud: true, xs, ys: r, at: outer(xs, r, -1) },
        { name: `mean of ${over}`, look: "main", xs, ys: averaged.slice(0, shown), at: [0.5, 0.7, 0.3].map((u) => Math.floor(u * (shown - 1))).map((i) => [i, averaged[i]]) },
      ],
      summary: `Readings and true peaks of ${shown} cycles, and the mean of the last ${over} readings.`,
    };
  },
};
