// Masts as triangles, names on plates, and the chosen square.
"use strict";

const FONT = '-apple-system, "Segoe UI", Roboto, system-ui, sans-serif';
const INK = "#15181C";
const PAPER = "#FFFFFF";

function draw_text(context, text, x, y, ink, halo) {
  context.font = `700 15px ${FONT}`;
  context.textAlign = "center";
  context.textBaseline = "middle";
  context.lineJoin = "round";
  context.lineWidth = 4; // 2 px on each side
  context.strokeStyle = halo;
  context.strokeText(text, x, y + 1);
  context.fillStyle = ink;
  context.fillText(text, x, y + 1);
}

function touches(plate, x, y, width, height) {
  return x < plate.x + plate.width && plate.x < x + width && y < plate.y + plate.height && plate.y < y + height;
}

// What lies over the map takes its room first: a name under a button could not be read.
function control_plates() {
  if (page.density) return []; // on a picture and on paper there are none
  const map = page.map.getContainer().getBoundingClientRect();
  const boxes = ["#zoom", "#scale", "#by_area"].map((id) => find(id).getBoundingClientRect());
  return boxes.filter((box) => box.width).map((box) => (
    { x: box.left - map.left, y: box.top - map.top, width: box.width, height: box.height }
  ));
}

// The middle of a text of this width near x, so that neither of its ends is cut off.
function x_in_view(context, x, width) {
  const right = context.canvas.width / context.getTransform().a;
  return Math.max(Math.min(x, right - width / 2 - 3), width / 2 + 3);
}

// Writes a name on a plate unless it would lie on another; returns whether it did.
function draw_plate(context, text, x, y, weight, plates) {
  context.font = `${weight} 14px ${FONT}`;
  const width = context.measureText(text).width + 12;
  x = x_in_view(context, x, width);
  const plate = { x: x - width / 2, y: y - 11, width, height: 22 };
  if (plates.some((other) => touches(other, plate.x, plate.y, width, 22))) return false;
  plates.push(plate);
  context.fillStyle = "rgba(251, 249, 245, 0.92)";
  context.beginPath();
  context.roundRect(plate.x, plate.y, width, 22, 4);
  context.fill();
  context.fillStyle = INK;
  context.textAlign = "center";
  context.textBaseline = "middle";
  context.fillText(text, x, y + 0.5);
  return true;
}

function screen_point(place) {
  return page.map.latLngToContainerPoint(latlng_of(place));
}

function draw_masts(context, view, plates) {
  if (!page.ticks.masts) return;
  const points = page.facts.masts.map((mast) => ({ mast, ...screen_point(mast) }));
  for (const { x, y } of points) {
    plates.push({ x: x - 9, y: y - 18, width: 18, height: 26 });
    context.beginPath();
    context.moveTo(x, y - 16);
    context.lineTo(x + 8, y + 6);
    context.lineTo(x - 8, y + 6);
    context.closePath();
    context.lineWidth = 3;
    context.lineJoin = "miter";
    context.strokeStyle = PAPER;
    context.stroke();
    context.fillStyle = INK;
    context.fill();
  }
  const listed = new Set(stations_of(page.list));
  for (const { mast, x, y } of points) {
    if (!in_view(view, x, y)) continue;
    const stations = page.facts.stations.filter((one) => page.facts.masts[one.mast] === mast);
    const letters = stations.filter((one) => listed.has(one)).map((one) => one.letter).join(" ");
    const text = letters ? `${mast.name}  ${letters}` : mast.name;
    context.font = `700 14px ${FONT}`;
    const aside = context.measureText(text).width / 2 + 18;
    const spots = [[0, 20], [0, -30], [aside, -4], [-aside, -4]]; // below, above, right, left
    spots.some(([right, down]) => draw_plate(context, text, x + right, y + down, 700, plates));
  }
}

const PLACES_FROM_PX = 4; // squares at least this wide, where neighbourhoods have names of their own

function places_show(view) {
  return page.ticks.places && (view.cell_px >= PLACES_FROM_PX || !areas_can_show() || !page.ticks.outlines);
}

function is_place(name) {
  return page.facts.places.some((place) => place.name === name);
}

function draw_places(context, view, plates) {
  if (!places_show(view)) return;
  for (const place of page.facts.places) {
    const { x, y } = screen_point(place);
    if (!in_view(view, x, y)) continue;
    draw_plate(context, place.name, x, y - 16, 600, plates);
  }
}

function chosen_side(view) {
  return Math.max(view.cell_px, 14);
}

function draw_chosen(context, view) {
  if (!page.chosen) return;
  const [x, y] = [view.x(page.chosen.col + 0.5), view.y(page.chosen.row + 0.5)];
  const side = chosen_side(view);
  context.save();
  for (const [width, colour] of [[7, PAPER], [3, INK]]) {
    context.lineWidth = width;
    context.lineJoin = "miter";
    context.strokeStyle = colour;
    context.strokeRect(x - side / 2, y - side / 2, side, side);
  }
  context.restore();
}
