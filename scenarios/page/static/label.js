// Direct labels: text beside what it names, where it covers least.

const height = 14; // of a line of text [px]
const sides = [[1, -1], [-1, -1], [1, 1], [-1, 1], [0, -1], [0, 1], [1, 0], [-1, 0]];

let pen;

// width is that of a text on the page [px].
export function width(text) {
  if (!pen) {
    pen = document.createElement("canvas").getContext("2d");
    pen.font = "12px 'Liberation Sans', Arial, Helvetica, sans-serif";
  }
  return pen.measureText(text).width;
}

// place gives each label {text, anchors: [[x, y], …]} the left end of its
// baseline [px], or null; points are those of the drawn lines, box is the
// frame {x0, y0, x1, y1}.
export function place(labels, points, box, measure = width) {
  const taken = [];
  return labels.map(({ text, anchors }) => {
    const w = measure(text);
    let best = null, least = Infinity;
    anchors.forEach(([ax, ay], i) => {
      if (!(ax >= box.x0 - 1 && ax <= box.x1 + 1 && ay >= box.y0 - 1 && ay <= box.y1 + 1)) return;
      sides.forEach(([sx, sy], j) => {
        for (const d of [6, 14, 26]) {
          const x0 = Math.min(Math.max(ax + (sx > 0 ? d : sx < 0 ? -d - w : -w / 2), box.x0 + 3), box.x1 - w - 3);
          const y0 = Math.min(Math.max(ay + sy * (sx ? d : d + 4) - height / 2, box.y0 + 2), box.y1 - height - 2);
          const r = { x0: x0 - 2, y0, x1: x0 + w + 2, y1: y0 + height };
          let cost = i + 0.5 * j + 0.2 * d;
          for (const t of taken) if (r.x0 < t.x1 && r.x1 > t.x0 && r.y0 < t.y1 && r.y1 > t.y0) cost += 500;
          for (const [px, py] of points) if (px > r.x0 && px < r.x1 && py > r.y0 && py < r.y1) cost += 4;
          if (cost < least) [best, least] = [r, cost];
        }
      });
    });
    if (!best) return null;
    taken.push(best);
    return { x: best.x0 + 2, y: best.y1 - 3.5 };
  });
}
