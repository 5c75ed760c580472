// The Trust view: where a reader can be believed, and the cycle that fooled it.

import { Latest } from "./ask.js";
import { el } from "./dom.js";
import { Panel } from "./panel.js";
import { Plot } from "./plot.js";
import * as plot from "./trust-plots.js";
import * as words from "./trust-words.js";
import { follow, written } from "./zoom.js";

export const title = "Trust";

const loads = [30, 40, 50, 60, 70, 80, 90, 100]; // of the rows [kPa]; our own choice
const sparks = { from: -20, to: 60, step: 5 };

// What is the view's own.
const own = {
  at_map: { label: "Chosen load", unit: "kPa", digits: 0, step: 10, own: "point.map_kpa", limits: { low: loads[0], high: loads.at(-1) } },
  at_spark: { label: "Chosen spark", unit: "deg BTDC", digits: 0, step: sparks.step, usual: 20, limits: { low: sparks.from, high: sparks.to } },
  quantity: { label: "Tiles show", options: () => Object.entries(plot.quantities).map(([value, q]) => ({ value, text: q.text })) },
};
const asked = ["speed_rpm", "lambda", "compression_ratio", "octane_shift", "humidity_g_kg", "signal", "reader", "fault", "target_deg", "seed"];

// open fills main with the view and returns what closes it.
export function open(main, state, world) {
  let nodes = new Map(), refused = new Map(), told = new Map(), example = null, exampleOf = "", exampleFor = "", askedFor = "", frame = 0, fault = "";

  const panel = new Panel(state, world, { keys: ["at_spark", "at_map", "quantity", ...asked], more: own, lead: "at_spark", changed });
  const error = el("p", { className: "fault", role: "alert" });
  const where = el("p", { className: "what", role: "status" });
  const text = el("div");
  const why = el("button", { type: "button", textContent: "find the causes", onclick: () => state.set({ explain: atMap() }) });
  const plots = new Map(plot.kinds.map((k) => [k.key, new Plot({ ...k, zoomed: (range) => state.set({ [`zoom_${k.key}`]: written(range) }), about: () => panel.about(),
    picked: k.key === "flips" ? pick : null })]));
  main.replaceChildren(panel.element,
    el("section", { className: "results", "aria-labelledby": "results-title" },
      el("h2", { id: "results-title", textContent: "Where a reader can be believed" }), error, panel.note, where,
      el("div", { className: "plots trusted" }, ...[...plots.values()].map((p) => p.element),
        el("section", { className: "why", "aria-labelledby": "why-title" }, el("h3", { id: "why-title", textContent: "What it says" }), text, why,
          el("p", { className: "what", textContent: "The believed range is that of this model and these instruments, 3 deg inside both flips. It is no permission for a real engine." })))));

  const say = (message) => { fault = message; soon(); };
  const rows = [1, 2].map(() => { // two at once
    const r = new Latest("api/trust", (json, q) => { if (q.startsWith(askedFor)) nodes.set(json.map_kpa, json); r.load = null; if (!refused.size) fault = ""; next(); soon(); }, (message) => {
      say(message);
      if (r.busy) return; // it will be asked again
      refused.set(r.load, message);
      r.load = null;
      next();
    });
    return r;
  });
  const causes = new Latest("api/trust", (json, q) => { told.set(json.map_kpa, json); next(); soon(); }, (message) => {
    say(message);
    if (!causes.busy) state.set({ explain: null });
  });
  const fooled = new Latest("api/fooled", (json, q) => { example = json; exampleOf = q; if (!refused.size) fault = ""; soon(); }, say);

  function near(all, v) {
    return all.reduce((best, x) => (Math.abs(x - v) < Math.abs(best - v) ? x : best), all[0]);
  }

  function atMap() {
    return near(loads, state.number("at_map"));
  }

  function atSpark() {
    return sparks.from + sparks.step * Math.round((state.number("at_spark") - sparks.from) / sparks.step);
  }

  function pick(x, y) {
    state.set({ at_spark: Math.min(sparks.to, Math.max(sparks.from, sparks.step * Math.round(x / sparks.step))), at_map: near(loads, y) });
  }

  function point(load) {
    return `${askedFor}&map_kpa=${load}`;
  }

  // next asks for the rows that are missing, those nearest to the chosen one first.
  function next() {
    for (const r of rows.filter((r) => !r.busy)) {
      const missing = loads.filter((m) => !nodes.has(m) && !refused.has(m) && !rows.some((o) => o.load === m));
      if (!missing.length) break;
      r.load = near(missing, atMap());
      r.ask(point(r.load));
    }
    const row = nodes.get(atMap());
    if (!row) return;
    const q = `${point(atMap())}&at_spark_deg=${atSpark()}&aim_deg=${row.reads_on_target_deg_atdc ?? state.get("target_deg")}`;
    if (q !== exampleFor) {
      exampleFor = q;
      fooled.ask(q);
    }
    if (state.number("explain") === atMap() && !told.has(atMap()) && !causes.busy) causes.ask(`${point(atMap())}&causes=1`);
  }

  // changed follows the address; causes are wanted again only if somebody says so.
  function changed(which) {
    const q = panel.query(asked);
    if (q !== askedFor) {
      stop();
      askedFor = q;
      [nodes, refused, told, example, exampleOf, exampleFor, fault] = [new Map(), new Map(), new Map(), null, "", "", ""];
      if (which && !which.has("explain")) state.set({ explain: null });
    }
    next();
    soon();
  }

  function stop() {
    for (const a of [...rows, causes, fooled]) a.stop();
    for (const r of rows) r.load = null;
  }

  function soon() {
    frame ||= requestAnimationFrame(paint);
  }

  // clear takes away what was drawn for something else.
  function clear(key) {
    const p = plots.get(key);
    if (p.data?.lines.length) p.draw({ home: p.data.home, lines: [], summary: "Being computed." });
  }

  function paint() {
    frame = 0;
    error.textContent = fault;
    const there = [...nodes.values()].sort((a, b) => a.map_kpa - b.map_kpa);
    where.textContent = there.length < loads.length ? `${there.length} of ${loads.length} rows are computed: 17 sparks each, 100 cycles each.` : `${loads.length} rows, 17 sparks each, 100 cycles each. Darker tiles: ${plot.quantities[state.get("quantity")].text}, darkest from ${plot.quantities[state.get("quantity")].most} ${plot.quantities[state.get("quantity")].unit} on.`;
    plots.get("flips").draw(plot.flipMap({ nodes: there, loads, quantity: state.get("quantity"), atMap: atMap(), atSpark: atSpark() }));
    const row = nodes.get(atMap());
    const out = row ? words.row(row) : [refused.get(atMap()) ?? "The chosen row is being computed."];
    if (row) plots.get("reading").draw(plot.along(row, atSpark()));
    else clear("reading");
    if (row && example && exampleOf === exampleFor) {
      plots.get("fooled").y.unit = example.unit;
      plots.get("fooled").draw(plot.trace(example));
      plots.get("true").draw(plot.truly(example));
      out.push(...words.fooled(example, row.cells.find((c) => Math.abs(c.spark_deg_btdc - example.spark_deg_btdc) < 0.1)));
    } else {
      for (const key of ["fooled", "true"]) clear(key);
      if (row) out.push("The cycle that misled most is being looked for.");
    }
    const explained = told.get(atMap());
    if (explained) out.push(...words.causes(explained));
    why.hidden = !row || Boolean(explained);
    why.disabled = causes.busy;
    text.replaceChildren(...out.map((t) => el("p", { textContent: t })));
  }

  const offZoom = follow(state, plots);
  addEventListener("beforeprint", paint);
  panel.begin();

  return () => {
    panel.close();
    offZoom();
    removeEventListener("beforeprint", paint);
    stop();
    cancelAnimationFrame(frame);
  };
}
