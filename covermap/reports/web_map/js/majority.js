// Kinds that would be scribble square by square: the commonest of 7 x 7, its outlines, its mark repeated.
"use strict";

const MAJORITY_REACH = 3; // squares to each side
const NO_KIND = 253; // known, but of no kind: nothing decides, nothing is hard
const MARKS_EACH_PX = 76;
const MARK_ROOM_PX = 15;
const counted_majorities = new Map(); // one a layer, kept

// Promise of the commonest kind around each pixel; NO_KIND where it is none, 255 where nothing is known.
async function kinds_of(name) {
  if (!counted_majorities.has(name)) {
    const [bytes, tier] = await Promise.all([layer(name), layer(`${page.list.name}/tier`)]);
    const kinds = bytes.map((byte, index) => (tier[index] > 8 ? UNKNOWN : byte >= NO_KIND ? NO_KIND : byte));
    counted_majorities.set(name, commonest(kinds, page.facts.grid));
  }
  return counted_majorities.get(name);
}

function commonest(bytes, { rows, cols }) {
  const found = new Uint8Array(bytes.length).fill(UNKNOWN);
  const best = new Uint8Array(bytes.length);
  const values = [...new Set(bytes)].filter((value) => value < OUTSIDE).sort((one, other) => one - other);
  for (const value of values) {
    const sums = sums_along(sums_along(Uint8Array.from(bytes, (byte) => Number(byte === value)), rows, cols, cols, 1), cols, rows, 1, cols);
    for (let index = 0; index < bytes.length; index++) {
      if (bytes[index] >= OUTSIDE || sums[index] <= best[index]) continue;
      best[index] = sums[index];
      found[index] = value;
    }
  }
  return found;
}

// Sums of 7 neighbours along lines; line_step and step lead from line to line and along each.
function sums_along(bytes, lines, length, line_step, step) {
  const sums = new Uint8Array(bytes.length);
  for (let line = 0; line < lines; line++) {
    const first = line * line_step;
    let sum = 0;
    for (let place = -MAJORITY_REACH; place < length; place++) {
      const [enters, leaves] = [place + MAJORITY_REACH, place - MAJORITY_REACH - 1];
      if (enters < length) sum += bytes[first + enters * step];
      if (leaves >= 0) sum -= bytes[first + leaves * step];
      if (place >= 0) sums[first + place * step] = sum;
    }
  }
  return sums;
}

// Kinds that lie in patches have outlines and marks; those of single squares have none.
function in_patches() {
  const { layer: name, by_square } = MODES[page.shows];
  return Boolean(name) && !by_square && Boolean(picture.shown);
}

function draw_kinds(context, view) {
  if (!in_patches()) return;
  draw_outlines(context, view, picture.shown, 1.6, INK);
}

// Lines between unlike values of a layer; OUTSIDE and UNKNOWN count as values of their own.
function draw_outlines(context, view, values, width, colour) {
  const { rows, cols } = page.facts.grid;
  context.beginPath();
  for (let row = view.first_row; row < view.last_row; row++) for (let col = view.first_col; col < view.last_col; col++) {
    const index = row * cols + col;
    if (col + 1 < cols && values[index + 1] !== values[index]) {
      context.moveTo(view.x(col + 1), view.y(row));
      context.lineTo(view.x(col + 1), view.y(row + 1));
    }
    if (row + 1 < rows && values[index + cols] !== values[index]) {
      context.moveTo(view.x(col), view.y(row + 1));
      context.lineTo(view.x(col + 1), view.y(row + 1));
    }
  }
  context.lineWidth = width;
  context.strokeStyle = colour;
  context.stroke();
}

// The marks stand on a lattice fixed to the ground, where they have room within their kind.
function draw_kind_marks(context, view, plates) {
  if (!in_patches()) return;
  const kinds = kinds_shown();
  const { rows, cols } = page.facts.grid;
  const value_at = (x, y) => {
    const [row, col] = [Math.floor((y - view.top) / view.cell_px), Math.floor((x - view.left) / view.cell_px)];
    return row < 0 || col < 0 || row >= rows || col >= cols ? UNKNOWN : picture.shown[row * cols + col];
  };
  const first = (start) => (((start % MARKS_EACH_PX) + MARKS_EACH_PX) % MARKS_EACH_PX) - MARKS_EACH_PX / 2;
  for (let y = first(view.top); y < view.height; y += MARKS_EACH_PX) for (let x = first(view.left); x < view.width; x += MARKS_EACH_PX) {
    const value = value_at(x, y);
    if (!kinds[value]) continue;
    context.font = MARK_FONT;
    const half = context.measureText(kinds[value].mark).width / 2 + 3;
    const roomy = [[half, 0], [-half, 0], [0, MARK_ROOM_PX], [0, -MARK_ROOM_PX]].every(([right, down]) => value_at(x + right, y + down) === value);
    if (!roomy || on_aim_line(view, x, y) || plates.some((plate) => touches(plate, x - half, y - 10, 2 * half, 20))) continue;
    draw_mark(context, kinds[value].mark, x, y);
  }
}

const MARK_FONT = `700 16px ${FONT}`;

function draw_mark(context, text, x, y) {
  context.font = MARK_FONT;
  context.textAlign = "center";
  context.textBaseline = "middle";
  context.lineJoin = "round";
  context.lineWidth = 4;
  context.strokeStyle = "rgba(255, 255, 255, 0.9)";
  context.strokeText(text, x, y + 1);
  context.fillStyle = INK;
  context.fillText(text, x, y + 1);
}
