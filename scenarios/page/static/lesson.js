// The Lesson view: six short steps, each of which checks an answer by computing it.

import { Latest } from "./ask.js";
import { Control } from "./control.js";
import { el } from "./dom.js";
import { early, mbt, peak } from "./lesson-first.js";
import { average, knock, place } from "./lesson-last.js";
import { Plot } from "./plot.js";
import { kinds as raggedKinds } from "./ragged-plots.js";
import { settings } from "./settings.js";
import { kinds as sparkKinds } from "./spark-plots.js";
import { follow, written } from "./zoom.js";

export const title = "Lesson";

const steps = [peak, mbt, early, place, knock, average];
const subject = "pump-set";
const kindOf = (key) => [...sparkKinds, ...raggedKinds].find((k) => k.key === key);

// open fills main with the view and returns what closes it.
export function open(main, state, world) {
  let close = () => {}, shown = -1;
  const list = el("ol", { className: "steps" });
  const stage = el("section", { className: "stage", "aria-labelledby": "step-title" });
  main.replaceChildren(el("nav", { className: "settings", "aria-label": "Steps of the lesson" }, list), stage);

  const engine = world.engines.find((e) => e.name === subject); // another may never knock
  const passed = () => (state.get("passed") ?? "").split(".").filter((k) => steps.some((s) => s.key === k));
  const at = () => Math.min(steps.length, Math.max(1, Math.round(state.number("step")) || 1)) - 1;
  const to = (i) => state.set({ step: i + 1, spark: null, zoom_lesson: null });

  function show() {
    const done = passed();
    list.replaceChildren(...steps.map((s, i) => {
      const b = el("button", { type: "button", textContent: `${s.title}${done.includes(s.key) ? " \u2013 done" : ""}`, onclick: () => to(i) });
      if (i === at()) b.setAttribute("aria-current", "step");
      return el("li", {}, b);
    }), ...(done.length === steps.length ? [el("li", { className: "end" }, end())] : []));
    if (shown === at()) return;
    close();
    shown = at();
    close = step(stage, steps[shown], { state, world, engine, shown, to, pass: (key) => state.set({ passed: [...new Set([...passed(), key])].join(".") }) });
  }

  const off = state.on((changed) => { if (["step", "passed"].some((k) => changed.has(k))) show(); });
  show();
  return () => {
    off();
    close();
  };
}

function end() {
  return el("p", { textContent: "All six are done: the spark moves the peak; torque is flat about MBT; over-advance pays the walls and pushes against its own fire; MBT moves with load and speed while the peak stays; knock may forbid MBT; and one cycle tells little. On an engine, over-advance and detonation destroy: finding limits there is for people who are licensed for it, with hard limits and a cut-off that does not depend on the controller." });
}

// step shows one step in stage and returns what closes it.
function step(stage, s, { state, world, engine, shown, to, pass }) {
  let open = true;
  const own = engine.settings;
  const point = { speed_rpm: own["point.speed_rpm"], map_kpa: own["point.map_kpa"], ...s.point };
  const spark = () => (Number.isFinite(state.number("spark")) ? Math.min(60, Math.max(-10, state.number("spark"))) : s.from);
  const query = (more) => new URLSearchParams({ engine: engine.name, ...point, spark_deg: spark(), ...more }).toString();
  const json = async (path) => {
    const response = await fetch(path);
    const text = await response.json();
    if (!response.ok) throw new Error(text.error);
    return text;
  };
  const io = {
    cycle: (more) => json(`api/cycle?${query(more)}`),
    sweep: (more) => json(`api/sweep?${query(more)}`),
    ragged: async () => {
      const { numbers: n } = await json(`api/ragged?${query({ signal: "pressure", reader: "maximum", cycles: s.cycles })}`);
      return { lpp: n.lpp_deg_atdc, pmax: n.pmax_bar, read: n.read_deg_atdc.filter((v) => v !== null) };
    },
  };

  const fault = el("p", { className: "fault", role: "alert" });
  const keys = el("dl", { className: "keys" });
  const verdict = el("div", { className: "verdict", role: "status" });
  const slider = new Control({ key: "spark", ...settings.spark_deg }, (v) => state.set({ spark: v }));
  slider.limit(world.limits.spark_deg.low, world.limits.spark_deg.high);
  const fields = s.fields.map((f) => {
    const input = f.options ? el("select", { id: `answer-${f.key}` }, ...f.options.map((o) => el("option", { value: o.value, textContent: o.text })))
      : el("input", { id: `answer-${f.key}`, type: "number", step: "any", inputMode: "decimal" });
    return { ...f, input, element: el("p", { className: "answer" }, el("label", { for: input.id, textContent: f.label }), " ", input, el("span", { className: "unit", textContent: ` ${f.unit ?? ""}` })) };
  });
  const form = el("form", { className: "ask" }, el("p", { className: "question", textContent: s.question }), ...fields.map((f) => f.element), el("button", { type: "submit", textContent: "Check" }));
  form.addEventListener("submit", (e) => {
    e.preventDefault();
    check();
  });
  const zoomed = (range) => state.set({ zoom_lesson: written(range) });
  const about = () => ({ lines: [`${engine.name}: ${s.title}`, ...world.facts.lines], meta: { ...world.facts.meta, point: Object.fromEntries(new URLSearchParams(query({}))) } });
  const make = (kind) => new Plot({ ...kindOf(kind), key: "lesson", zoomed, about });
  const plot = s.plot ? make(s.kind ?? "pressure") : null;
  const picture = el("div");
  stage.replaceChildren(
    el("h2", { id: "step-title", textContent: `${shown + 1}. ${s.title}` }), ...s.words.map((w) => el("p", { textContent: w })),
    s.cycles ? "" : slider.element, fault, keys, plot?.element ?? "", form, verdict, picture,
    el("p", { className: "turn" }, ...(shown ? [el("button", { type: "button", textContent: "back", onclick: () => to(shown - 1) }), " "] : []),
      ...(shown < steps.length - 1 ? [el("button", { type: "button", textContent: "next", onclick: () => to(shown + 1) })] : [])));

  function tell(answer) {
    fault.textContent = "";
    keys.replaceChildren(...s.readout(answer).map(([name, v, unit]) => el("div", {}, el("dt", { textContent: name }), el("dd", {}, v, el("span", { className: "unit", textContent: ` ${unit}` })))));
    plot?.draw(s.plot(answer));
  }

  const say = (message) => { fault.textContent = message; };
  const cycles = new Latest("api/cycle", tell, say);
  const move = () => {
    slider.show(spark());
    cycles.ask(query({}));
  };
  if (s.cycles) io.ragged().then((a) => open && tell(a)).catch((err) => say(err.message));
  else move();

  async function check() {
    const answers = Object.fromEntries(fields.map((f) => [f.key, f.options ? f.input.value : f.input.valueAsNumber]));
    const missing = fields.find((f) => (f.options ? !f.input.value : !Number.isFinite(f.input.valueAsNumber)));
    if (missing) {
      verdict.replaceChildren(el("p", { textContent: `An answer is missing: ${missing.label}.` }));
      missing.input.focus();
      return;
    }
    verdict.replaceChildren(el("p", { textContent: "It is being computed." }));
    let found;
    try {
      found = await s.check(answers, io);
    } catch (err) {
      found = { right: false, said: err.message };
    }
    if (!open) return;
    verdict.replaceChildren(el("p", { className: "result", textContent: found.right ? "Right." : "Not yet." }), el("p", { textContent: found.said }),
      ...(found.right ? [] : [el("p", { textContent: `A hint: ${s.hint}` })]));
    if (found.picture && !plot) {
      const drawn = make(found.picture.kind);
      picture.replaceChildren(drawn.element);
      drawn.draw(found.picture.data);
    }
    if (found.right) pass(s.key);
  }

  const offZoom = plot ? follow(state, new Map([["lesson", plot]])) : () => {};
  const off = state.on((changed) => { if (changed.has("spark") && !s.cycles) move(); });
  return () => {
    open = false;
    off();
    offZoom();
    cycles.stop();
  };
}
