// Heights of the ground, straight between the points of the page's own coarse grid; NaN where unknown.
"use strict";

let height_steps = null; // uint16, in steps of facts.heights.step_m above facts.heights.base_m
const UNKNOWN_HEIGHT = 65535;

// Differences from west to east, low bytes first, then high bytes; see heights.py.
async function load_heights() {
  if (height_steps) return;
  const bytes = await layer("heights");
  const { rows, cols } = page.facts.heights;
  const steps = new Uint16Array(rows * cols);
  for (let row = 0, index = 0; row < rows; row++) {
    for (let col = 0, sum = 0; col < cols; col++, index++) {
      sum = (sum + bytes[index] + 256 * bytes[rows * cols + index]) & 0xFFFF;
      steps[index] = sum;
    }
  }
  height_steps = steps;
}

function height_m(row, col) {
  const { cols, base_m, step_m } = page.facts.heights;
  const steps = height_steps[row * cols + col];
  return steps === UNKNOWN_HEIGHT ? NaN : base_m + steps * step_m;
}

function ground_at({ longitude_deg, latitude_deg }) {
  const grid = page.facts.heights;
  const east_deg = (((longitude_deg - grid.west_deg) % 360) + 360) % 360;
  const [x, y] = [east_deg / grid.longitude_step_deg, (grid.north_deg - latitude_deg) / grid.latitude_step_deg];
  if (x < 0 || y < 0 || x > grid.cols - 1 || y > grid.rows - 1) return NaN;
  const [col, row] = [Math.min(grid.cols - 2, Math.floor(x)), Math.min(grid.rows - 2, Math.floor(y))];
  const [p, q] = [y - row, x - col];
  const north = height_m(row, col) * (1 - q) + height_m(row, col + 1) * q;
  const south = height_m(row + 1, col) * (1 - q) + height_m(row + 1, col + 1) * q;
  return north * (1 - p) + south * p;
}

// What the reader must know of the drawn ground.
function heights_note() {
  return say("page.profile.note", { spacing: height_text(page.facts.heights.spacing_m) });
}
