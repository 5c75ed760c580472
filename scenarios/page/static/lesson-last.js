// The last three steps of the lesson: load and speed, knock, averaging. See lesson-first.

import { num } from "./format.js";
import { curve } from "./lesson-first.js";
import { mean, needed, sd } from "./ragged-numbers.js";
import { draw as ragged } from "./ragged-plots.js";
import { draw } from "./spark-plots.js";

export const place = {
  key: "place", title: "Load and speed", from: 25,
  words: ["With less charge the flame is slower, and more of what is in the chamber is burned gas from before. With more speed the same time is more degrees.",
    "At 2200 rpm and 80 kPa MBT is about 25 deg. You can try other loads and speeds in the Spark view, or think."],
  question: "Where is MBT",
  fields: [{ key: "load", label: "at 45 kPa and 2200 rpm", unit: "deg before TDC" }, { key: "speed", label: "at 80 kPa and 1200 rpm", unit: "deg before TDC" }],
  hint: "At light load the burn takes longer: the spark must come earlier. At low speed there is more time for each degree.",
  readout: ({ cycle: c }) => [["LPP", num(c.lpp_deg_atdc, 1), "deg ATDC"], ["Brake torque", num(c.brake_torque_nm, 2), "N\u00b7m"]],
  plot: (answer) => draw.burned(answer), kind: "burned",
  async check({ load, speed }, io) {
    const [a, b] = await Promise.all([io.sweep({ map_kpa: 45, speed_rpm: 2200 }), io.sweep({ map_kpa: 80, speed_rpm: 1200 })]);
    const at = [a.mbt.spark_deg_btdc, b.mbt.spark_deg_btdc];
    const off = [Math.abs(load - at[0]), Math.abs(speed - at[1])];
    return {
      right: off[0] <= 3 && off[1] <= 3,
      said: `Computed: MBT is ${num(at[0], 1)} deg at 45 kPa and ${num(at[1], 1)} deg at 1200 rpm; you were ${num(off[0], 1)} and ${num(off[1], 1)} deg off, 3 are allowed. The spark moves, but the peak at MBT lands at ${num(a.mbt.lpp_deg_atdc, 1)} and ${num(b.mbt.lpp_deg_atdc, 1)} deg: nearly the same place. That is why a controller may hold where the peak lands.`,
    };
  },
};

export const knock = {
  key: "knock", title: "Knock comes first", from: 2, point: { map_kpa: 98, octane_shift: -4, speed_rpm: 1800 },
  words: ["Full load, a slower engine and a poorer fuel: now the charge ahead of the flame can ignite by itself before the flame arrives. The knock integral tells: above 1 it knocks.",
    "On an engine you would hear it when it is already too late for the piston. Here you may look."],
  question: "Find the earliest spark at which it does not knock, to 2 deg.",
  fields: [],
  hint: "Begin late and advance in small steps while the integral stays below 1; stop before it does not.",
  readout: ({ cycle: c }) => [["Knock integral", num(c.knock_integral, 3), ""], ["Knocks", c.knock_integral > 1 ? "yes" : "no", ""], ["Brake torque", num(c.brake_torque_nm, 2), "N\u00b7m"]],
  async check(_, io) {
    const now = await io.cycle({});
    const at = now.cycle.spark_deg_btdc;
    const [next, sweep] = await Promise.all([io.cycle({ spark_deg: at + 2 }), io.sweep({})]);
    const free = now.cycle.knock_integral <= 1, close = next.cycle.knock_integral > 1;
    const lost = 100 * (1 - now.cycle.brake_torque_nm / sweep.mbt.brake_torque_nm);
    return {
      right: free && close,
      said: `Computed: at ${num(at, 1)} deg the integral is ${num(now.cycle.knock_integral, 2)}${free ? "" : ": it knocks"}; 2 deg earlier it is ${num(next.cycle.knock_integral, 2)}${close ? "" : ": you can come nearer"}. MBT would be ${num(sweep.mbt.spark_deg_btdc, 1)} deg, with an integral of ${num(sweep.mbt.knock_integral, 2)}: knock forbids it, and costs ${num(lost, 1)} % of torque here. A controller that only looks for torque would go there.`,
      picture: curve(sweep, [{ x: at, y: now.cycle.brake_torque_nm, look: "other", text: "you" }, { x: sweep.mbt.spark_deg_btdc, y: sweep.mbt.brake_torque_nm, look: "third", text: "MBT: knocks" }]),
    };
  },
};

export const average = {
  key: "average", title: "Why average", from: 22, cycles: 100,
  words: ["No two cycles are alike. Here are 100 at the same spark, read one by one by the greatest pressure of a transducer.",
    "A mean of n readings scatters 1/\u221an as much as one, if they do not depend on each other; 95 of 100 are within 1.96 standard deviations."],
  question: "How many cycles must be averaged to know the mean peak within \u00b11 deg in 95 of 100 cases?",
  fields: [{ key: "count", label: "Cycles", unit: "" }],
  hint: "1.96 times the standard deviation, over the root of n, must be 1 deg: n is the square of 1.96 times the standard deviation.",
  readout: ({ read }) => [["Readings", String(read.length), ""], ["Mean", num(mean(read), 2), "deg ATDC"], ["Standard deviation", num(sd(read), 2), "deg"]],
  plot: ({ lpp, pmax }) => ragged.peaks({ lpp, pmax, shown: lpp.length }), kind: "peaks",
  async check({ count }, io) {
    const { read } = await io.ragged();
    const n = needed(sd(read));
    return {
      right: Math.abs(count - n) <= 0.25 * n,
      said: `Computed from these very readings: (1.96 \u00b7 ${num(sd(read), 2)})\u00b2 is ${n} cycles; you said ${count}, and a quarter is allowed. The first reading was ${num(read[0] - mean(read), 1)} deg off the mean, the worst ${num(Math.max(...read.map((r) => Math.abs(r - mean(read)))), 1)}. At 2200 rpm ${n} cycles take ${num(n * 120 / 2200, 1)} s: a loop that averages is slow.`,
    };
  },
};
