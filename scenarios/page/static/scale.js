// Axes: from a value to a place and back, and where the ticks stand.

// Scale maps values from lo to hi to places from a to b; log for logarithmic.
export class Scale {
  constructor(lo, hi, a, b, log = false) {
    Object.assign(this, { lo, hi, a, b, log });
    this.from = this.through(lo);
    this.span = this.through(hi) - this.from;
  }

  through(v) {
    return this.log ? Math.log10(v) : v;
  }

  place(v) {
    return this.a + ((this.through(v) - this.from) / this.span) * (this.b - this.a);
  }

  value(place) {
    const t = this.from + ((place - this.a) / (this.b - this.a)) * this.span;
    return this.log ? 10 ** t : t;
  }
}

// zoomed is the range lo to hi drawn together by factor about the value at
// the share (0 to 1) of it, then shifted by so many of its lengths.
export function zoomed([lo, hi], log, share, factor, shift = 0) {
  const s = new Scale(lo, hi, 0, 1, log);
  const at = (u) => s.value(share + (u - share) * factor + shift);
  return [at(0), at(1)];
}

const steps = [1, 2, 5, 10];
const angles = [1, 2, 5, 10, 15, 30, 45, 60, 90, 180, 360];

// step is a round step that parts the length into at most about count.
export function step(length, count, angle = false) {
  const rough = length / count;
  if (angle && rough > 0.5) return angles.find((s) => s >= rough) ?? 720;
  const ten = 10 ** Math.floor(Math.log10(rough));
  return ten * steps.find((s) => s * ten >= rough * (1 - 1e-9));
}

// ticks are round values from lo to hi, about count of them.
export function ticks(lo, hi, count, kind = "linear") {
  if (!(hi > lo)) return [];
  if (kind === "log" && hi / lo > 4) {
    const out = [];
    const wanted = hi / lo > 300 ? [1] : hi / lo > 30 ? [1, 3] : [1, 2, 5];
    for (let e = Math.floor(Math.log10(lo)); e <= Math.log10(hi); e++) {
      for (const m of wanted) {
        const v = Number(`${m}e${e}`);
        if (v >= lo && v <= hi) out.push(v);
      }
    }
    if (out.length > 1) return out;
  }
  const s = step(hi - lo, count, kind === "angle");
  const out = [];
  for (let i = Math.ceil(lo / s - 1e-9); i <= hi / s + 1e-9; i++) out.push(Number((i * s).toPrecision(12)));
  return out;
}

// round widens lo and hi to whole steps, so that an axis does not move with
// every small change.
export function round(lo, hi, count) {
  if (!(hi > lo)) return [lo - 1, lo + 1];
  const s = step(hi - lo, count) / 2;
  return [Math.floor(lo / s + 1e-9) * s, Math.ceil(hi / s - 1e-9) * s];
}
