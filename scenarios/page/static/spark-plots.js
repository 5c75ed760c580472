// What the plots of the Spark view show of an answer.

import { num } from "./format.js";
import { round } from "./scale.js";

const angle = { label: "angle", unit: "deg after TDC", kind: "angle" };

// kinds are the plots, in their order on the page.
export const kinds = [
  { key: "pressure", title: "Pressure", x: angle, y: { label: "pressure", unit: "bar" } },
  { key: "torque", title: "Torque against spark", x: { label: "spark advance", unit: "deg before TDC" }, y: { label: "brake torque", unit: "N\u00b7m" } },
  { key: "burned", title: "Burned fraction", x: angle, y: { label: "burned", unit: "%" } },
  { key: "release", title: "Heat release", x: angle, y: { label: "rate", unit: "J/deg" } },
  { key: "pv", title: "Log p over log V", x: { label: "volume", unit: "cm\u00b3", kind: "log" }, y: { label: "pressure", unit: "bar", kind: "log" }, nearest: "xy" },
];

const window = [-90, 120]; // of the angle plots before any zoom [deg after TDC]
const stepDeg = 5; // what a spark beside MBT is judged by

const has = Number.isFinite;

function top(xs, ...lines) {
  let most = 0;
  for (const ys of lines) ys.forEach((y, i) => { if (y > most && xs[i] >= window[0] && xs[i] <= window[1]) most = y; });
  return most;
}

// near is the value of ys where xs is nearest to x.
function near(xs, ys, x) {
  let best = 0;
  for (let i = 1; i < xs.length; i++) if (Math.abs(xs[i] - x) < Math.abs(xs[best] - x)) best = i;
  return ys[best];
}

function sparkRule(cycle) {
  return { x: -cycle.spark_deg_btdc, look: "other", text: `spark ${num(cycle.spark_deg_btdc, 1)}` };
}

function halfRule(cycle, text = "") {
  return has(cycle.ca50_deg_atdc) ? [{ x: cycle.ca50_deg_atdc, look: "third", text }] : [];
}

export const draw = {
  pressure({ cycle, trace }) {
    const xs = trace.theta_deg_atdc;
    const lpp = has(cycle.lpp_deg_atdc);
    return {
      home: { x: window, y: round(0, 1.08 * top(xs, trace.pressure_bar, trace.motored_bar), 5) },
      lines: [
        { name: "motored", look: "gray", xs, ys: trace.motored_bar, at: [12, 20, 30, 40, -20].map((x) => [x, near(xs, trace.motored_bar, x)]) },
        { name: "fired", look: "main", xs, ys: trace.pressure_bar },
      ],
      rules: [sparkRule(cycle), ...halfRule(cycle, `CA50 ${num(cycle.ca50_deg_atdc, 1)}`)],
      dots: lpp ? [{ x: cycle.lpp_deg_atdc, y: cycle.pmax_bar, look: "main", text: `LPP ${num(cycle.lpp_deg_atdc, 1)}, ${num(cycle.pmax_bar, 1)} bar` }] : [],
      summary: `Pressure against angle: spark ${num(cycle.spark_deg_btdc, 1)} deg before TDC, peak ${num(cycle.pmax_bar, 1)} bar at ${num(cycle.lpp_deg_atdc, 1)} deg, half burned at ${num(cycle.ca50_deg_atdc, 1)} deg after TDC.`,
    };
  },

  torque({ cycle, sweep, fresh }) {
    const now = { x: cycle.spark_deg_btdc, y: cycle.brake_torque_nm, look: "other", text: `now ${num(cycle.brake_torque_nm, 2)}` };
    if (!sweep) {
      return { home: { x: [0, 60], y: round(Math.min(0, now.y), 1.2 * Math.abs(now.y) + 1, 5) }, lines: [], dots: [now], summary: "Torque against spark: being computed." };
    }
    const { points, mbt } = sweep;
    const xs = points.map((p) => p.spark_deg_btdc), ys = points.map((p) => p.brake_torque_nm);
    const known = ys.filter(has);
    const best = mbt && has(mbt.spark_deg_btdc);
    const low = Math.min(...known, now.y), high = Math.max(...known, now.y);
    const lo = best ? Math.max(low, high - 0.25 * Math.abs(high)) : low;
    const dots = [now];
    if (best) dots.push({ x: mbt.spark_deg_btdc, y: mbt.brake_torque_nm, look: "main", text: `MBT ${num(mbt.spark_deg_btdc, 1)}` });
    if (best && fresh) {
      for (const [side, way, loss] of [["early", 1, sweep.early], ["late", -1, sweep.late]]) {
        const x = mbt.spark_deg_btdc + way * stepDeg;
        if (has(loss)) dots.push({ x, y: mbt.brake_torque_nm * (1 - loss), look: "third", text: `${stepDeg} deg ${side}: ${num(-100 * loss, 1)} %` });
      }
    }
    return {
      home: { x: [Math.min(...xs, now.x), Math.max(...xs, now.x)], y: round(Math.min(lo, now.y), high + 0.12 * (high - lo), 5) },
      lines: [{ name: fresh ? "torque" : "before the change", look: fresh ? "main" : "gray", xs, ys }],
      bands: best && fresh ? [{ from: mbt.spark_deg_btdc - stepDeg, to: mbt.spark_deg_btdc + stepDeg }] : [],
      dots,
      summary: best ? `Brake torque against spark: ${num(cycle.brake_torque_nm, 2)} newton metres now, most ${num(mbt.brake_torque_nm, 2)} at MBT ${num(mbt.spark_deg_btdc, 1)} deg before TDC.` : "Brake torque against spark; no MBT was found.",
    };
  },

  burned({ cycle, trace }) {
    const at = (name, x, share) => (has(x) ? [{ x, y: share, look: "third", text: `${name} ${num(x, 1)}` }] : []);
    return {
      home: { x: window, y: [0, 108] },
      lines: [{ name: "burned", look: "main", xs: trace.theta_deg_atdc, ys: trace.burned_fraction.map((b) => 100 * b) }],
      rules: [sparkRule(cycle)],
      dots: [...at("CA10", cycle.ca10_deg_atdc, 10), ...at("CA50", cycle.ca50_deg_atdc, 50), ...at("CA90", cycle.ca90_deg_atdc, 90)],
      summary: `Burned fraction against angle: 10, 50 and 90 % at ${num(cycle.ca10_deg_atdc, 1)}, ${num(cycle.ca50_deg_atdc, 1)} and ${num(cycle.ca90_deg_atdc, 1)} deg after TDC.`,
    };
  },

  release({ cycle, trace }) {
    const xs = trace.theta_deg_atdc, ys = trace.heat_release_j_per_deg;
    return {
      home: { x: window, y: round(0, 1.05 * top(xs, ys) || 1, 4) },
      lines: [{ name: "heat release", look: "main", xs, ys }],
      rules: [sparkRule(cycle), ...halfRule(cycle, "CA50")],
      summary: `Heat release against angle: at most ${num(top(xs, ys), 1)} joules per deg.`,
    };
  },

  pv({ trace }) {
    const xs = trace.volume_cm3, ys = trace.pressure_bar;
    const theta = { name: "angle", unit: "deg after TDC", values: trace.theta_deg_atdc };
    const pick = (angle) => { const i = trace.theta_deg_atdc.findIndex((t) => t >= angle); return [xs[i], ys[i]]; };
    return {
      home: { x: [0.9 * Math.min(...xs), 1.12 * Math.max(...xs)], y: [0.8 * Math.min(...ys), 1.35 * Math.max(...ys)] },
      lines: [{ name: "pressure", look: "main", xs, ys, also: theta }],
      dots: [],
      labels: [
        { text: "compression", look: "main", anchors: [pick(-60), pick(-50)] },
        { text: "expansion", look: "main", anchors: [pick(80), pick(60)] },
        { text: "pumping", look: "main", anchors: [pick(300), pick(-300)] },
      ],
      summary: `Pressure over volume, both logarithmic: ${num(Math.min(...xs), 0)} to ${num(Math.max(...xs), 0)} cubic centimetres, at most ${num(Math.max(...ys), 1)} bar.`,
    };
  },
};
