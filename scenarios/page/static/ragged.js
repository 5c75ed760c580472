// The Ragged view: successive cycles differ, and what a reader sees of them.

import { Latest } from "./ask.js";
import { el } from "./dom.js";
import { num } from "./format.js";
import { Panel } from "./panel.js";
import { Player, calm, noting } from "./player.js";
import { Plot } from "./plot.js";
import { running, summary } from "./ragged-numbers.js";
import { draw, kinds } from "./ragged-plots.js";
import { sentences, spread } from "./ragged-words.js";
import { pointKeys } from "./settings.js";
import { follow, written } from "./zoom.js";

export const title = "Ragged";

const batch = 100; // cycles of one answer
const ahead = 60; // cycles that are there before they are shown
const most = 1000;
const breath = 1500; // of rest before a cycle is said aloud [ms]

// What is the view's own, and no matter of what is computed.
const own = {
  over: { label: "Averaging length", unit: "cycles", digits: 0, step: 1, usual: 20, limits: { low: 1, high: 200 } },
  pace: { label: "Pace", options: () => [{ value: "engine", text: "as the engine" }, { value: "slow", text: "2 cycles a second" }] },
};
const asked = [...pointKeys, "signal", "reader", "fault", "seed"];

function none() {
  return { theta: [], pressure: [], signal: [], lpp: [], truth: [], pmax: [], imep: [], read: [], why: [], misfire: [], unit: "", top: 0, highest: 0 };
}

// open fills main with the view and returns what closes it.
export function open(main, state, world) {
  let all = none(), askedFor = "", shown = 0, goal = 0, begun = 0, frame = 0, speech = 0;

  const note = noting(() => { if (shown >= begun) state.fill({ cycles: shown }); }); // not on the way to where the address says
  const panel = new Panel(state, world, { keys: ["over", "pace", ...asked], more: own, lead: "over", changed });
  const fault = el("p", { className: "fault", role: "alert" });
  const where = el("p", { className: "what" });
  const keys = el("dl", { className: "keys" });
  const words = el("div", { className: "why" });
  const player = new Player({
    rate: () => (state.get("pace") === "slow" ? 2 : state.number("speed_rpm") / 120),
    go, moved: (paused) => { state.set({ paused: paused ? 1 : null }); note(true); },
    anew: () => { shown = goal = begun = 0; player.pause(false); go(1); note(true); },
  });
  const plots = new Map(kinds.map((k) => [k.key, new Plot({ ...k, zoomed: (range) => state.set({ [`zoom_${k.key}`]: written(range) }), about: () => panel.about() })]));
  main.replaceChildren(panel.element,
    el("section", { className: "results", "aria-labelledby": "results-title" },
      el("h2", { id: "results-title", textContent: "Cycles that differ" }), fault, panel.note,
      el("div", { className: "bar" }, player.element, where), keys,
      el("div", { className: "plots" }, ...[...plots.values()].map((p) => p.element), words)));

  const asker = new Latest("api/ragged", (json, q) => {
    fault.textContent = "";
    if (!q.startsWith(askedFor) || json.first !== all.lpp.length) return need();
    take(json);
    go(0);
  }, (message) => { fault.textContent = message; });

  // take adds cycles to those that are there.
  function take(json) {
    const n = json.numbers;
    all.theta = json.theta;
    all.unit = json.unit;
    all.pressure.push(...json.pressure_bar);
    all.signal.push(...json.signal);
    all.lpp.push(...n.lpp_deg_atdc.map(value));
    all.truth.push(...n.true_peak_deg_atdc.map(value));
    all.read.push(...n.read_deg_atdc.map(value));
    all.pmax.push(...n.pmax_bar);
    all.imep.push(...n.imep_gross_bar);
    all.why.push(...json.why);
    all.misfire.push(...json.misfire);
    all.top = Math.max(all.top, ...n.pmax_bar);
    all.highest = Math.max(all.highest, ...json.signal.flat());
  }

  // go wants n more cycles to be seen, as far as they are there; the goal first.
  function go(n) {
    goal = Math.min(most, Math.max(goal, shown + n));
    shown = Math.min(goal, all.lpp.length);
    if (goal > shown + ahead) goal = shown < begun ? begun : shown + ahead; // it does not run away from what is computed
    if (shown === most) player.pause(true);
    note();
    need();
    frame ||= requestAnimationFrame(paint);
  }

  function need() {
    const there = all.lpp.length;
    if (!asker.busy && there < Math.min(most, goal + ahead)) asker.ask(`${askedFor}&first=${there}&cycles=${batch}`);
  }

  // wanted is the cycle that the address asks for, mended where it cannot mean one.
  function wanted() {
    const given = state.get("cycles"), v = state.number("cycles");
    const n = Number.isFinite(v) ? Math.min(most, Math.max(1, Math.round(v))) : 1;
    if (given === String(n)) return n;
    if (given !== undefined) panel.note.textContent = [panel.note.textContent, `cycles ${given}: a whole number from 1 to ${most} is allowed, ${n} is used`].filter(Boolean).join("; ");
    state.fill({ cycles: n });
    return n;
  }

  // changed follows the address: null at first, and cycles only if it was gone back in
  // or typed, for the view itself notes them silently.
  function changed(which) {
    if (!which || which.has("cycles")) shown = begun = goal = wanted();
    const q = panel.query(asked);
    if (q !== askedFor) {
      begun = goal = Math.max(shown, begun); // the same cycles again
      asker.stop();
      all = none();
      askedFor = q;
    }
    shown = Math.min(shown, all.lpp.length);
    need();
    if (state.get("paused") !== "1") state.fill({ paused: null });
    player.pause(state.get("paused") === "1", false);
    frame ||= requestAnimationFrame(paint);
  }

  function paint() {
    frame = 0;
    if (!shown) return;
    const over = state.number("over");
    const seen = Object.fromEntries(["truth", "lpp", "read", "imep", "why", "misfire"].map((k) => [k, all[k].slice(0, shown)]));
    const answer = { ...all, shown, over, averaged: running(seen.read, over) };
    plots.get("signal").y.unit = all.unit === "ua" || all.unit === "uA" ? "\u00b5A" : all.unit;
    for (const [key, plot] of plots) plot.draw(draw[key](answer));
    const s = summary(seen, over), speed = state.number("speed_rpm");
    where.textContent = `cycle ${shown} of ${most}${shown === most ? ", where it ends" : ""}`;
    keys.replaceChildren(...[
      ["True peak", num(s.truth, 2), `${spread(s.truthSD)}deg after TDC`],
      ["Read", num(s.read, 2), `${spread(s.readSD)}deg after TDC`],
      ["Bias", num(s.bias, 2), "deg"],
      ["Declined", String(s.declined), `of ${s.count}`],
      ["COV of IMEP", num(100 * s.cov, 2), "%"],
      [`Error of means of ${over}`, num(s.rms, 2), `deg rms, ${s.blocks} of them`],
      ["For \u00b11 deg, 95 %", num(s.needed, 0), "cycles"],
    ].map(([name, v, unit]) => el("div", {}, el("dt", { textContent: name }), el("dd", {}, v, el("span", { className: "unit", textContent: ` ${unit}` })))));
    words.replaceChildren(el("h3", { textContent: "Why average" }), ...sentences(s, over, speed, all.why[shown - 1]).map((t) => el("p", { textContent: t })));
    clearTimeout(speech);
    if (!player.paused) return;
    const n = shown - 1;
    speech = setTimeout(() => world.tell(`Cycle ${shown}: true peak ${num(all.truth[n], 1)}, ${Number.isFinite(all.read[n]) ? `read ${num(all.read[n], 1)} deg after TDC` : `declined, ${all.why[n]}`}`), breath);
  }

  const offZoom = follow(state, plots);
  addEventListener("beforeprint", paint);
  if (state.get("cycles") === undefined) state.fill({ cycles: calm() ? batch : 1 });
  if (calm()) state.fill({ paused: 1 });
  panel.begin();

  return () => {
    note.stop();
    clearTimeout(speech);
    player.close();
    panel.close();
    offZoom();
    removeEventListener("beforeprint", paint);
    asker.stop();
    cancelAnimationFrame(frame);
  };
}

function value(v) {
  return v === null ? NaN : v;
}
