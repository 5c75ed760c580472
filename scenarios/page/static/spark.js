// The Spark view: what one cylinder does for a spark advance.

import { Latest } from "./ask.js";
import { el } from "./dom.js";
import { num } from "./format.js";
import { Panel } from "./panel.js";
import { Plot } from "./plot.js";
import { pointKeys } from "./settings.js";
import { Numbers } from "./spark-numbers.js";
import { draw, kinds } from "./spark-plots.js";
import { follow, written } from "./zoom.js";

export const title = "Spark";

const pause = 150; // a drag has paused [ms]; our own choice
const breath = 1500; // between two things said aloud [ms]
const place = pointKeys.filter((k) => k !== "spark_deg");

// open fills main with the view and returns what closes it.
export function open(main, state, world) {
  let cycle = null, sweep = null, sweepFor = "", frame = 0, later = 0, speech = 0;

  // What is on the page.
  const panel = new Panel(state, world, { keys: pointKeys, lead: "spark_deg", changed: ask });
  const fault = el("p", { className: "fault", role: "alert" });
  const keys = el("dl", { className: "keys" });
  const why = el("div");
  const numbers = new Numbers();
  const plots = new Map(kinds.map((k) => [k.key, new Plot({ ...k, zoomed: (range) => state.set({ [`zoom_${k.key}`]: written(range) }), about: () => panel.about() })]));
  main.replaceChildren(panel.element,
    el("section", { className: "results", "aria-labelledby": "results-title" },
      el("h2", { id: "results-title", textContent: "This cycle" }), fault, panel.note, keys,
      el("div", { className: "plots" }, ...[...plots.values()].map((p) => p.element),
        el("section", { className: "why", "aria-labelledby": "why-title" }, el("h3", { id: "why-title", textContent: "Why" }), why)),
      el("section", { "aria-labelledby": "numbers-title" }, el("h3", { id: "numbers-title", textContent: "Numbers" }), numbers.element)));

  // What is asked and what is made of the answers.
  const say = (message) => { fault.textContent = message; };
  const cycles = new Latest("api/cycle", (json) => { cycle = json; say(""); soon(); }, say);
  const sweeps = new Latest("api/sweep", (json, q) => {
    sweep = json;
    sweepFor = q;
    if (q === panel.query(place)) cycles.ask(panel.query()); // it can now be told against MBT
    soon();
  }, say);

  function ask(changed) {
    cycles.ask(panel.query());
    const s = panel.query(place);
    if (s !== sweepFor) {
      clearTimeout(later);
      later = setTimeout(() => sweeps.ask(s), changed ? pause : 0);
    }
    soon();
  }

  function soon() {
    frame ||= requestAnimationFrame(paint);
  }

  function paint() {
    frame = 0;
    if (!cycle) return;
    const answer = { ...cycle, sweep, fresh: sweepFor === panel.query(place) };
    for (const [key, plot] of plots) plot.draw(draw[key](answer));
    numbers.show(cycle);
    why.replaceChildren(...[cycle.why ?? []].flat().map((s) => el("p", { textContent: s })));
    const all = headline(answer);
    keys.replaceChildren(...all.map(([name, value, unit]) => el("div", {}, el("dt", { textContent: name }), el("dd", {}, value, unit ? el("span", { className: "unit", textContent: ` ${unit}` }) : ""))));
    clearTimeout(speech);
    speech = setTimeout(() => world.tell(all.map((k) => k.join(" ")).join("; ")), breath);
  }

  const offZoom = follow(state, plots);
  addEventListener("beforeprint", paint);
  panel.begin();

  return () => {
    panel.close();
    offZoom();
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
