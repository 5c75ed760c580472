// Zooms of plots as values of the address.

// written and read turn a zoom into a value of the address and back.
export function written(range) {
  return range && [...range.x, ...range.y].map((v) => Number(v.toPrecision(6))).join(",");
}

export function read(text) {
  const v = (text ?? "").split(",").map(Number);
  if (v.length !== 4 || !v.every(Number.isFinite) || !(v[1] > v[0]) || !(v[3] > v[2])) return null;
  return { x: [v[0], v[1]], y: [v[2], v[3]] };
}

// follow lets plots, by key, have the zooms of the address; it returns what ends that.
export function follow(state, plots) {
  const look = (changed) => {
    for (const [key, plot] of plots) {
      const name = `zoom_${key}`;
      if (changed && !changed.has(name)) continue;
      plot.range = read(state.get(name));
      plot.paint();
    }
  };
  look();
  return state.on(look);
}
