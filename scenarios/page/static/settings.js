// What a person sets, in every view. The keys are those of the address of the page
// and of the program's answers.
//
// A number has label, unit, digits and step; own is the key of the engine's settings
// that it starts from, or usual its first value; base is that of an engine's setting
// which the shown number is counted from. A choice has options(world, state), a list
// of {value, text}; the first is the usual one.

export const settings = {
  spark_deg: { label: "Spark advance", unit: "deg BTDC", digits: 1, step: 0.5, own: "point.spark_deg_btdc" },
  speed_rpm: { label: "Speed", unit: "rpm", digits: 0, step: 25, own: "point.speed_rpm" },
  map_kpa: { label: "Load (MAP)", unit: "kPa", digits: 1, step: 1, own: "point.map_kpa" },
  lambda: { label: "Lambda", unit: "", digits: 2, step: 0.01, own: "point.lambda" },
  compression_ratio: { label: "Compression", unit: "ratio", digits: 1, step: 0.1, own: "geometry.compression_ratio" },
  octane_shift: { label: "Octane number", unit: "", digits: 0, step: 1, own: "point.octane_shift", base: "burn.octane" },
  humidity_g_kg: { label: "Humidity", unit: "g/kg", digits: 1, step: 0.5, own: "point.humidity_g_kg" },

  signal: { label: "Signal", options: (world) => Object.keys(world.readers).map((s) => ({ value: s, text: s === "ion" ? "ion current" : s })) },
  reader: { label: "Reader", options: (world, state) => (world.readers[state.get("signal")] ?? []).map((r) => ({ value: r, text: r })) },
  fault: { label: "Fault", options: (world, state) => [{ value: "none", text: "none" }, ...faultsOf(world, state).map((f) => ({ value: f.name, text: `${f.name}: ${f.about}` }))] },
  target_deg: { label: "Target", unit: "deg ATDC", digits: 1, step: 0.5, usual: 15 },
  seed: { label: "Seed", unit: "", digits: 0, step: 1, usual: 1 },
};

// The keys of the engine's point, in order.
export const pointKeys = ["spark_deg", "speed_rpm", "map_kpa", "lambda", "compression_ratio", "octane_shift", "humidity_g_kg"];

// Keys that go along from view to view.
export const carried = ["engine", "theme", "signal", "reader", "fault", ...pointKeys];

// faultsOf are the faults of the instruments that the signal needs.
export function faultsOf(world, state) {
  return world.faults.filter((f) => f.instrument === state.get("signal") || f.instrument === "crank");
}

// base is what the number of setting s is counted from.
export function base(s, engine) {
  return s.base ? engine.settings[s.base] : 0;
}

// usual is the first value of a setting, as a text of an address.
export function usual(s, world, state, engine) {
  if (s.options) return s.options(world, state)[0]?.value ?? "";
  return String(s.own ? engine.settings[s.own] : s.usual);
}
