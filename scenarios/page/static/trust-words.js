// What the Trust view says of a row and of the cycle that misled.

import { num } from "./format.js";

const has = Number.isFinite;

// row says where the reader can be believed at one load.
export function row(node) {
  const out = [];
  const at = `At ${num(node.speed_rpm, 0)} rpm and ${num(node.map_kpa, 1)} kPa`;
  if (has(node.safe_from_deg_btdc)) {
    out.push(`${at} a loop may go by this reader from ${num(node.safe_from_deg_btdc, 1)} to ${num(node.safe_to_deg_btdc, 1)} deg before TDC; MBT is at ${num(node.mbt_deg_btdc, 1)}.`);
  } else {
    out.push(`${at} there is no spark about MBT at which a loop may go by this reader.`);
  }
  for (const [side, flip] of [["later", node.retarded_flip], ["earlier", node.advanced_flip]]) {
    if (flip.how === "side") out.push(`On the ${side} side more than 5 % of the readings are on the wrong side of the target from ${num(flip.spark_deg_btdc, 1)} deg on.`);
    if (flip.how === "slope") out.push(`On the ${side} side the readings move the wrong way from ${num(flip.spark_deg_btdc, 1)} deg on.`);
    if (!flip.how) out.push(`No flip was found on the ${side} side of what was looked at.`);
  }
  if (node.retarded_flip.how === "nowhere") out.push("It cannot be believed anywhere near MBT.");
  if (has(node.reads_on_target_deg_atdc)) out.push(`Where the true peak is on target it reads ${num(node.reads_on_target_deg_atdc, 1)} deg: that is what a loop must hold.`);
  if (has(node.cycles_for_1_deg)) out.push(`${num(node.cycles_for_1_deg, 0)} cycles must be averaged for \u00b11 deg in 95 of 100 cases.`);
  return out;
}

// causes says what the flips of a row are put down to.
export function causes(node) {
  const out = [];
  for (const [side, flip] of [["later", node.retarded_flip], ["earlier", node.advanced_flip]]) {
    if (!flip.how) continue;
    const all = flip.causes.map((c) => (has(c.moves_deg) ? `${c.name} (moves ${num(c.moves_deg, 1)} deg)` : `${c.name} (gone)`));
    out.push(`The flip on the ${side} side moves away without: ${all.length ? all.join("; ") : "no single thing"}.`);
  }
  return out.length ? out : ["There is no flip to explain."];
}

// late tells whether the highest pressure of a cycle is not what a reader should find.
export function late(f) {
  return has(f.true_peak_deg_atdc) && f.true_peak_deg_atdc !== f.lpp_deg_atdc;
}

// fooled says what happened in the cycle that misled most.
export function fooled(f, cell) {
  const out = [];
  if (f.misfire) out.push(`Cycle ${f.cycle} misfired: it has no peak of its own.`);
  if (!has(f.read_deg_atdc)) out.push(`The reader declined cycle ${f.cycle}: ${f.why}.`);
  else out.push(`Cycle ${f.cycle}, fired ${num(f.spark_deg_btdc, 0)} deg before TDC: it read ${num(f.read_deg_atdc, 1)} deg, the true peak was at ${num(f.true_peak_deg_atdc, 1)}. ${f.wrong_side ? "That is the wrong side of the target." : "That is on the right side of the target, or too near to it to matter."}`);
  if (late(f)) out.push(`The highest pressure of that cycle, at ${num(f.lpp_deg_atdc, 1)} deg, is that of compression alone. What counts as its true peak is then CA50, where half has burned; the hump of the burn is near it.`);
  if (has(cell?.declined_fraction)) {
    const side = has(cell.wrong_side_fraction) ? ` Of 100 readings ${num(100 * cell.wrong_side_fraction, 0)} were on the wrong side of the target; their rms error was ${num(cell.rms_error_deg, 1)} deg.` : "";
    out.push(`Of 100 cycles at this spark ${num(100 * cell.declined_fraction, 0)} were declined.${side}`);
  }
  return out;
}
