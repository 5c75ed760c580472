// A choice is one of a few words that a person picks.

import { el } from "./dom.js";

// Choice has key and label, and hears of changes by set(value).
export class Choice {
  constructor({ key, label }, set) {
    const id = `set-${key}`;
    this.list = el("select", { id });
    this.element = el("div", { className: "control engine" }, el("label", { for: id, textContent: label }), this.list);
    this.list.addEventListener("change", () => set(this.list.value));
  }

  // show shows options [{value, text}] with one of them picked.
  show(options, value) {
    const now = JSON.stringify(options);
    if (now !== this.shown) {
      this.list.replaceChildren(...options.map((o) => el("option", { value: o.value, textContent: o.text })));
      this.shown = now;
    }
    this.list.value = value;
  }
}
