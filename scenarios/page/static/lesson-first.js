// The first three steps of the lesson: the peak, MBT, over-advance.
//
// A step has title, words, the point that it changes, from which spark its slider
// begins, readout(cycle) of what is shown meanwhile, fields of the answer, a hint, and
// check(answers, io), which computes whether they are right and says what was found.

import { num } from "./format.js";
import { draw } from "./spark-plots.js";

const more = [{ value: "", text: "choose" }, { value: "more", text: "more" }, { value: "less", text: "less" }];

function pressure(cycle) {
  return draw.pressure(cycle);
}

// curve is torque over spark with marks.
export function curve(sweep, marks) {
  const xs = sweep.points.map((p) => p.spark_deg_btdc), ys = sweep.points.map((p) => p.brake_torque_nm);
  const high = Math.max(...ys), low = Math.min(...ys);
  return {
    kind: "torque",
    data: {
      home: { x: [xs[0], xs.at(-1)], y: [Math.max(low, 0.75 * high), high * 1.03] }, lines: [{ name: "torque", look: "main", xs, ys }],
      dots: marks, summary: `Brake torque against spark, greatest at ${num(sweep.mbt.spark_deg_btdc, 1)} deg before TDC.`,
    },
  };
}

export const peak = {
  key: "peak", title: "What moves the peak", from: 20,
  words: ["The spark lights the charge; the flame needs time. Where the pressure is greatest depends on how early the spark comes.",
    "Drag the spark and watch the peak (LPP, location of peak pressure)."],
  question: "Move the spark 10 deg earlier, from 20 to 30 deg before TDC. By how many deg does the peak move? Negative: it comes earlier.",
  fields: [{ key: "move", label: "The peak moves by", unit: "deg" }],
  hint: "Set 20, read LPP, set 30, read LPP again; the second less the first.",
  readout: ({ cycle: c }) => [["LPP", num(c.lpp_deg_atdc, 1), "deg ATDC"], ["Peak", num(c.pmax_bar, 1), "bar"]],
  plot: pressure,
  async check({ move }, io) {
    const [a, b] = await Promise.all([io.cycle({ spark_deg: 20 }), io.cycle({ spark_deg: 30 })]);
    const found = b.cycle.lpp_deg_atdc - a.cycle.lpp_deg_atdc;
    return {
      right: Math.abs(move - found) <= 2,
      said: `Computed: the peak lands at ${num(a.cycle.lpp_deg_atdc, 1)} deg with a spark at 20 and at ${num(b.cycle.lpp_deg_atdc, 1)} with one at 30: it moves by ${num(found, 1)} deg. You were ${num(Math.abs(move - found), 1)} deg off; 2 are allowed. The peak moves less than the spark: the nearer it comes to dead centre, the more the compression itself decides where it is.`,
    };
  },
};

export const mbt = {
  key: "mbt", title: "Find MBT by hand", from: 5,
  words: ["Somewhere between too early and too late, torque is greatest: that spark is MBT, minimum advance for best torque.",
    "There is no curve this time, only the dynamometer. Move the spark until torque is greatest, then check."],
  question: "Stop where torque is greatest.",
  fields: [],
  hint: "Take steps of 5 deg until torque falls again, then smaller ones about the best.",
  readout: ({ cycle: c }) => [["Brake torque", num(c.brake_torque_nm, 2), "N\u00b7m"]],
  async check(_, io) {
    const [now, sweep] = await Promise.all([io.cycle({}), io.sweep({})]);
    const lost = 1 - now.cycle.brake_torque_nm / sweep.mbt.brake_torque_nm;
    const off = now.cycle.spark_deg_btdc - sweep.mbt.spark_deg_btdc;
    return {
      right: lost <= 0.002,
      said: `Computed: MBT is ${num(sweep.mbt.spark_deg_btdc, 1)} deg; at ${num(now.cycle.spark_deg_btdc, 1)} you lose ${num(100 * lost, 2)} % of torque; 0.2 % is allowed. You are ${num(Math.abs(off), 1)} deg ${off > 0 ? "earlier" : "later"}. The top is flat: 5 deg to either side lose ${num(100 * sweep.early, 2)} and ${num(100 * sweep.late, 2)} %. Torque alone finds MBT badly; where the peak lands, ${num(sweep.mbt.lpp_deg_atdc, 1)} deg at MBT, finds it better.`,
      picture: curve(sweep, [{ x: now.cycle.spark_deg_btdc, y: now.cycle.brake_torque_nm, look: "other", text: "you" }, { x: sweep.mbt.spark_deg_btdc, y: sweep.mbt.brake_torque_nm, look: "main", text: "MBT" }]),
    };
  },
};

export const early = {
  key: "early", title: "Why over-advance loses", from: 25,
  words: ["A spark 15 deg earlier than MBT burns much of the charge while the piston still comes up.", "The fuel is the same. Think where its energy goes, against MBT; then answer for all three."],
  question: "At MBT + 15 deg, against MBT:",
  fields: [{ key: "compression", label: "work of compression is", options: more }, { key: "wall", label: "heat to the walls is", options: more }, { key: "exhaust", label: "energy that leaves with the exhaust is", options: more }],
  hint: "What must the rising piston push against? How long is the gas hot before it expands? And by how much has it cooled when the exhaust opens?",
  readout: ({ cycle: c, energy: e }) => [["LPP", num(c.lpp_deg_atdc, 1), "deg ATDC"], ["Peak", num(c.pmax_bar, 1), "bar"], ["Fuel", num(e.fuel_j, 0), "J"]],
  plot: pressure,
  async check(answers, io) {
    const { mbt: best } = await io.sweep({});
    const [a, b] = await Promise.all([io.cycle({ spark_deg: best.spark_deg_btdc }), io.cycle({ spark_deg: best.spark_deg_btdc + 15 })]);
    const found = { compression: [-a.energy.work_compression_j, -b.energy.work_compression_j], wall: [a.energy.wall_heat_j, b.energy.wall_heat_j], exhaust: [a.energy.exhaust_j, b.energy.exhaust_j] };
    const wrong = Object.entries(found).filter(([k, [x, y]]) => answers[k] !== (y > x ? "more" : "less")).map(([k]) => k);
    const tell = (k) => `${num(found[k][0], 0)} J at MBT, ${num(found[k][1], 0)} J 15 deg earlier`;
    return {
      right: wrong.length === 0,
      said: `Computed: work of compression ${tell("compression")}; heat to the walls ${tell("wall")}; with the exhaust ${tell("exhaust")}.${wrong.length ? ` Not right: ${wrong.join(", ")}.` : ""} What over-advance wins by a colder exhaust it loses twice over to the walls and by pushing against its own fire; and the peak is ${num(b.cycle.pmax_bar, 0)} bar in place of ${num(a.cycle.pmax_bar, 0)}.`,
    };
  },
};
