// What the Spark view lets a person set, and how it is asked for. The keys are
// those of the address of the page and of the program's.

// own is the key of the engine's settings that a value starts from; base is
// that of a setting which the shown number is counted from.
export const settings = [
  { key: "spark_deg", label: "Spark advance", unit: "deg BTDC", digits: 1, step: 0.5, own: "point.spark_deg_btdc" },
  { key: "speed_rpm", label: "Speed", unit: "rpm", digits: 0, step: 25, own: "point.speed_rpm" },
  { key: "map_kpa", label: "Load (MAP)", unit: "kPa", digits: 1, step: 1, own: "point.map_kpa" },
  { key: "lambda", label: "Lambda", unit: "", digits: 2, step: 0.01, own: "point.lambda" },
  { key: "compression_ratio", label: "Compression", unit: "ratio", digits: 1, step: 0.1, own: "geometry.compression_ratio" },
  { key: "octane_shift", label: "Octane number", unit: "", digits: 0, step: 1, own: "point.octane_shift", base: "burn.octane" },
  { key: "humidity_g_kg", label: "Humidity", unit: "g/kg", digits: 1, step: 0.5, own: "point.humidity_g_kg" },
];

// owned is the engine's own point, as texts of an address.
export function owned(engine) {
  return Object.fromEntries(settings.map((s) => [s.key, String(engine.settings[s.own])]));
}

// base is what the number of setting s is counted from.
export function base(s, engine) {
  return s.base ? engine.settings[s.base] : 0;
}

// query is what to ask the program, with the spark or without.
export function query(state, spark) {
  const q = new URLSearchParams({ engine: state.get("engine") });
  for (const s of settings) if (spark || s.key !== "spark_deg") q.set(s.key, state.get(s.key));
  return q.toString();
}

// point tells in words where the engine runs.
export function point(state, engine) {
  const said = settings.map((s) => `${s.label[0].toLowerCase()}${s.label.slice(1)} ${Number((state.number(s.key) + base(s, engine)).toFixed(4))}${s.unit ? " " + s.unit : ""}`);
  return `${engine.name}: ${said.join(", ")}`;
}
