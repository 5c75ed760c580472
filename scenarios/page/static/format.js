// Numbers as people read them.

const minus = "\u2212";

// num writes v with so many digits after the point; null is "none".
export function num(v, digits) {
  if (v === null || v === undefined || !Number.isFinite(v)) return "none";
  const text = v.toFixed(digits);
  if (/^-0(\.0*)?$/.test(text)) return text.slice(1); // no minus before a zero
  return text.replace("-", minus);
}

// figures writes v with about so many figures, for axes, readouts and tables.
export function figures(v, count) {
  if (v === null || v === undefined || !Number.isFinite(v)) return "none";
  if (v === 0) return "0";
  const size = Math.floor(Math.log10(Math.abs(v)));
  if (size < -4 || size > 6) return v.toExponential(count - 1).replaceAll("-", minus);
  return num(v, Math.max(0, count - 1 - size));
}

// join names a quantity with its unit.
export function join(label, unit) {
  return unit ? `${label} [${unit}]` : label;
}
