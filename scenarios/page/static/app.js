// The frame of the page: views by address, theme, caution, what is said aloud.

import { el } from "./dom.js";
import { carried } from "./settings.js";
import { format, State } from "./state.js";
import * as lesson from "./lesson.js";
import * as loop from "./loop.js";
import * as ragged from "./ragged.js";
import * as spark from "./spark.js";
import * as trust from "./trust.js";

// Views by the name in the address.
const views = { spark, ragged, trust, loop, lesson };

const main = document.getElementById("main");
const told = document.getElementById("told");
const theme = document.getElementById("theme");

async function json(path) {
  const response = await fetch(path);
  if (!response.ok) throw new Error(`${path}: ${response.status}`);
  return response.json();
}

function dress(state) {
  const wanted = ["light", "dark"].includes(state.get("theme")) ? state.get("theme") : "";
  theme.value = wanted;
  if (wanted) document.documentElement.dataset.theme = wanted;
  else delete document.documentElement.dataset.theme;
}

async function start() {
  const state = new State(window, "spark");
  dress(state);
  state.on(() => dress(state));
  theme.addEventListener("change", () => state.set({ theme: theme.value || null }));
  document.getElementById("skip").addEventListener("click", (e) => {
    e.preventDefault(); // the address is the state
    main.focus();
  });

  const known = await json("api/known");
  document.getElementById("caution-text").textContent = known.caution;
  const world = {
    ...known,
    facts: { lines: [`phasebench ${known.version}`, known.caution], meta: { tool: "phasebench", version: known.version, caution: known.caution } },
    tell: (text) => { told.textContent = text; },
  };

  let shown, close = () => {};
  const route = () => {
    const name = Object.hasOwn(views, state.view) ? state.view : "spark";
    state.view = name;
    tabs(name, state);
    if (name === shown) return;
    close();
    shown = name;
    document.title = `${views[name].title} · phasebench`;
    close = views[name].open(main, state, world);
    tabs(name, state);
  };
  state.on(route);
  route();
}

// tabs lists the views, each with what it shares with the one shown.
function tabs(now, state) {
  const nav = document.getElementById("views");
  const names = Object.keys(views);
  nav.hidden = names.length < 2;
  const along = new Map(carried.filter((k) => state.get(k) !== undefined).map((k) => [k, state.get(k)]));
  if (nav.childElementCount !== names.length) {
    nav.replaceChildren(...names.map((n) => el("a", { textContent: views[n].title })));
  }
  names.forEach((n, i) => {
    const a = nav.children[i];
    a.setAttribute("href", format(n, along));
    if (n === now) a.setAttribute("aria-current", "page");
    else a.removeAttribute("aria-current");
  });
}

start().catch((err) => {
  main.replaceChildren(el("p", { className: "fault", role: "alert", textContent: `The program does not answer: ${err.message}. Start phasebench page again and reload.` }));
});
