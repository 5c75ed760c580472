// What hands do to a plot: drag to move, wheel or two fingers to zoom,
// double-click to show all, and the same with keys and buttons. Beside an
// axis only that axis answers.

import { el } from "./dom.js";
import { zoomed } from "./scale.js";

const notch = 1.25; // zoom of one key or click
const narrowest = 1e-4; // of what is shown before any zoom
const widest = 20;

// handle lets plot answer to hands.
export function handle(plot) {
  const field = plot.field;
  const fingers = new Map();
  let armed = false; // the pointer moved here since the page scrolled below it
  let told; // timer
  let start = [0, 0]; // where the last finger went down

  const at = (e) => {
    const r = plot.svg.getBoundingClientRect();
    return [e.clientX - r.left, e.clientY - r.top];
  };

  // change zooms by factor about px, py and then moves by dx, dy [px].
  function change(px, py, factor, dx = 0, dy = 0) {
    if (!plot.box) return;
    const { x0, x1, y0, y1 } = plot.box;
    const { x, y } = plot.shown();
    const home = plot.data.home;
    const onlyX = factor !== 1 && py > y1, onlyY = factor !== 1 && px < x0;
    const part = (range, log, share, f, shift) => {
      const next = zoomed(range, log, share, f, shift);
      return next.every(Number.isFinite) && next[1] > next[0] ? next : range;
    };
    const next = {
      x: onlyY ? x : part(x, plot.x.kind === "log", (px - x0) / (x1 - x0), factor, -dx / (x1 - x0)),
      y: onlyX ? y : part(y, plot.y.kind === "log", (y1 - py) / (y1 - y0), factor, dy / (y1 - y0)),
    };
    const ratio = (next.x[1] - next.x[0]) / (home.x[1] - home.x[0]);
    if (!(ratio > narrowest && ratio < widest)) return;
    plot.show(next, false);
    clearTimeout(told);
    told = setTimeout(() => plot.zoomed(plot.range), 200);
  }

  function middle() {
    const { x0, x1, y0, y1 } = plot.box;
    return [(x0 + x1) / 2, (y0 + y1) / 2];
  }

  const all = () => {
    clearTimeout(told);
    plot.show(null);
  };

  field.addEventListener("pointerdown", (e) => {
    if (e.button !== 0) return;
    fingers.set(e.pointerId, at(e));
    start = at(e);
    field.setPointerCapture(e.pointerId);
  });
  field.addEventListener("pointermove", (e) => {
    if (e.movementX || e.movementY) armed = true;
    const old = fingers.get(e.pointerId);
    const now = at(e);
    if (!old) {
      if (e.pointerType !== "touch") plot.reader.show(now);
      return;
    }
    plot.reader.hide();
    const other = [...fingers].find(([id]) => id !== e.pointerId)?.[1];
    fingers.set(e.pointerId, now);
    if (!other) return change(...now, 1, now[0] - old[0], now[1] - old[1]);
    const apart = (p) => Math.hypot(p[0] - other[0], p[1] - other[1]) || 1;
    change((now[0] + other[0]) / 2, (now[1] + other[1]) / 2, apart(old) / apart(now),
      (now[0] - old[0]) / 2, (now[1] - old[1]) / 2);
  });
  const up = (e) => {
    if (fingers.delete(e.pointerId) && e.type === "pointerup" && plot.picked && plot.box) {
      const [x, y] = at(e), { x0, x1, y0, y1 } = plot.box;
      if (Math.hypot(x - start[0], y - start[1]) < 4 && x > x0 && x < x1 && y > y0 && y < y1) plot.picked(plot.sx.value(x), plot.sy.value(y));
    }
    if (e.type === "pointerup" && e.pointerType === "touch") plot.reader.show(at(e));
  };
  field.addEventListener("pointerup", up);
  field.addEventListener("pointercancel", up);
  field.addEventListener("pointerleave", () => {
    armed = false;
    plot.reader.hide();
  });
  field.addEventListener("dblclick", all);

  // A page scrolled by wheel must not stop at the first plot that comes under
  // a resting pointer.
  addEventListener("scroll", () => { armed = false; }, { passive: true });
  field.addEventListener("wheel", (e) => {
    if (!armed && !field.contains(document.activeElement) && !e.ctrlKey) return;
    e.preventDefault();
    const lines = e.deltaMode === 1 ? 20 : 1;
    change(...at(e), Math.exp(Math.max(-100, Math.min(100, e.deltaY * lines)) * 0.0022));
  }, { passive: false });

  const keys = {
    "+": () => change(...middle(), 1 / notch),
    "=": () => change(...middle(), 1 / notch),
    "-": () => change(...middle(), notch),
    "0": all,
    ArrowLeft: () => change(...middle(), 1, 40, 0),
    ArrowRight: () => change(...middle(), 1, -40, 0),
    ArrowUp: () => change(...middle(), 1, 0, 30),
    ArrowDown: () => change(...middle(), 1, 0, -30),
  };
  field.addEventListener("keydown", (e) => {
    const act = keys[e.key];
    if (!act || e.ctrlKey || e.metaKey || e.altKey || !plot.box) return;
    e.preventDefault();
    act();
  });

  for (const [sign, name, key] of [["+", "zoom in", "+"], ["\u2212", "zoom out", "-"], ["all", "show all", "0"]]) {
    plot.tools.append(el("button", { type: "button", textContent: sign, title: name,
      "aria-label": `${plot.title}: ${name}`, onclick: () => plot.box && keys[key]() }));
  }
}
