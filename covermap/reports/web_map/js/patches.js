// How wide a patch of one class is, and where its number finds room.
"use strict";

const NUMBER_ROOM_PX = 10; // from the number's centre to the nearest other class
const NUMBERS_APART_PX = 110;

// For each pixel the number of steps (straight or slanting) to the nearest pixel of another class, from 1.
function distance_to_edge(tier) {
  const { rows, cols } = page.facts.grid;
  const distance = new Uint8Array(rows * cols).fill(255);
  const lower = (index, row, col) => {
    if (row < 0 || col < 0 || row >= rows || col >= cols) return distance[index] = 1;
    const other = row * cols + col;
    const steps = tier[other] === tier[index] ? Math.min(255, distance[other] + 1) : 1;
    if (steps < distance[index]) distance[index] = steps;
  };
  for (let row = 0, index = 0; row < rows; row++) for (let col = 0; col < cols; col++, index++) {
    lower(index, row - 1, col - 1); lower(index, row - 1, col); lower(index, row - 1, col + 1);
    lower(index, row, col - 1);
  }
  for (let row = rows - 1, index = rows * cols - 1; row >= 0; row--) for (let col = cols - 1; col >= 0; col--, index--) {
    lower(index, row + 1, col + 1); lower(index, row + 1, col); lower(index, row + 1, col - 1);
    lower(index, row, col + 1);
  }
  return distance;
}

// For each pixel of tier 8 the width of its patch in cells (its widest square); 0 elsewhere.
function patch_widths(tier, distance) {
  const { rows, cols } = page.facts.grid;
  const widths = new Uint8Array(rows * cols);
  const seen = new Uint8Array(rows * cols);
  for (let start = 0; start < rows * cols; start++) {
    if (tier[start] !== 8 || seen[start]) continue;
    const patch = [start];
    seen[start] = 1;
    let widest = 0;
    for (let next = 0; next < patch.length; next++) {
      const index = patch[next];
      widest = Math.max(widest, distance[index]);
      const col = index % cols;
      const beside = [index - cols, index + cols, col > 0 ? index - 1 : -1, col < cols - 1 ? index + 1 : -1];
      for (const other of beside) {
        if (other >= 0 && other < rows * cols && tier[other] === 8 && !seen[other]) {
          seen[other] = 1;
          patch.push(other);
        }
      }
    }
    const width = Math.min(255, 2 * widest - 1);
    for (const index of patch) widths[index] = width;
  }
  return widths;
}

// Candidates: in each block of the pixel grid the roomiest pixel of each class. Blocks are fixed to the
// ground, so that numbers keep their places while the map is moved.
function number_candidates(view) {
  const { rows, cols } = page.facts.grid;
  const block = 2 ** Math.max(1, Math.round(Math.log2(NUMBERS_APART_PX / view.cell_px / 1.5)));
  const found = new Map();
  const from = (first) => Math.max(0, Math.floor(first / block) * block - block);
  const to = (last, end) => Math.min(end, Math.ceil(last / block) * block + block);
  const needed = NUMBER_ROOM_PX / view.cell_px + 0.5;
  for (let row = from(view.first_row); row < to(view.last_row, rows); row++) {
    for (let col = from(view.first_col); col < to(view.last_col, cols); col++) {
      const index = row * cols + col;
      const [tier, room] = [picture.tier[index], picture.distance[index]];
      if (tier > 8 || tier < 1 || room < needed || page.hidden.has(tier)) continue;
      const key = (Math.floor(row / block) * 65536 + Math.floor(col / block)) * 16 + tier;
      const best = found.get(key);
      if (!best || room > best.room) found.set(key, { tier, row, col, room });
    }
  }
  return [...found.values()].sort((one, other) => other.room - one.room || one.row - other.row || one.col - other.col);
}

function draw_numbers(context, view, plates) {
  if (page.shows !== "tier" || !page.ticks.numbers || page.ticks.fade || page.ticks.zones) return;
  const placed = [];
  for (const { tier, row, col } of number_candidates(view)) {
    const [x, y] = [view.x(col + 0.5), view.y(row + 0.5)];
    const close = placed.some((other) => {
      const gap = Math.hypot(other.x - x, other.y - y);
      return gap < (other.tier === tier ? NUMBERS_APART_PX : 26);
    });
    if (close || on_aim_line(view, x, y) || plates.some((plate) => touches(plate, x - 9, y - 10, 18, 20))) continue;
    placed.push({ tier, x, y });
    draw_number(context, tier, x, y);
  }
}

function draw_number(context, tier, x, y) {
  if (tier !== 8) return draw_text(context, String(tier), x, y, tier_facts(tier).ink, tier_facts(tier).halo);
  context.fillStyle = "#FFFFFF";
  context.beginPath();
  context.roundRect(x - 9, y - 10, 18, 20, 3);
  context.fill();
  draw_text(context, "8", x, y, tier_facts(8).ink, "#FFFFFF");
}
