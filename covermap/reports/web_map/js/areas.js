// Neighbourhoods: their outlines and names over the squares, or, one tap away, their totals in place of them.
"use strict";

const STRIP_PX = 72; // width of a neighbourhood's bar of classes
const MOST_BOXES = 0.1; // of the map that boxes with totals may cover
const NAME_ROOM_PX = 34; // a neighbourhood narrower than this has no room for its name
const areas = { number: null, canvas: null, outline: null, side: null }; // number: of each pixel, the order in the first list's neighbourhoods; -1 none

function areas_can_show() {
  return page.facts.has_areas && page.list.neighbourhoods.length > 0;
}

// Whether the map shows neighbourhoods in place of squares.
function areas_show() {
  return areas_can_show() && page.ticks.totals && page.shows === "tier" && !page.own && !page.ticks.zones;
}

// The class with which half of a neighbourhood's homes (without homes: of its land) manage; null is unknown.
function half_tier(area) {
  return area.of_homes ? area.tier_half_of_homes : area.tier_half_of_land;
}

// The neighbourhood of the list shown at a pixel, or null.
function area_at(pixel) {
  const order = areas.number ? areas.number[pixel_index(pixel)] : -1;
  if (order < 0) return null;
  const { neighbourhood_id } = page.facts.lists[0].neighbourhoods[order];
  return page.list.neighbourhoods.find((area) => area.neighbourhood_id === neighbourhood_id) || null;
}

async function renew_areas(relief) {
  if (!areas_can_show()) return;
  if (!areas.number) {
    const [low, high] = await Promise.all([layer("area_low"), layer("area_high")]);
    areas.number = Int32Array.from(low, (byte, index) => from_two_bytes(byte, high[index]) ?? -1);
    Object.assign(areas, outlined(areas.number));
  }
  const here = Object.fromEntries(page.list.neighbourhoods.map((area) => [area.neighbourhood_id, area]));
  const fill = page.facts.lists[0].neighbourhoods.map(({ neighbourhood_id }) => {
    const tier = here[neighbourhood_id] && half_tier(here[neighbourhood_id]);
    return tier && !page.hidden.has(tier) ? rgb(tier_facts(tier).fill) : null;
  });
  areas.canvas = painted_by((index) => fill[areas.number[index]], relief, () => page.facts.fill_opacity);
}

// The lines between neighbourhoods as one path in squares, and the box of each: first and last row and column.
function outlined(number) {
  const { rows, cols } = page.facts.grid;
  const outline = new Path2D();
  const box = page.facts.lists[0].neighbourhoods.map(() => [Infinity, Infinity, -1, -1]);
  for (let row = 0, index = 0; row < rows; row++) for (let col = 0; col < cols; col++, index++) {
    const own = number[index];
    if (own >= 0) {
      const [top, left, bottom, right] = box[own];
      box[own] = [Math.min(top, row), Math.min(left, col), Math.max(bottom, row), Math.max(right, col)];
    }
    if (col + 1 < cols && own >= 0 && number[index + 1] >= 0 && number[index + 1] !== own) {
      outline.moveTo(col + 1, row);
      outline.lineTo(col + 1, row + 1);
    }
    if (row + 1 < rows && own >= 0 && number[index + cols] >= 0 && number[index + cols] !== own) {
      outline.moveTo(col, row + 1);
      outline.lineTo(col + 1, row + 1);
    }
  }
  return { outline, box };
}

function box_of(area) {
  return areas.box[page.facts.lists[0].neighbourhoods.findIndex((one) => one.neighbourhood_id === area.neighbourhood_id)];
}

function stroke_outline(context, view, width, colour) {
  context.save();
  context.translate(view.left, view.top);
  context.scale(view.cell_px, view.cell_px);
  context.lineWidth = width / view.cell_px;
  context.lineCap = "square";
  context.strokeStyle = colour;
  context.stroke(areas.outline);
  context.restore();
}

// Over the squares: thin lines that stand out on light and on dark.
function draw_area_lines(context, view) {
  if (!areas.outline || !page.ticks.outlines || !areas_can_show()) return;
  stroke_outline(context, view, 2, "rgba(251, 249, 245, 0.55)");
  stroke_outline(context, view, 0.8, "rgba(21, 24, 28, 0.7)");
}

function draw_area_names(context, view, plates) {
  if (!areas.outline || !page.ticks.outlines || !areas_can_show()) return;
  for (const area of most_homes_first()) {
    const [, left, , right] = box_of(area);
    const { x, y } = screen_point(area);
    if (places_show(view) && is_place(area.name)) continue; // the place itself is named
    if ((right - left + 1) * view.cell_px < NAME_ROOM_PX || !in_view(view, x, y)) continue;
    context.font = `600 13px ${FONT}`;
    const width = context.measureText(area.name).width + 4;
    const middle = x_in_view(context, x, width);
    if (plates.some((plate) => touches(plate, middle - width / 2, y - 9, width, 18))) continue;
    plates.push({ x: middle - width / 2, y: y - 9, width, height: 18 });
    draw_halo_text(context, area.name, middle, y);
  }
}

function draw_halo_text(context, text, x, y) {
  context.textAlign = "center";
  context.textBaseline = "middle";
  context.lineJoin = "round";
  context.lineWidth = 4;
  context.strokeStyle = "rgba(251, 249, 245, 0.95)";
  context.strokeText(text, x, y);
  context.fillStyle = INK;
  context.fillText(text, x, y);
}

function most_homes_first() {
  return [...page.list.neighbourhoods].sort((one, other) => (other.total || 0) - (one.total || 0));
}

function in_view(view, x, y) {
  return x >= 0 && y >= 0 && x <= view.width && y <= view.height;
}

function draw_areas(context, view) {
  draw_enlarged(context, areas.canvas, view);
  stroke_outline(context, view, 1.2, "rgba(251, 249, 245, 0.85)");
}

// How many homes (or percent of land) each class has, in a bar as long for all.
function draw_strip(context, area, x, y) {
  const known = area.by_tier.map((count) => count || 0);
  const total = area.of_homes ? area.total || 0 : 100;
  let start = x - STRIP_PX / 2;
  context.fillStyle = PAPER;
  context.fillRect(start - 1, y - 6, STRIP_PX + 2, 12);
  known.forEach((count, order) => {
    const width = total > 0 ? (STRIP_PX * count) / total : 0;
    context.fillStyle = page.facts.tiers[order].painted;
    context.fillRect(start, y - 5, width, 10);
    start += width;
  });
}

function area_count_words(area) {
  if (!area.of_homes) return "";
  const tier = half_tier(area);
  return `${tier ? `${tier} · ` : ""}${homes_text(area.total || 0)}`;
}

// Name, homes and bar of classes of the largest neighbourhoods, as far as boxes may cover the map; else a number.
function draw_area_plates(context, view, plates) {
  let covered = 0;
  for (const area of most_homes_first()) {
    const { x, y } = screen_point(area);
    if (!in_view(view, x, y)) continue;
    const drawn_px = covered < MOST_BOXES * view.width * view.height ? draw_area_plate(context, area, x, y, plates) : 0;
    covered += drawn_px;
    if (!drawn_px) draw_area_number(context, area, x, y, plates);
  }
}

// Returns how many square pixels the box takes; 0 where there was no room.
function draw_area_plate(context, area, x, y, plates) {
  const count = area_count_words(area);
  context.font = `600 14px ${FONT}`;
  const width = Math.max(STRIP_PX + 4, context.measureText(area.name).width, context.measureText(count).width) + 12;
  const height = count ? 58 : 40;
  x = x_in_view(context, x, width);
  const [left, top] = [x - width / 2, y - height / 2];
  if (plates.some((other) => touches(other, left, top, width, height))) return 0;
  plates.push({ x: left, y: top, width, height });
  context.fillStyle = "rgba(251, 249, 245, 0.92)";
  context.beginPath();
  context.roundRect(left, top, width, height, 4);
  context.fill();
  context.fillStyle = INK;
  context.textAlign = "center";
  context.textBaseline = "middle";
  context.fillText(area.name, x, top + 12);
  context.font = `400 14px ${FONT}`;
  context.fillText(count, x, top + 30);
  draw_strip(context, area, x, top + height - 11);
  return width * height;
}

function draw_area_number(context, area, x, y, plates) {
  const tier = half_tier(area);
  if (!tier || !page.ticks.numbers || plates.some((plate) => touches(plate, x - 9, y - 10, 18, 20))) return;
  plates.push({ x: x - 9, y: y - 10, width: 18, height: 20 });
  draw_number(context, tier, x, y);
}
