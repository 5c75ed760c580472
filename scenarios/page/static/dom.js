// Elements in one call; no markup is ever made from text.

const svgSpace = "http://www.w3.org/2000/svg";

// el makes an HTML element. Properties of props are set as properties, those
// with a dash and "role" or "for" as attributes.
export function el(name, props = {}, ...children) {
  const e = document.createElement(name);
  for (const [k, v] of Object.entries(props)) {
    if (k.includes("-") || k === "role" || k === "for" || k === "scope") e.setAttribute(k, v);
    else e[k] = v;
  }
  e.append(...children);
  return e;
}

// svg makes an SVG element with attributes.
export function svg(name, attrs = {}, ...children) {
  const e = document.createElementNS(svgSpace, name);
  for (const [k, v] of Object.entries(attrs)) e.setAttribute(k, v);
  e.append(...children);
  return e;
}

// save gives the user a file.
export function save(name, blob) {
  const a = el("a", { href: URL.createObjectURL(blob), download: name });
  document.body.append(a);
  a.click();
  a.remove();
  setTimeout(() => URL.revokeObjectURL(a.href), 10000);
}
