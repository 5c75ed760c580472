// What a person did to a running loop, cycle by cycle: moves of a hand and faults, as
// the address and the program have them.

// How many the program takes.
export const mostMoves = 100;
export const mostFaults = 20;

// moves reads CYCLE:DEG,CYCLE:DEG.
export function moves(text) {
  return (text ?? "").split(",").map((p) => p.split(":").map(Number)).filter((m) => m.length === 2 && m.every(Number.isFinite)).map(([cycle, deg]) => ({ cycle, deg }));
}

// moved is the list with a hand at deg from cycle on, whatever was to come after.
export function moved(text, cycle, deg) {
  const all = moves(text).filter((m) => m.cycle < cycle);
  if ((all.at(-1)?.deg ?? 0) !== deg) all.push({ cycle, deg });
  return all.map((m) => `${m.cycle}:${m.deg}`).join(",") || null;
}

// now is where the hand is at a cycle.
export function now(text, cycle) {
  return moves(text).filter((m) => m.cycle <= cycle).at(-1)?.deg ?? 0;
}

// faults reads NAME=SEVERITY@FROM-TO,NAME@FROM-; severity is a text as it was given,
// the typical one without.
export function faults(text) {
  return (text ?? "").split(",").map((p) => /^([a-z-]+)(=[^@]*)?(?:@(\d+)-(\d*))?$/.exec(p)).filter(Boolean)
    .map(([, name, severity = "", from = "0", to = ""]) => ({ name, severity, from: Number(from), to: to === "" ? Infinity : Number(to) }));
}

function listed(all) {
  return all.map((f) => `${f.name}${f.severity}@${f.from}-${f.to === Infinity ? "" : f.to}`).join(",");
}

// switched is the list with fault name on or off from cycle on.
export function switched(text, name, cycle, on) {
  const all = faults(text).filter((f) => !(f.name === name && f.from >= cycle));
  for (const f of all) if (f.name === name && f.to > cycle) f.to = cycle;
  if (on) all.push({ name, severity: "", from: cycle, to: Infinity });
  return listed(all) || null;
}

// active is the fault of that name that there is at a cycle, if there is one.
export function active(text, name, cycle) {
  return faults(text).find((f) => f.name === name && f.from <= cycle && cycle < f.to);
}

// same tells whether two scripts, {hand, hand_trailing, faults}, did the same before cycle.
export function same(a, b, cycle) {
  const past = (s) => JSON.stringify([
    ...[s.hand, s.hand_trailing].map((m) => moves(m).filter((v) => v.cycle < cycle)),
    listed(faults(s.faults).filter((f) => f.from < cycle).map((f) => (f.to < cycle ? f : { ...f, to: Infinity }))),
  ]);
  return past(a) === past(b);
}
