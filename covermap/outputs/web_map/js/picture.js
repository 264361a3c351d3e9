// The cells' colours: one canvas pixel a cell, enlarged by the browser without smoothing.
"use strict";

const picture = { canvas: null, tier: null, shown: null, distance: null, patch_width: null };

function rgb(colour) {
  return [1, 3, 5].map((start) => parseInt(colour.slice(start, start + 2), 16));
}

function steps_of(shows) {
  return shows === "sure" ? page.facts.sure_steps : page.facts.signal_steps;
}

// Index into the steps of a percentage or a field in dB(uV/m): the first whose lowest value is reached.
function step_of(steps, value) {
  return steps.findIndex((step) => step.lowest === null || value >= step.lowest);
}

async function needed_bytes() {
  if (page.shows === "sure") return layer(chance_layer(page.sure_tier));
  if (page.shows === "signal") return whole_layer(`field/${page.facts.stations[page.station].station_id}`);
  return layer(`${page.list.name}/tier`);
}

// Fill colour of each byte value, or null for none.
function fills() {
  const table = new Array(256).fill(null);
  if (page.shows === "tier") {
    page.facts.tiers.forEach((tier) => {
      if (!page.hidden.has(tier.tier)) table[tier.tier] = rgb(tier.fill);
    });
    return table;
  }
  const steps = steps_of(page.shows);
  for (let byte = 0; byte < UNKNOWN; byte++) {
    const value = page.shows === "signal" ? byte - page.facts.field_offset_db : byte;
    table[byte] = rgb(steps[step_of(steps, value)].fill);
  }
  return table;
}

// Builds the picture of what the reader has chosen, then draws the map again.
async function renew_picture() {
  const tier = await layer(`${page.list.name}/tier`);
  const [shown, relief, homes] = await Promise.all([
    needed_bytes(), layer("relief"), page.facts.has_homes ? layer("homes_any") : null,
  ]);
  if (picture.tier !== tier) {
    picture.distance = distance_to_edge(tier);
    picture.patch_width = patch_widths(tier, picture.distance);
    picture.unknown = tier.includes(UNKNOWN) ? mask_of((index) => tier[index] === UNKNOWN) : null;
    picture.hatch_px = null;
  }
  picture.tier = tier;
  picture.shown = shown;
  picture.canvas = painted(shown, tier, relief, page.ticks.fade ? homes : null);
  page.cells.redraw();
}

function painted(shown, tier, relief, homes) {
  const { rows, cols } = page.facts.grid;
  const canvas = new OffscreenCanvas(cols, rows);
  const context = canvas.getContext("2d");
  const image = context.createImageData(cols, rows);
  const table = fills();
  for (let index = 0; index < rows * cols; index++) {
    if (tier[index] === OUTSIDE) continue;
    const grey = relief[index];
    const fill = tier[index] === UNKNOWN && page.shows !== "signal" ? null : table[shown[index]];
    const opacity = homes && !homes[index] ? page.facts.faded_opacity : page.facts.fill_opacity;
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
