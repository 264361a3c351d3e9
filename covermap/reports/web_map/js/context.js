// What the user's own layers draw over the squares: roads, water, buildings, boundaries and labels.
"use strict";

const LABEL_FROM_PX = 2; // squares are at least this wide before labels of one's own are written
const BUILDING_FROM_PX = 5;
const surroundings = []; // a layer's lines and its closed outlines, in pixels of the page

function has_context() {
  const { context } = page.facts;
  return context.draw.length + context.labels.length > 0;
}

// The lines and outlines of a layer: number of points (negative: closed), the first, then the steps.
function path_of(bytes) {
  const values = new Int32Array(bytes.buffer);
  const scale = 1 / page.facts.context.steps_a_px;
  const lines = new Path2D(), outlines = new Path2D(); // only what is closed is filled: a river is no lake
  for (let index = 0; index < values.length;) {
    const count = Math.abs(values[index]), closed = values[index] < 0;
    const path = closed ? outlines : lines;
    let [x, y] = [values[index + 1], values[index + 2]];
    path.moveTo(x * scale, y * scale);
    index += 3;
    for (let point = 1; point < count; point++, index += 2) {
      x += values[index];
      y += values[index + 1];
      path.lineTo(x * scale, y * scale);
    }
    if (closed) path.closePath();
  }
  return { lines, outlines };
}

async function start_context() {
  const bytes = await Promise.all(page.facts.context.draw.map((_, order) => layer(`context/${order}`)));
  surroundings.push(...bytes.map(path_of));
  if (surroundings.length) page.cells.redraw();
}

// How each kind is drawn: strokes from below, [width in px, colour, dashes], and what fills outlines.
const DRAWN = {
  water: { fill: "rgba(56, 90, 122, 0.38)", strokes: [[1.4, "rgba(46, 78, 110, 0.85)"]] },
  building: { fill: "rgba(44, 40, 36, 0.6)", strokes: [], from_px: BUILDING_FROM_PX },
  boundary: { strokes: [[1.1, "rgba(21, 24, 28, 0.75)", [7, 3, 1.5, 3]]] },
  road: { strokes: [[3, "rgba(251, 249, 245, 0.6)"], [1.2, "rgba(84, 62, 44, 0.9)"]] },
};

function draw_context(context, view) {
  if (!page.ticks.context) return;
  context.save();
  context.translate(view.left, view.top);
  context.scale(view.cell_px, view.cell_px);
  context.lineJoin = "round";
  surroundings.forEach(({ lines, outlines }, order) => {
    const { fill, strokes, from_px = 0 } = DRAWN[page.facts.context.draw[order]];
    if (view.cell_px < from_px) return;
    if (fill) {
      context.fillStyle = fill;
      context.fill(outlines, "evenodd");
    }
    for (const [width, colour, dashes = []] of strokes) {
      context.lineWidth = width / view.cell_px;
      context.setLineDash(dashes.map((px) => px / view.cell_px));
      context.strokeStyle = colour;
      context.stroke(lines);
      context.stroke(outlines);
    }
  });
  context.restore();
}

function draw_labels(context, view, plates) {
  if (!page.ticks.context || view.cell_px < LABEL_FROM_PX) return;
  for (const label of page.facts.context.labels) {
    const { x, y } = screen_point(label);
    if (!in_view(view, x, y)) continue;
    context.font = `500 11px ${FONT}`;
    const width = context.measureText(label.name).width + 4;
    const middle = x_in_view(context, x, width);
    if (plates.some((plate) => touches(plate, middle - width / 2, y - 8, width, 16))) continue;
    plates.push({ x: middle - width / 2, y: y - 8, width, height: 16 });
    draw_halo_text(context, label.name, middle, y);
  }
}
