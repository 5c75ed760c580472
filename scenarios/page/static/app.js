// The frame of the page: views by address, theme, caution, what is said aloud.

import { el } from "./dom.js";
import { format, State } from "./state.js";
import * as spark from "./spark.js";

// Views by the name in the address.
const views = { spark };

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

  const [known, limits] = await Promise.all([json("api/engines"), json("api/limits")]);
  document.getElementById("caution-text").textContent = known.caution;
  const world = {
    engines: known.engines, limits,
    facts: { lines: [`phasebench ${known.version}`, known.caution], meta: { tool: "phasebench", version: known.version, caution: known.caution } },
    tell: (text) => { told.textContent = text; },
  };

  let shown, close = () => {};
  const route = () => {
    const name = Object.hasOwn(views, state.view) ? state.view : "spark";
    state.view = name;
    if (name === shown) return;
    close();
    shown = name;
    document.title = `${views[name].title} · phasebench`;
    close = views[name].open(main, state, world);
    tabs(name);
  };
  state.on(route);
  route();
}

// tabs lists the views, if there is a choice.
function tabs(now) {
  const nav = document.getElementById("views");
  const names = Object.keys(views);
  nav.hidden = names.length < 2;
  nav.replaceChildren(...names.map((n) => {
    const a = el("a", { href: format(n, new Map()), textContent: views[n].title });
    if (n === now) a.setAttribute("aria-current", "page");
    return a;
  }));
}

start().catch((err) => {
  main.replaceChildren(el("p", { className: "fault", role: "alert", textContent: `The program does not answer: ${err.message}. Start phasebench page again and reload.` }));
});
