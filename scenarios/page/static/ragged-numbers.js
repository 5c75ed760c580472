// What many cycles come to.

const has = Number.isFinite;

export function mean(xs) {
  return xs.length ? xs.reduce((a, b) => a + b, 0) / xs.length : NaN;
}

// sd is the standard deviation of a sample.
export function sd(xs) {
  if (xs.length < 2) return NaN;
  const m = mean(xs);
  return Math.sqrt(xs.reduce((a, b) => a + (b - m) ** 2, 0) / (xs.length - 1));
}

// running is the mean of the last so many readings at each cycle; those that were
// declined do not count, and NaN is none.
export function running(xs, over) {
  const out = [], ring = [];
  let sum = 0;
  for (const x of xs) {
    if (has(x)) {
      ring.push(x);
      sum += x;
      if (ring.length > over) sum -= ring.shift();
    }
    out.push(ring.length ? sum / ring.length : NaN);
  }
  return out;
}

// blocks is the rms of means of so many readings in a row about centre, and how many
// such means there are.
export function blocks(xs, over, centre) {
  const known = xs.filter(has);
  let sum = 0, count = 0;
  for (let i = 0; i + over <= known.length; i += over) {
    sum += (mean(known.slice(i, i + over)) - centre) ** 2;
    count++;
  }
  return { rms: count ? Math.sqrt(sum / count) : NaN, count };
}

// needed is how many independent readings must be averaged for their mean to be within
// 1 deg of the long mean in 95 of 100 cases, from their standard deviation [deg].
export function needed(spread) {
  return Math.max(1, Math.ceil((1.959964 * spread) ** 2));
}

// summary sums up cycles {truth, lpp, read, imep, why, misfire}; over is how many
// readings are averaged. late are cycles whose pressure is greatest away from the peak
// of the burn.
export function summary({ truth, lpp, read, imep, why, misfire }, over) {
  const reasons = {};
  for (const w of why) if (w) reasons[w] = (reasons[w] ?? 0) + 1;
  const l = lpp.filter(has);
  const t = truth.filter(has), r = read.filter(has);
  const pairs = read.map((x, i) => x - truth[i]).filter(has);
  const centre = mean(t), spread = sd(r), b = blocks(read, over, centre);
  return {
    count: truth.length, truth: centre, truthSD: sd(t), read: mean(r), readSD: spread, bias: mean(pairs),
    declined: read.length - r.length, cov: sd(imep) / mean(imep), rms: b.rms, blocks: b.count,
    reasons, misfires: misfire.filter(Boolean).length,
    late: truth.filter((x, i) => has(x) && x !== lpp[i]).length, lpp: mean(l), lppSD: sd(l),
    expected: spread / Math.sqrt(over), needed: has(spread) ? needed(spread) : NaN,
  };
}
