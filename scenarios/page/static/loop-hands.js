// What a person moves while a loop runs: the hand at the distributor, the trailing plug
// apart from the leading one, and switches of faults. All act from the next cycle on.

import { Control } from "./control.js";
import { el } from "./dom.js";
import * as script from "./loop-script.js";
import { faultsOf } from "./settings.js";

const spell = 250; // between two moves of a hand in a running loop [ms]: a drag would use up the moves that a run may have; our own choice

export class Hands {
  // at() is the first cycle that is not computed, most where the run ends; running()
  // tells whether it runs.
  constructor({ state, world, at, most, running }) {
    Object.assign(this, { state, world, at, most, running, wishes: new Map(), timer: 0 });
    const control = (key, label, span) => {
      const c = new Control({ key, label, unit: "deg earlier", digits: 0, step: 1 }, (deg) => this.wish(c, deg));
      c.limit(-span, span);
      return c;
    };
    this.controls = [control("hand", "Hand at the distributor", 60), control("hand_trailing", "Trailing plug apart", 30)];
    this.switches = el("fieldset", { className: "switches" });
    this.about = el("p", { className: "what about" });
    this.element = el("div", { className: "hands" }, ...this.controls.map((c) => c.element), this.switches);
  }

  // wish moves a hand, in a running loop not more often than once a spell.
  wish(control, deg) {
    this.wishes.set(control, deg);
    control.show(deg);
    if (this.timer) return;
    this.grant();
    if (this.running()) this.timer = setTimeout(() => { this.timer = 0; this.grant(); }, spell);
  }

  grant() {
    for (const [control, deg] of this.wishes) {
      const { key } = control, before = this.state.get(key), at = this.at();
      const after = at < this.most ? script.moved(before, at, deg) : null;
      this.wishes.delete(control);
      if (at < this.most && script.moves(after).length <= script.mostMoves) {
        this.state.set({ [key]: after });
        continue;
      }
      control.show(script.now(before, at));
      control.fault.textContent = at < this.most ? `A run has ${script.mostMoves} moves of a hand at most. Start anew to move it again.` : "The run has ended. Start anew to move the hand.";
    }
  }

  // forget drops what is still to be moved.
  forget() {
    clearTimeout(this.timer);
    this.timer = 0;
    this.wishes.clear();
  }

  // show shows hands and switches as they are at the cycle reached; plugs are the engine's.
  show(plugs) {
    const { state } = this, at = this.at();
    for (const c of this.controls) {
      const deg = script.now(state.get(c.key), at);
      if (!this.wishes.has(c) && c.value !== deg) c.show(deg); // what is being typed stays
    }
    this.controls[1].element.hidden = plugs !== 2;
    const both = `${state.get("signal")} ${plugs}`;
    if (this.switches.dataset.of !== both) this.fit(both, plugs);
    for (const f of this.all) {
      const on = script.active(state.get("faults"), f.name, at);
      f.box.checked = Boolean(on);
      f.box.disabled = !on && at >= this.most;
      f.words.textContent = ` ${f.name}${f.unit ? ` ${on?.severity.slice(1) || f.typical} ${f.unit === "uA" ? "\u00b5A" : f.unit}` : ""}`;
    }
    this.tell();
  }

  // fit makes a switch of each fault of the instruments that are fitted.
  fit(both, plugs) {
    const { state, world } = this;
    this.switches.dataset.of = both;
    const more = state.get("signal") === "ion" && plugs === 2 ? world.faults.filter((f) => f.instrument === "trailing") : [];
    this.all = [...faultsOf(world, state), ...more].map((f) => {
      const box = el("input", { type: "checkbox", name: f.name, title: f.about, onchange: () => this.flip(f.name, box) });
      return { ...f, box, words: el("span") };
    });
    this.switches.replaceChildren(el("legend", { textContent: "Faults, from the next cycle on" }), ...this.all.map((f) => {
      const label = el("label", { title: f.about }, f.box, f.words);
      label.addEventListener("pointerenter", () => this.tell(f));
      label.addEventListener("pointerleave", () => this.tell());
      f.box.addEventListener("focus", () => this.tell());
      f.box.addEventListener("blur", () => this.tell());
      return label;
    }), this.about);
  }

  flip(name, box) {
    const after = script.switched(this.state.get("faults"), name, this.at(), box.checked);
    if (script.faults(after).length > script.mostFaults) {
      box.checked = false;
      this.about.textContent = `A run has ${script.mostFaults} faults at most, each switching on counts. Start anew to switch on another.`;
      return;
    }
    this.state.set({ faults: after });
  }

  // tell says what a fault does: the one under the pointer, else the one in focus, else
  // those that are on.
  tell(pointed) {
    const one = pointed ?? this.all.find((f) => f.box === document.activeElement);
    const some = one ? [one] : this.all.filter((f) => f.box.checked);
    const text = some.map((f) => `${f.name}: ${f.about}`).join("; ") || "Point at a fault to read what it does.";
    if (this.about.textContent !== text) this.about.textContent = text;
  }
}
