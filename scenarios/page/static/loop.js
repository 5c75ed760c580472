// The Loop view: a controller in closed loop, a hand at the distributor, faults.

import { Latest } from "./ask.js";
import { el } from "./dom.js";
import { Hands } from "./loop-hands.js";
import { draw, kinds } from "./loop-plots.js";
import * as script from "./loop-script.js";
import { aloud, headline, sentences } from "./loop-words.js";
import { Panel } from "./panel.js";
import { Player, calm, noting } from "./player.js";
import { Plot } from "./plot.js";
import { follow, written } from "./zoom.js";

export const title = "Loop";

const most = 3000; // cycles of a run
const stride = 600; // of one answer
const lead = 1; // how far a wish may be before what is computed [s]
const breath = 1500; // of rest before a cycle is said aloud [ms]
const onOff = [{ value: "1", text: "on" }, { value: "0", text: "off" }];
const first = { ion: "tracker", pressure: "smoothed", law: "integral" }; // as the program's loops begin

// What is the view's own.
const own = {
  reader: { label: "Reader", options: (world, state) => ahead(first[state.get("signal")], (world.readers[state.get("signal")] ?? []).map((r) => ({ value: r, text: r }))) },
  law: { label: "Controller", options: (world) => ahead(first.law, world.laws.filter((l) => !l.needs.some((n) => n === "knock" || n === "airflow")).map((l) => ({ value: l.name, text: `${l.name}: ${l.about}` }))) },
  guard: { label: "Guard", options: () => onOff },
  envelope: { label: "Stay where believed", options: () => onOff },
  pace: { label: "Pace", options: () => [{ value: "1", text: "as the engine" }, { value: "4", text: "4 times as fast" }] },
};
const asked = ["speed_rpm", "map_kpa", "lambda", "octane_shift", "humidity_g_kg", "signal", "reader", "target_deg", "law", "guard", "envelope", "seed"];
const scripts = ["hand", "hand_trailing", "faults"];

// ahead puts the option with that value first.
function ahead(value, options) {
  return [...options.filter((o) => o.value === value), ...options.filter((o) => o.value !== value)];
}

// open fills main with the view and returns what closes it.
export function open(main, state, world) {
  let rows = {}, why = [], states = [], verdict = null, base = "", ran = {};
  let have = 0, goal = 0, begun = 0, flight = 0, frame = 0, speech = 0, again = "";

  const note = noting(() => {
    if (!have || have < begun) return; // on the way to where the address says
    state.commit(); // what a person did is a step of "back"; the cycle is none
    state.fill({ cycle: have });
  });
  const panel = new Panel(state, world, { keys: ["law", "guard", "envelope", "pace", ...asked.filter((k) => !["law", "guard", "envelope"].includes(k))], more: own, changed });
  const fault = el("p", { className: "fault", role: "alert" });
  const where = el("p", { className: "what" });
  const keys = el("dl", { className: "keys" });
  const words = el("div", { className: "why" });
  const log = el("a", { textContent: "log (CSV)", download: "phasebench-loop.csv" });
  const file = el("a", { textContent: "scenario file (TOML)", download: "phasebench-loop.toml" });
  const player = new Player({ rate: () => Number(state.get("pace") || 1) * state.number("speed_rpm") / 120, go, strides: [10], anew, moved: (paused) => {
    if (paused) goal = at();
    state.set({ paused: paused ? 1 : null });
    note(true);
  } });
  const hands = new Hands({ state, world, at, most, running: () => !player.paused });
  const plots = new Map(kinds.map((k) => [k.key, new Plot({ ...k, zoomed: (range) => state.set({ [`zoom_${k.key}`]: written(range) }), about: () => panel.about() })]));
  main.replaceChildren(panel.element,
    el("section", { className: "results", "aria-labelledby": "results-title" },
      el("h2", { id: "results-title", textContent: "A loop, live" }), fault, panel.note,
      el("div", { className: "bar" }, player.element, where, el("p", { className: "links" }, "Keep: ", log, " ", file)),
      hands.element, keys,
      el("div", { className: "plots strips" }, ...[...plots.values()].map((p) => p.element), words)));

  const asker = new Latest("api/loop", (json) => {
    fault.textContent = "";
    flight = 0;
    for (const [k, v] of Object.entries(json.rows)) (rows[k] ??= []).push(...v);
    why.push(...json.guard_why);
    ({ states, verdict } = json);
    have = rows.cycle.length;
    if (have === most) player.pause(true);
    note();
    need();
    hands.show(plugs());
    soon();
  }, (message) => {
    fault.textContent = message;
    if (asker.busy) return; // it will be asked again
    flight = 0;
    player.pause(true);
  });

  // query is what is asked, without the cycles.
  function query() {
    const q = new URLSearchParams(base);
    for (const key of scripts) if (state.get(key)) q.set(key, state.get(key));
    return q.toString();
  }

  // done is what a person did to the loop, as the address has it.
  function done() {
    return Object.fromEntries(scripts.map((k) => [k, state.get(k)]));
  }

  function plugs() {
    return panel.engine().settings["burn.plugs"];
  }

  function need() {
    if (flight || have >= Math.min(most, goal)) return;
    flight = Math.min(most, goal, have + stride);
    asker.ask(`${query()}&from=${have}&to=${flight}`);
    soon();
  }

  // go wants n more cycles, but not far more than are computed.
  function go(n) {
    const room = Math.max(begun, have + Math.max(n, Math.ceil(lead * player.rate())));
    goal = Math.min(most, room, Math.max(goal, have) + n);
    need();
  }

  // at is the next cycle that a hand can still change.
  function at() {
    return Math.max(have, flight);
  }

  // anew lets go of the hand, takes the faults away and begins at the first cycle.
  function anew() {
    restart(0);
    ran = {};
    again = "";
    state.set({ hand: null, hand_trailing: null, faults: null, paused: null });
    player.pause(false, false);
    go(1);
  }

  // restart forgets what was computed; until cycles are wanted at once.
  function restart(until) {
    hands.forget();
    asker.stop();
    [rows, why, verdict, have, flight, goal, begun] = [{}, [], null, 0, 0, until, until];
    need();
  }

  // wanted is the cycle that the address asks for, mended where it cannot mean one.
  function wanted() {
    const given = state.get("cycle"), v = state.number("cycle");
    const n = Number.isFinite(v) ? Math.min(most, Math.max(1, Math.round(v))) : 1;
    if (given === String(n)) return n;
    if (given !== undefined) panel.note.textContent = [panel.note.textContent, `cycle ${given}: a whole number from 1 to ${most} is allowed, ${n} is used`].filter(Boolean).join("; ");
    state.fill({ cycle: n });
    return n;
  }

  // changed follows the address: null at first, and cycle only if it was gone back in or
  // typed, for the view itself notes it silently. Another setting runs the same cycles
  // again, with the same hand and faults; so does another past of those.
  function changed(keys) {
    const b = panel.query(asked), typed = !keys || keys.has("cycle");
    if (b !== base || typed || !script.same(ran, done(), at())) {
      const until = typed ? wanted() : Math.max(have, begun);
      again = base && b !== base && until > 1 ? `The same ${until} cycles again, with the same hand and faults at the same cycles.` : "";
      base = b;
      restart(until);
    }
    ran = done();
    player.pause(state.get("paused") === "1", false);
    hands.show(plugs());
    soon();
  }

  function soon() {
    frame ||= requestAnimationFrame(paint);
  }

  function paint() {
    frame = 0;
    const waits = flight && !have ? "Preparing: base map, surface of cycles, and where the reader can be believed. This takes some seconds." : "";
    where.textContent = waits || `cycle ${have} of ${most}${have === most ? ", where it ends" : ""}. ${again}`;
    if (!have) return;
    log.href = `api/loop.csv?${query()}&to=${have}`;
    file.href = `api/loop.toml?${query()}&to=${have}`;
    const answer = { rows, why, states, verdict, guard: state.get("guard") === "1", speed: state.number("speed_rpm") };
    for (const [key, plot] of plots) plot.draw(draw[key](rows));
    keys.replaceChildren(...headline(answer).map(([name, v, unit]) => el("div", {}, el("dt", { textContent: name }), el("dd", {}, v, el("span", { className: "unit", textContent: ` ${unit}` })))));
    words.replaceChildren(el("h3", { textContent: "What happens" }), ...sentences(answer).map((t) => el("p", { textContent: t })),
      el("p", { className: "what", textContent: "This hand is at a model. On an engine nobody turns a distributor far under load: it breaks." }));
    clearTimeout(speech);
    if (player.paused) speech = setTimeout(() => world.tell(`${again} ${aloud(answer)}`.trim()), breath);
  }

  const offZoom = follow(state, plots);
  addEventListener("beforeprint", paint);
  if (calm()) state.fill({ paused: 1 });
  panel.begin();

  return () => {
    note.stop();
    clearTimeout(speech);
    hands.forget();
    player.close();
    panel.close();
    offZoom();
    removeEventListener("beforeprint", paint);
    asker.stop();
    cancelAnimationFrame(frame);
  };
}
