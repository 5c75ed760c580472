// The numbers of a cycle, in words and units.

import { el } from "./dom.js";
import { num } from "./format.js";

const atdc = "deg after TDC";

// Rows: heading, or [key, name, digits, unit, factor].
const rows = [
  "Burn and pressure",
  ["lpp_deg_atdc", "Location of peak pressure (LPP)", 1, atdc],
  ["pmax_bar", "Peak pressure", 2, "bar"],
  ["ca10_deg_atdc", "CA10", 1, atdc],
  ["ca50_deg_atdc", "CA50", 1, atdc],
  ["ca90_deg_atdc", "CA90", 1, atdc],
  ["development_deg", "Spark to CA10", 1, "deg"],
  ["rapid_burn_deg", "CA10 to CA90", 1, "deg"],
  "Work",
  ["brake_torque_nm", "Brake torque", 2, "N\u00b7m"],
  ["brake_power_kw", "Brake power", 3, "kW"],
  ["imep_gross_bar", "IMEP, gross", 3, "bar"],
  ["imep_net_bar", "IMEP, net", 3, "bar"],
  ["pmep_bar", "PMEP", 3, "bar"],
  ["fmep_bar", "FMEP", 3, "bar"],
  ["bmep_bar", "BMEP", 3, "bar"],
  ["indicated_efficiency", "Indicated efficiency, gross", 2, "%", 100],
  ["heat_loss_fraction", "Wall heat over fuel energy", 2, "%", 100],
  "Charge",
  ["airflow_g_s", "Airflow", 3, "g/s"],
  ["volumetric_efficiency", "Volumetric efficiency", 2, "%", 100],
  ["residual_fraction", "Residual fraction", 2, "%", 100],
  ["blowby_fraction", "Blow-by over charge", 2, "%", 100],
  ["peak_unburned_k", "Peak of unburned gas", 0, "K"],
  ["peak_burned_k", "Peak of burned gas", 0, "K"],
  ["peak_mean_k", "Peak of mean temperature", 0, "K"],
  "Knock (above 1 it knocks)",
  ["knock_integral", "Knock integral", 3, "\u2013"],
  ["knock_onset_deg_atdc", "Knock onset", 1, atdc],
  ["knock_unburned_fraction", "Unburned then", 1, "%", 100],
  ["knock_intensity_bar", "Knock intensity", 2, "bar"],
];

const energies = { fuel_j: "Fuel", work_compression_j: "Compression work", work_expansion_j: "Expansion work", work_pumping_j: "Pumping work", wall_heat_j: "Wall heat", exhaust_j: "Exhaust" };

// Numbers is the table; show fills it.
export class Numbers {
  constructor() {
    this.cells = new Map();
    this.energy = el("tbody");
    const bodies = [];
    for (const r of rows) {
      if (typeof r === "string") {
        bodies.push(el("tbody", {}, el("tr", {}, el("th", { colSpan: 3, scope: "rowgroup", textContent: r }))));
        continue;
      }
      const [key, name, , unit] = r;
      const cell = el("td");
      this.cells.set(key, cell);
      bodies.at(-1).append(el("tr", {}, el("th", { scope: "row", textContent: name }), cell, el("td", { className: "unit", textContent: unit })));
    }
    this.element = el("table", { className: "numbers" }, el("caption", { textContent: "Numbers of this cycle" }),
      el("thead", { className: "unseen" }, el("tr", {}, ...["quantity", "value", "unit"].map((t) => el("th", { scope: "col", textContent: t })))),
      ...bodies, this.energy);
  }

  show({ cycle, energy }) {
    for (const r of rows) {
      if (typeof r === "string") continue;
      const [key, , digits, , factor = 1] = r;
      const v = cycle[key];
      this.cells.get(key).textContent = v === null ? "none" : num(v * factor, digits);
    }
    const known = Object.entries(energy ?? {}).filter(([k, v]) => k in energies && Number.isFinite(v));
    this.energy.replaceChildren(...(known.length ? [el("tr", {}, el("th", { colSpan: 3, scope: "rowgroup", textContent: "Energy of one cycle" }))] : []),
      ...known.map(([k, v]) => el("tr", {}, el("th", { scope: "row", textContent: energies[k] }), el("td", { textContent: num(v, 1) }), el("td", { className: "unit", textContent: "J" }))));
  }
}
