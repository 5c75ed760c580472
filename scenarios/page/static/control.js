// A control is one number that a person sets: a slider with a number box.

import { el } from "./dom.js";
import { num } from "./format.js";

// Control has key, label, unit, digits, step, and range {low, high} and hears
// of changes by set(value). Shift makes a step of the arrow keys ten.
export class Control {
  constructor({ key, label, unit, digits, step }, set) {
    Object.assign(this, { key, label, unit, digits, step, set });
    const id = `set-${key}`;
    this.slider = el("input", { type: "range", id, step: String(step), "aria-describedby": `${id}-fault` });
    this.field = el("input", { type: "number", step: String(step), inputMode: "decimal",
      "aria-label": `${label}, ${unit || "number"}`, "aria-describedby": `${id}-fault` });
    this.fault = el("p", { id: `${id}-fault`, className: "fault", role: "alert" });
    this.element = el("div", { className: "control" },
      el("label", { for: id, textContent: label }), this.field, el("span", { className: "unit", textContent: unit }),
      this.slider, this.fault);
    this.slider.addEventListener("input", () => this.give(this.slider.valueAsNumber));
    this.slider.addEventListener("keydown", (e) => this.stride(e));
    this.field.addEventListener("keydown", (e) => this.stride(e));
    this.field.addEventListener("input", () => this.give(this.field.valueAsNumber));
    this.field.addEventListener("change", () => { if (!this.refuse(this.field.valueAsNumber)) this.show(this.value); });
  }

  // limit sets what is allowed.
  limit(low, high) {
    Object.assign(this, { low, high });
    for (const input of [this.slider, this.field]) {
      input.min = low;
      input.max = high;
    }
  }

  // show puts value, which was set elsewhere, into both inputs.
  show(value) {
    this.value = value;
    this.slider.value = value;
    this.slider.setAttribute("aria-valuetext", `${num(value, this.digits)} ${this.unit}`);
    if (document.activeElement !== this.field || this.field.valueAsNumber !== value) {
      this.field.value = String(Number(value.toFixed(4)));
    }
    this.refuse(value);
  }

  // refuse tells what is wrong with v, if anything is.
  refuse(v) {
    const bad = !(v >= this.low && v <= this.high);
    const given = Number.isNaN(v) ? "not a number" : `${v} ${this.unit}`;
    this.fault.textContent = bad ? `${given}: ${this.low} to ${this.high} ${this.unit} is allowed` : "";
    this.field.setAttribute("aria-invalid", String(bad));
    return bad;
  }

  give(v) {
    if (this.refuse(v)) return;
    this.set(v);
  }

  // stride makes ten steps of one while Shift is held.
  stride(e) {
    const way = { ArrowUp: 1, ArrowRight: 1, ArrowDown: -1, ArrowLeft: -1 }[e.key];
    const sideways = e.key === "ArrowLeft" || e.key === "ArrowRight";
    if (!way || !e.shiftKey || (sideways && e.target === this.field)) return;
    e.preventDefault();
    const v = Number((this.value + 10 * way * this.step).toFixed(6));
    this.set(Math.min(this.high, Math.max(this.low, v)));
  }
}
