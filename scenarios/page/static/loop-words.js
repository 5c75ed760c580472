// What the Loop view says of a run: numbers and sentences, computed from its cycles.

import { num } from "./format.js";
import { last } from "./loop-plots.js";
import { mean } from "./ragged-numbers.js";

const has = Number.isFinite;
const recent = 20; // cycles that "now" is about
const clear = 3; // off the target, for a side to matter [deg]
const far = 10; // off MBT, for a spark to have run away [deg]; our own choices

// lost is the share of torque lost over all cycles that tell [-].
export function lost(rows) {
  let t = 0, best = 0;
  rows.brake_torque_nm.forEach((v, i) => {
    const b = rows.brake_torque_at_mbt_nm[i];
    if (!has(v) || !has(b)) return;
    t += v;
    best += b;
  });
  return best > 0 ? 1 - t / best : NaN;
}

// headline is what matters most.
export function headline({ rows, states, speed }) {
  const spark = last(rows.spark_deg_btdc), mbt = last(rows.mbt_deg_btdc);
  return [
    ["Fired", num(spark, 1), "deg BTDC"], ["Off MBT", num(spark - mbt, 1), "deg"],
    ["Read, 20 cycles", num(mean(rows.read_deg_atdc.slice(-recent).filter(has)), 1), "deg ATDC"],
    ["True, 20 cycles", num(mean(rows.lpp_deg_atdc.slice(-recent).filter(has)), 1), "deg ATDC"],
    ["Guard", states[last(rows.guard_state)] ?? "", ""],
    ["Torque lost", num(100 * lost(rows), 2), "% in all"], ["Ran for", num(last(rows.time_s), 1), `s at ${num(speed, 0)} rpm`],
  ];
}

// aloud is the last cycle for those who do not see it.
export function aloud({ rows, states }) {
  const i = rows.cycle.length - 1, at = (key) => num(rows[key][i], 1);
  return `Cycle ${i + 1}: fired ${at("spark_deg_btdc")}, MBT ${at("mbt_deg_btdc")} deg before TDC; read ${at("read_deg_atdc")}, true peak ${at("lpp_deg_atdc")} deg after TDC; guard: ${states[rows.guard_state[i]]}.`;
}

// sentences say what happens now.
export function sentences({ rows, why, states, verdict, guard }) {
  const out = [], over = Math.min(recent, rows.cycle.length);
  const read = mean(rows.read_deg_atdc.slice(-over).filter(has)), truth = mean(rows.lpp_deg_atdc.slice(-over).filter(has));
  const target = last(rows.target_deg_atdc), off = last(rows.spark_deg_btdc) - last(rows.mbt_deg_btdc), hand = last(rows.manual_offset_deg);
  const cycles = over === 1 ? "1 cycle" : `${over} cycles`;
  if (has(read) && Math.abs(truth - target) > clear && (read - target) * (truth - target) < 0) {
    const late = read > target;
    const way = late ? "too late, so a law that follows it advances further" : "too early, so a law that follows it retards further";
    out.push(`The reading is on the wrong side of the target: over ${cycles} it read ${num(read, 1)} deg where the true peak was at ${num(truth, 1)}. It says ${way}.`);
    if (Math.abs(off) > far && late === off > 0) {
      out.push(`A spark that follows this reading goes further from MBT: ${guard ? "only the guard can stop that" : "the loop runs away, as far as the actuator goes"}.`);
    }
  } else if (has(read)) {
    out.push(`Over the last ${cycles} the reader read ${num(read, 1)} deg after TDC; the true peak was at ${num(truth, 1)}; ${num(target, 1)} is wanted.`);
  } else {
    out.push("The reader declines: there is nothing that a law could go by.");
  }
  if (hand) out.push(`A hand at the distributor adds ${num(hand, 1)} deg to what is ordered.`);
  if (Math.abs(off) > far) out.push(`The spark is ${num(Math.abs(off), 1)} deg ${off > 0 ? "earlier" : "later"} than MBT.${off > 0 ? " On an engine that destroys." : ""}`);
  if (verdict?.runaway) out.push("It has run away: for 20 cycles or more the spark stood at a limit of the actuator, while the true peak was far on that side of the target.");
  const now = states[last(rows.guard_state)];
  out.push(guard ? `The guard: ${now}${why.at(-1) ? `, ${why.at(-1)}` : ""}.` : "There is no guard: every order that is a spark passes.");
  const counts = states.map((s, i) => [s, rows.guard_state.filter((v) => v === i).length]).filter(([, n]) => n);
  if (guard) out.push(`Cycles in each state: ${counts.map(([s, n]) => `${s} ${n}`).join(", ")}.`);
  return out;
}
