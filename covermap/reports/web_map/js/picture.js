// The cells' colours: one canvas pixel a cell, enlarged by the browser without smoothing.
"use strict";

const VEIL = [251, 249, 245]; // over the relief outside dead zones, when only these are shown
const VEIL_OPACITY = 0.65;
const picture = { canvas: null, tier: null, shown: null, zone: null, distance: null, patch_width: null };

function rgb(colour) {
  return [1, 3, 5].map((start) => parseInt(colour.slice(start, start + 2), 16));
}

// Builds the picture of what the reader has chosen, then draws the map again.
async function renew_picture() {
  const tier = await tier_bytes();
  const [shown, relief, homes, zone] = await Promise.all([
    shown_bytes(tier), layer("relief"), page.facts.has_homes ? layer("homes_any") : null,
    page.ticks.zones && page.list.has_zone ? layer(`${page.list.name}/zone`) : null,
  ]);
  if (picture.tier !== tier) {
    picture.distance = distance_to_edge(tier);
    picture.patch_width = patch_widths(tier, picture.distance);
    picture.unknown = tier.includes(UNKNOWN) ? mask_of((index) => tier[index] === UNKNOWN) : null;
    picture.hatch_px = null;
  }
  if (picture.zone !== zone) picture.hatch_px = null;
  Object.assign(picture, { tier, shown, zone });
  picture.canvas = painted(shown, tier, relief, page.ticks.fade ? homes : null, zone);
  await renew_areas(relief);
  page.cells.redraw();
}

function painted(shown, tier, relief, homes, zone) {
  const table = fills();
  const filled = (index) => {
    if (tier[index] === UNKNOWN && page.shows !== "signal") return null;
    return zone && !zone[index] ? VEIL : table[shown[index]];
  };
  const opacity = (index) => {
    if (zone && !zone[index]) return VEIL_OPACITY;
    return homes && !homes[index] ? page.facts.faded_opacity : page.facts.fill_opacity;
  };
  return painted_by(filled, relief, opacity);
}

// One canvas pixel a square: a fill (or none) over the relief, with an opacity.
function painted_by(fill_of, relief, opacity_of) {
  const { rows, cols } = page.facts.grid;
  const canvas = new OffscreenCanvas(cols, rows);
  const context = canvas.getContext("2d");
  const image = context.createImageData(cols, rows);
  for (let index = 0; index < rows * cols; index++) {
    if (picture.tier[index] === OUTSIDE) continue;
    const [grey, fill, opacity] = [relief[index], fill_of(index), opacity_of(index)];
    for (let part = 0; part < 3; part++) {
      image.data[4 * index + part] = fill ? Math.round(fill[part] * opacity + grey * (1 - opacity)) : grey;
    }
    image.data[4 * index + 3] = 255;
  }
  context.putImageData(image, 0, 0);
  return canvas;
}

// A one-colour picture of the pixels that pass a test; patterns are drawn through it.
function mask_of(passes) {
  const { rows, cols } = page.facts.grid;
  const canvas = new OffscreenCanvas(cols, rows);
  const context = canvas.getContext("2d");
  const image = context.createImageData(cols, rows);
  for (let index = 0; index < rows * cols; index++) if (passes(index)) image.data[4 * index + 3] = 255;
  context.putImageData(image, 0, 0);
  return canvas;
}

// Draws the part of a one-pixel-a-cell canvas that is in view.
function draw_enlarged(context, canvas, view) {
  const [rows, cols] = [view.last_row - view.first_row, view.last_col - view.first_col];
  if (rows <= 0 || cols <= 0) return;
  context.imageSmoothingEnabled = false;
  context.drawImage(
    canvas, view.first_col, view.first_row, cols, rows,
    view.x(view.first_col), view.y(view.first_row), cols * view.cell_px, rows * view.cell_px,
  );
}

function draw_cells(context, view) {
  draw_enlarged(context, picture.canvas, view);
}

function draw_border(context, view) {
  context.save();
  context.setLineDash([8, 5]);
  context.lineWidth = 2;
  context.strokeStyle = page.facts.dot_colour;
  context.beginPath();
  page.facts.outline.forEach(([row, col], order) => {
    context[order ? "lineTo" : "moveTo"](view.x(col), view.y(row));
  });
  context.closePath();
  context.stroke();
  context.restore();
}
