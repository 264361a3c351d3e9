// Neighbourhoods, which the map shows while it is too far out for squares.
"use strict";

const STRIP_PX = 72; // width of a neighbourhood's bar of classes
const OPENING_SHARE = 0.4; // of the free room that the whole map must fill for the map to open on neighbourhoods
const areas = { number: null, canvas: null }; // number: of each pixel, the order in the first list's neighbourhoods; -1 none

function areas_can_show() {
  return page.facts.has_areas && page.list.neighbourhoods.length > 0;
}

// Whether the map shows neighbourhoods at this zoom in place of squares.
function areas_show(zoom = page.map.getZoom()) {
  return areas_can_show() && page.ticks.totals && page.shows === "tier" && !page.estimate && !page.ticks.zones && zoom < page.facts.cells_from_zoom;
}

// The width of a square with which the map opens: further out than squares, where the map is still large enough.
function opening_px(cell_px, free) {
  if (!areas_can_show()) return cell_px;
  const { rows, cols } = page.facts.grid;
  const px = [...PX_STEPS].reverse().find((step) => step <= cell_px && zoom_for(step) < page.facts.cells_from_zoom);
  return px && Math.max((rows * px) / free.y, (cols * px) / free.x) >= OPENING_SHARE ? px : cell_px;
}

// The class with which half of a neighbourhood's homes (without homes: of its land) manage; null is unknown.
function half_tier(area) {
  return area.of_homes ? area.tier_half_of_homes : area.tier_half_of_land;
}

async function renew_areas(relief) {
  if (!areas_can_show()) return;
  if (!areas.number) {
    const [low, high] = await Promise.all([layer("area_low"), layer("area_high")]);
    areas.number = Int32Array.from(low, (byte, index) => from_two_bytes(byte, high[index]) ?? -1);
  }
  const here = Object.fromEntries(page.list.neighbourhoods.map((area) => [area.neighbourhood_id, area]));
  const fill = page.facts.lists[0].neighbourhoods.map(({ neighbourhood_id }) => {
    const tier = here[neighbourhood_id] && half_tier(here[neighbourhood_id]);
    return tier ? rgb(tier_facts(tier).fill) : null;
  });
  areas.canvas = painted_by((index) => fill[areas.number[index]], relief, () => page.facts.fill_opacity);
}

function draw_areas(context, view) {
  draw_enlarged(context, areas.canvas, view);
  draw_outlines(context, view, areas.number, 1.2, "rgba(251, 249, 245, 0.85)");
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
  return `${tier ? `${tier} · ` : ""}${homes_number(area.total || 0)} homes`;
}

// Name, number of homes and bar of classes of each neighbourhood that has room; most homes first.
function draw_area_plates(context, view, plates) {
  const rows = [...page.list.neighbourhoods].sort((one, other) => (other.total || 0) - (one.total || 0));
  for (const area of rows) {
    const { x, y } = screen_point(area);
    if (x < -80 || y < -40 || x > view.width + 80 || y > view.height + 40) continue;
    if (!draw_area_plate(context, area, x, y, plates)) draw_area_number(context, area, x, y, plates);
  }
}

// Returns whether there was room.
function draw_area_plate(context, area, x, y, plates) {
  const count = area_count_words(area);
  context.font = `600 14px ${FONT}`;
  const width = Math.max(STRIP_PX + 4, context.measureText(area.name).width, context.measureText(count).width) + 12;
  const height = count ? 58 : 40;
  const [left, top] = [x - width / 2, y - height / 2];
  if (plates.some((other) => touches(other, left, top, width, height))) return false;
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
  return true;
}

function draw_area_number(context, area, x, y, plates) {
  const tier = half_tier(area);
  if (!tier || !page.ticks.numbers || plates.some((plate) => touches(plate, x - 9, y - 10, 18, 20))) return;
  plates.push({ x: x - 9, y: y - 10, width: 18, height: 20 });
  draw_number(context, tier, x, y);
}
