// Player: what runs by itself, cycle by cycle: play, pause, one cycle, start anew.

import { el } from "./dom.js";

const frameTime = 1 / 12; // between two redraws [s]; our own choice
const rest = 1000; // between two notes in the address [ms], which browsers ration; our own choice

export class Player {
  // rate() is how many cycles a second; go(n) wants n more cycles; anew() begins again;
  // moved(paused) hears of play and pause. strides are further steps to offer.
  constructor({ rate, go, anew, moved, strides = [] }) {
    Object.assign(this, { rate, go, moved, paused: true, rest: 0 });
    this.button = el("button", { type: "button", onclick: () => this.pause(!this.paused) });
    const step = (n) => el("button", { type: "button", textContent: n === 1 ? "one cycle" : `${n} cycles`, onclick: () => { this.pause(true); go(n); } });
    this.element = el("div", { className: "player", role: "group", "aria-label": "Running" }, this.button, step(1), ...strides.map(step),
      el("button", { type: "button", textContent: "start anew", onclick: anew }));
    this.show();
    this.timer = setInterval(() => this.tick(), 1000 * frameTime);
  }

  show() {
    this.button.textContent = this.paused ? "play" : "pause";
  }

  // pause pauses or plays.
  pause(paused, tell = true) {
    if (this.paused === paused) return;
    this.paused = paused;
    this.rest = 0;
    this.show();
    if (tell) this.moved(paused);
  }

  tick() {
    if (this.paused || document.hidden) return;
    this.rest += this.rate() * frameTime;
    const n = Math.floor(this.rest);
    this.rest -= n;
    if (n > 0) this.go(n);
  }

  close() {
    clearInterval(this.timer);
  }
}

// noting returns what writes, now and then, how far something ran: at once with true,
// else soon. Its stop() forgets what is still to be written.
export function noting(write) {
  let last = 0, timer = 0;
  const note = (now = false) => {
    clearTimeout(timer);
    const wait = now ? 0 : rest - (performance.now() - last);
    if (wait > 0) {
      timer = setTimeout(() => note(true), wait);
      return;
    }
    last = performance.now();
    write();
  };
  note.stop = () => clearTimeout(timer);
  return note;
}

// calm tells whether a person asked for less motion.
export function calm() {
  return matchMedia("(prefers-reduced-motion: reduce)").matches;
}
