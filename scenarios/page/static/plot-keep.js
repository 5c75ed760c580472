// Files of a plot to keep: data as CSV and JSON, pictures as SVG and PNG. Each
// says what was computed and carries the caution.

import { el, save, svg } from "./dom.js";
import { columns, marks } from "./plot-table.js";

const drawn = ["fill", "stroke", "stroke-width", "stroke-dasharray", "stroke-linecap", "stroke-opacity", "font-family", "font-size", "font-weight"];
const dense = 3; // pixels of a PNG per pixel of the page

// files gives plot its menu.
export function files(plot) {
  const kinds = {
    CSV: () => new Blob([csv(plot)], { type: "text/csv" }),
    JSON: () => new Blob([json(plot)], { type: "application/json" }),
    SVG: () => new Blob([new XMLSerializer().serializeToString(picture(plot))], { type: "image/svg+xml" }),
    PNG: () => png(picture(plot)),
  };
  const menu = el("details", { className: "menu" }, el("summary", { textContent: "keep", "aria-label": `${plot.title}: keep as a file` }));
  const list = el("div");
  for (const [kind, make] of Object.entries(kinds)) {
    list.append(el("button", { type: "button", textContent: kind, onclick: async () => {
      if (plot.data) save(`phasebench-${plot.key}.${kind.toLowerCase()}`, await make());
      menu.open = false;
      menu.firstChild.focus();
    } }));
  }
  menu.append(list);
  menu.addEventListener("keydown", (e) => {
    if (e.key !== "Escape") return;
    menu.open = false;
    menu.firstChild.focus();
  });
  menu.addEventListener("focusout", (e) => { if (e.relatedTarget && !menu.contains(e.relatedTarget)) menu.open = false; });
  plot.tools.append(menu);
}

// csv has comments first; tables with other xs follow after an empty line.
export function csv(plot) {
  const quote = (s) => (/[",\n]/.test(s) ? `"${s.replaceAll('"', '""')}"` : s);
  const out = [`# ${plot.title}`, ...plot.about().lines.map((l) => `# ${l}`), ...marks(plot).map((m) => `# ${m.text}`)];
  columns(plot).forEach((g, k) => {
    if (k) out.push("");
    out.push(g.columns.map((c) => quote(c.head)).join(","));
    g.xs.forEach((_, i) => out.push(g.columns.map((c) => c.values[i] ?? "").join(",")));
  });
  return out.join("\n") + "\n";
}

function json(plot) {
  const tables = columns(plot).map((g) => Object.fromEntries(g.columns.map((c) => [c.head, [...c.values]])));
  return JSON.stringify({ title: plot.title, ...plot.about().meta, marks: marks(plot).map(({ text, x, y }) => ({ text, x, y })), tables }, null, 1);
}

// picture is a copy of the plot that needs no style sheet: light, with its
// title above and the facts below.
function picture(plot) {
  const { w, h } = plot.size;
  const root = document.documentElement;
  const theme = root.dataset.theme;
  root.dataset.theme = "light";
  const copy = plot.svg.cloneNode(true);
  const paper = getComputedStyle(root).getPropertyValue("--paper-ink").split(",");
  const froms = plot.svg.querySelectorAll("*"), tos = copy.querySelectorAll("*");
  froms.forEach((from, i) => {
    const look = getComputedStyle(from);
    for (const p of drawn) tos[i].setAttribute(p, look.getPropertyValue(p));
    tos[i].removeAttribute("class");
  });
  if (theme === undefined) delete root.dataset.theme;
  else root.dataset.theme = theme;
  copy.lastChild.remove(); // the cursor stays behind
  const facts = plot.about().lines.flatMap((l) => wrap(l, Math.floor((w - 24) / 5.2)));
  const below = 13 * facts.length + 10, above = 26;
  const words = (x, y, size, s, weight = "normal") => svg("text", { x, y, "font-size": size, "font-family": "Liberation Sans, Arial, sans-serif", "font-weight": weight, fill: paper[1] }, s);
  const out = svg("svg", { xmlns: "http://www.w3.org/2000/svg", width: w, height: h + above + below, viewBox: `0 0 ${w} ${h + above + below}` },
    svg("title", {}, plot.title), svg("desc", {}, plot.data.summary),
    svg("rect", { width: "100%", height: "100%", fill: paper[0] }),
    words(10, 18, 14, plot.title, "bold"),
    svg("g", { transform: `translate(0 ${above})` }, ...copy.childNodes),
    ...facts.map((f, i) => words(10, h + above + 13 * (i + 1), 10, f)));
  return out;
}

function wrap(line, most) {
  const out = [""];
  for (const word of line.split(" ")) {
    if (out.at(-1) && (out.at(-1) + word).length > most) out.push("");
    out[out.length - 1] += (out.at(-1) ? " " : "") + word;
  }
  return out;
}

async function png(tree) {
  const url = URL.createObjectURL(new Blob([new XMLSerializer().serializeToString(tree)], { type: "image/svg+xml" }));
  const image = new Image();
  image.src = url;
  await image.decode();
  const canvas = el("canvas", { width: dense * image.width, height: dense * image.height });
  canvas.getContext("2d").drawImage(image, 0, 0, canvas.width, canvas.height);
  URL.revokeObjectURL(url);
  return new Promise((done) => canvas.toBlob(done, "image/png"));
}
