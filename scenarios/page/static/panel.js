// The panel of settings beside a view: engine, numbers and choices, kept in the
// address, mended where an address cannot mean them.

import { Choice } from "./choice.js";
import { Control } from "./control.js";
import { el } from "./dom.js";
import { num } from "./format.js";
import { base, settings as common, usual } from "./settings.js";

export class Panel {
  // keys are those of common settings; more, by key, are the view's own; lead is the
  // key that stays in sight on a narrow screen; changed(keys) hears of what is no
  // matter of looks, null at first; after are elements below.
  constructor(state, world, { keys, more = {}, lead, after = [], changed }) {
    Object.assign(this, { state, world, changed });
    this.all = keys.map((key) => ({ key, ...(more[key] ?? common[key]) }));
    this.engines = new Choice({ key: "engine", label: "Engine" }, (name) => this.change(name));
    this.what = el("p", { className: "what" });
    this.note = el("p", { className: "fault", role: "status" }); // what was mended in an address
    this.inputs = this.all.map((s) => (s.options
      ? new Choice(s, (v) => state.set({ [s.key]: v }))
      : new Control(s, (v) => state.set({ [s.key]: Number((v - base(s, this.engine())).toFixed(6)) }))));
    const back = el("button", { type: "button", textContent: "Back to the engine's own point", onclick: () => state.set(this.owned(this.engine())) });
    const parts = this.all.map((s, i) => (s.key === lead ? el("div", { className: "first" }, this.inputs[i].element) : this.inputs[i].element));
    this.engines.element.append(this.what);
    this.element = el("section", { className: "settings", "aria-labelledby": "settings-title" },
      el("h2", { id: "settings-title", textContent: "Settings" }), this.engines.element, ...parts, back, ...after);
    this.off = state.on((changed) => this.heard(changed));
  }

  // begin settles the address and tells the view for the first time.
  begin() {
    this.note.textContent = this.settle();
    this.show();
    this.changed(null);
  }

  close() {
    this.off();
  }

  engine() {
    return this.world.engines.find((e) => e.name === this.state.get("engine"));
  }

  // owned is the engine's own point, as texts of an address.
  owned(engine) {
    return Object.fromEntries(this.all.filter((s) => s.own).map((s) => [s.key, String(engine.settings[s.own])]));
  }

  change(name) {
    const e = this.world.engines.find((o) => o.name === name);
    this.state.set({ engine: e.name, ...this.owned(e) });
  }

  heard(changed) {
    if ([...changed].every((k) => k.startsWith("zoom_") || k === "theme")) return;
    this.note.textContent = this.settle();
    this.show();
    this.changed(changed);
  }

  limits(s) {
    return s.limits ?? this.world.limits[s.key];
  }

  show() {
    const e = this.engine();
    this.engines.show(this.world.engines.map((o) => ({ value: o.name, text: o.name })), e.name);
    this.what.textContent = e.description;
    this.all.forEach((s, i) => {
      if (s.options) return this.inputs[i].show(s.options(this.world, this.state), this.state.get(s.key));
      const { low, high } = this.limits(s), b = base(s, e);
      this.inputs[i].limit(low + b, high + b);
      this.inputs[i].show(Number((this.state.number(s.key) + b).toFixed(6)));
    });
  }

  // settle mends what an address cannot mean: an unknown engine or word, no number,
  // too much or too little; it returns what a person should know of that.
  settle() {
    const { state, world } = this;
    const wanted = state.get("engine");
    const found = world.engines.find((e) => e.name === wanted) ?? world.engines[0];
    const odd = wanted === undefined || wanted === found.name ? [] : [`engine ${wanted} is not here`];
    if (wanted !== found.name) state.fill({ engine: found.name });
    for (const s of this.all) {
      const given = state.get(s.key);
      let kept = given;
      if (s.options) {
        if (!s.options(world, state).some((o) => o.value === given)) kept = usual(s, world, state, found);
        if (given !== undefined && kept !== given && s.key !== "reader" && s.key !== "fault") odd.push(`${s.key} ${given} is not here, ${kept} is used`);
      } else {
        const { low, high } = this.limits(s), v = state.number(s.key);
        if (!(v >= low && v <= high)) kept = Number.isFinite(v) ? String(Math.min(high, Math.max(low, v))) : usual(s, world, state, found);
        if (given !== undefined && kept !== given) odd.push(`${s.key} ${given}: ${low} to ${high} is allowed, ${kept} is used`);
      }
      if (kept !== given) state.fill({ [s.key]: kept });
    }
    return odd.join("; ");
  }

  // query is what to ask the program about keys, all of the panel's if there are none.
  query(keys = this.all.map((s) => s.key), more = {}) {
    const q = new URLSearchParams({ engine: this.state.get("engine") });
    for (const s of this.all) {
      if (!keys.includes(s.key)) continue;
      const v = this.state.get(s.key);
      if (s.key !== "fault") q.set(s.key, v);
      else if (v !== "none") q.set("faults", v);
    }
    for (const [k, v] of Object.entries(more)) q.set(k, v);
    return q.toString();
  }

  // point tells in words where the engine runs and what looks at it.
  point() {
    const e = this.engine();
    const said = this.all.map((s) => {
      const name = `${s.label[0].toLowerCase()}${s.label.slice(1)}`;
      if (s.options) return `${name} ${this.state.get(s.key)}`;
      return `${name} ${num(this.state.number(s.key) + base(s, e), 4).replace(/\.?0+$/, "")}${s.unit ? " " + s.unit : ""}`;
    });
    return `${e.name}: ${said.join(", ")}`;
  }

  // about are the facts that files of a plot carry.
  about() {
    const { facts } = this.world;
    return { lines: [this.point(), ...facts.lines], meta: { ...facts.meta, point: Object.fromEntries(new URLSearchParams(this.query())), engine: this.engine().settings } };
  }
}
