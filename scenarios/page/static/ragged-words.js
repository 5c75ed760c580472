// What the numbers of the Ragged view mean, in words.

import { num } from "./format.js";

const has = Number.isFinite;

// plural counts things.
function plural(n, thing) {
  return `${n} ${thing}${n === 1 ? "" : "s"}`;
}

// spread is a standard deviation behind its mean, nothing where there is none.
export function spread(sd) {
  return has(sd) ? `\u00b1 ${num(sd, 2)} ` : "";
}

// sentences say what summary s means, for means of so many readings at speed [rpm];
// why is the reason when the newest cycle was declined.
export function sentences(s, over, speed, why) {
  const out = [scatter(s)];
  if (s.declined) {
    const reasons = Object.entries(s.reasons).sort((a, b) => b[1] - a[1]).map(([r, n]) => `${r} (${n})`).join(", ");
    out.push(`Declined: ${s.declined} of ${plural(s.count, "cycle")}, ${reasons}. They are in no mean of readings.${why ? ` This cycle was declined: ${why}.` : ""}`);
  }
  const off = s.read - s.truth;
  if (s.declined && has(off)) {
    out.push(`So the mean reading is ${num(off, 2)} deg from the true mean of all cycles: ${num(s.bias, 2)} deg is the bias where it reads, ${num(off - s.bias, 2)} deg comes of which cycles are left out.`);
  }
  if (s.misfires) out.push(`${plural(s.misfires, "misfire")}: no burn, so no true peak.`);
  if (s.late) {
    out.push(`In ${plural(s.late, "cycle")} the pressure is greatest at dead centre, by compression alone. The true peak is then that of the burn, taken as CA50; LPP itself is ${num(s.lpp, 2)} ${spread(s.lppSD)}deg after TDC.`);
  }
  if (s.blocks > 1) {
    out.push(`Means of ${plural(over, "reading")} were ${num(s.rms, 2)} deg from the true mean (rms of ${s.blocks}). If readings did not depend on each other and had no bias it would be sd/\u221a${over} = ${num(s.expected, 2)} deg. Averaging does not take away that their long mean is ${num(off, 2)} deg off.`);
  }
  if (has(s.needed)) {
    out.push(`If readings do not depend on each other, a mean of ${s.needed} is within 1 deg of the long mean in 95 of 100 cases, (1.96 \u00b7 sd)\u00b2: ${num(s.needed * 120 / speed, 2)} s at ${num(speed, 0)} rpm where none is declined. A loop that waits for such a mean answers no faster.`);
  }
  return out;
}

function scatter(s) {
  if (!has(s.readSD)) return `${plural(s.count - s.declined, "reading")} so far: no scatter of readings to tell.${has(s.truthSD) ? ` True peaks scatter by ${num(s.truthSD, 2)} deg (standard deviation).` : ""}`;
  const alone = s.needed > 1 ? " One reading alone may be more than 1 deg off." : "";
  return `From cycle to cycle true peaks scatter by ${num(s.truthSD, 2)} deg, readings by ${num(s.readSD, 2)} deg (standard deviation).${alone}`;
}
