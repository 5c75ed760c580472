// The Spark view: what one cylinder does for a spark advance.

import { Latest } from "./ask.js";
import { Control } from "./control.js";
import { el } from "./dom.js";
import { num } from "./format.js";
import { Plot } from "./plot.js";
import { Numbers } from "./spark-numbers.js";
import { draw, kinds } from "./spark-plots.js";
import { base, owned, point, query, settings } from "./spark-settings.js";

export const title = "Spark";

const pause = 150; // a drag has paused [ms]; our own choice
const breath = 1500; // between two things said aloud [ms]

// open fills main with the view and returns what closes it.
export function open(main, state, { engines, limits, facts, tell }) {
  let cycle = null, sweep = null, sweepFor = "", frame = 0, later = 0, speech = 0;
  const engine = () => engines.find((e) => e.name === state.get("engine"));

  // What is on the page.
  const choice = el("select", { id: "set-engine" }, ...engines.map((e) => el("option", { value: e.name, textContent: e.name })));
  const what = el("p", { className: "what" });
  const controls = settings.map((s) => new Control(s, (v) => state.set({ [s.key]: Number((v - base(s, engine())).toFixed(6)) })));
  const back = el("button", { type: "button", textContent: "Back to the engine's own point" });
  const fault = el("p", { className: "fault", role: "alert" });
  const note = el("p", { className: "fault", role: "status" }); // what was mended in an address
  const keys = el("dl", { className: "keys" });
  const why = el("div");
  const numbers = new Numbers();
  const plots = new Map(kinds.map((k) => [k.key, new Plot({ ...k, zoomed: (range) => state.set({ [`zoom_${k.key}`]: written(range) }), about })]));
  const [spark, ...others] = controls;
  main.replaceChildren(
    el("section", { className: "settings", "aria-labelledby": "settings-title" },
      el("h2", { id: "settings-title", textContent: "Settings" }),
      el("div", { className: "control engine" }, el("label", { for: "set-engine", textContent: "Engine" }), choice, what),
      el("div", { className: "first" }, spark.element), ...others.map((c) => c.element), back),
    el("section", { className: "results", "aria-labelledby": "results-title" },
      el("h2", { id: "results-title", textContent: "This cycle" }), fault, note, keys,
      el("div", { className: "plots" }, ...[...plots.values()].map((p) => p.element),
        el("section", { className: "why", "aria-labelledby": "why-title" }, el("h3", { id: "why-title", textContent: "Why" }), why)),
      el("section", { "aria-labelledby": "numbers-title" }, el("h3", { id: "numbers-title", textContent: "Numbers" }), numbers.element)));

  function about() {
    return { lines: [point(state, engine()), ...facts.lines], meta: { ...facts.meta, point: Object.fromEntries(new URLSearchParams(query(state, true))), engine: engine().settings } };
  }

  // What is asked and what is made of the answers.
  const say = (message) => { fault.textContent = message; };
  const cycles = new Latest("api/cycle", (json) => { cycle = json; say(""); soon(); }, say);
  const sweeps = new Latest("api/sweep", (json, q) => {
    sweep = json;
    sweepFor = q;
    if (q === query(state, false)) cycles.ask(query(state, true)); // it can now be told against MBT
    soon();
  }, say);

  function soon() {
    frame ||= requestAnimationFrame(paint);
  }

  function paint() {
    frame = 0;
    if (!cycle) return;
    const fresh = sweepFor === query(state, false);
    const answer = { ...cycle, sweep, fresh };
    for (const [key, plot] of plots) plot.draw(draw[key](answer));
    numbers.show(cycle);
    why.replaceChildren(...[cycle.why ?? []].flat().map((s) => el("p", { textContent: s })));
    const all = headline(answer);
    keys.replaceChildren(...all.map(([name, value, unit]) => el("div", {}, el("dt", { textContent: name }), el("dd", {}, value, unit ? el("span", { className: "unit", textContent: ` ${unit}` }) : ""))));
    clearTimeout(speech);
    speech = setTimeout(() => tell(all.map((k) => k.join(" ")).join("; ")), breath);
  }

  // The state and the inputs.
  function ask(changed) {
    const q = query(state, true);
    cycles.ask(q);
    const s = query(state, false);
    if (s !== sweepFor) {
      clearTimeout(later);
      later = setTimeout(() => sweeps.ask(s), changed ? pause : 0);
    }
    soon();
  }

  function show() {
    choice.value = engine().name;
    what.textContent = engine().description;
    settings.forEach((s, i) => {
      const { low, high } = limits[s.key];
      const b = base(s, engine());
      controls[i].limit(low + b, high + b);
      controls[i].show(Number((state.number(s.key) + b).toFixed(6)));
    });
  }

  // settle mends what an address cannot mean: an unknown engine, no number, too
  // much or too little.
  function settle() {
    const wanted = state.get("engine");
    const found = engines.find((e) => e.name === wanted) ?? engines[0];
    const own = owned(found);
    const mended = { engine: found.name };
    const odd = wanted === undefined || wanted === found.name ? [] : [`engine ${wanted} is not here`];
    for (const s of settings) {
      const { low, high } = limits[s.key];
      const v = state.number(s.key);
      const kept = Number.isFinite(v) ? Math.min(high, Math.max(low, v)) : Number(own[s.key]);
      mended[s.key] = kept;
      if (state.get(s.key) !== undefined && kept !== v) odd.push(`${s.key} ${state.get(s.key)}: ${low} to ${high} is allowed, ${kept} is used`);
    }
    state.fill(mended);
    return odd.join("; ");
  }

  function zooms(changed) {
    for (const [key, plot] of plots) {
      if (changed && !changed.has(`zoom_${key}`)) continue;
      plot.range = read(state.get(`zoom_${key}`));
    }
  }

  choice.addEventListener("change", () => {
    const e = engines.find((o) => o.name === choice.value);
    state.set({ engine: e.name, ...owned(e) });
  });
  back.addEventListener("click", () => state.set(owned(engine())));

  const off = state.on((changed) => {
    const looks = [...changed].every((k) => k.startsWith("zoom_") || k === "theme");
    if (!looks) {
      const odd = state.get("engine") === undefined || settings.some((s) => state.get(s.key) === undefined) || !engine() ||
        settings.some((s) => !(state.number(s.key) >= limits[s.key].low && state.number(s.key) <= limits[s.key].high));
      note.textContent = odd ? settle() : "";
      show();
      ask(true);
    }
    zooms(changed);
    soon();
  });
  addEventListener("beforeprint", paint);

  note.textContent = settle();
  show();
  zooms();
  ask(false);

  return () => {
    off();
    removeEventListener("beforeprint", paint);
    cycles.stop();
    sweeps.stop();
    for (const t of [later, speech]) clearTimeout(t);
    cancelAnimationFrame(frame);
  };
}

// headline is the few numbers that matter most.
function headline({ cycle: c, sweep, fresh }) {
  const out = [
    ["Brake torque", num(c.brake_torque_nm, 2), "N\u00b7m"],
    ["LPP", num(c.lpp_deg_atdc, 1), "deg after TDC"],
    ["CA50", num(c.ca50_deg_atdc, 1), "deg after TDC"],
    ["Peak", num(c.pmax_bar, 1), "bar"],
    ["Knock", c.lit ? (c.knock_integral > 1 ? "yes" : "no") : "none", c.lit ? `integral ${num(c.knock_integral, 2)}` : "misfire"],
  ];
  const mbt = fresh && sweep?.mbt;
  if (mbt && Number.isFinite(mbt.spark_deg_btdc)) {
    out.splice(1, 0, ["MBT", num(mbt.spark_deg_btdc, 1), "deg before TDC"],
      ["Lost against MBT", num(100 * (1 - c.brake_torque_nm / mbt.brake_torque_nm), 2), "%"]);
  } else {
    out.splice(1, 0, ["MBT", "\u2026", "deg before TDC"], ["Lost against MBT", "\u2026", "%"]);
  }
  return out;
}

// written and read turn a zoom into a value of the address and back.
function written(range) {
  return range && [...range.x, ...range.y].map((v) => Number(v.toPrecision(6))).join(",");
}

function read(text) {
  const v = (text ?? "").split(",").map(Number);
  if (v.length !== 4 || !v.every(Number.isFinite) || !(v[1] > v[0]) || !(v[3] > v[2])) return null;
  return { x: [v[0], v[1]], y: [v[2], v[3]] };
}
