// What a person did to a running loop, cycle by cycle: moves of a hand and faults, as
// the address and the program have them.

// moves reads CYCLE:DEG,CYCLE:DEG.
export function moves(text) {
  return (text ?? "").split(",").map((p) => p.split(":").map(Number)).filter((m) => m.length === 2 && m.every(Number.isFinite)).map(([cycle, deg]) => ({ cycle, deg }));
}

// moved is the list with a hand at deg from cycle on.
export function moved(text, cycle, deg) {
  const all = moves(text).filter((m) => m.cycle < cycle);
  if ((all.at(-1)?.deg ?? 0) !== deg) all.push({ cycle, deg });
  return all.map((m) => `${m.cycle}:${m.deg}`).join(",") || null;
}

// now is where the hand is after all moves.
export function now(text) {
  return moves(text).at(-1)?.deg ?? 0;
}

// faults reads NAME@FROM-TO,NAME@FROM-.
export function faults(text) {
  return (text ?? "").split(",").map((p) => /^([a-z-]+)@(\d+)-(\d*)$/.exec(p)).filter(Boolean).map(([, name, from, to]) => ({ name, from: Number(from), to: to === "" ? Infinity : Number(to) }));
}

// switched is the list with fault name on or off from cycle on.
export function switched(text, name, cycle, on) {
  const all = faults(text).filter((f) => !(f.name === name && f.from >= cycle));
  for (const f of all) if (f.name === name && f.to > cycle) f.to = cycle;
  if (on) all.push({ name, from: cycle, to: Infinity });
  return all.map((f) => `${f.name}@${f.from}-${f.to === Infinity ? "" : f.to}`).join(",") || null;
}

// active tells whether fault name is on now.
export function active(text, name) {
  return faults(text).some((f) => f.name === name && f.to === Infinity);
}
