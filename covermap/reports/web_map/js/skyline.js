// The skyline strip: the horizon all around a square, with the stations, the aim and the aims that keep all.
"use strict";

const SKY_STEP_DEG = 2;
const SKY_NEAREST_KM = 0.05; // nearer, one point of the heights would make a cliff of its own
const SKY_FARTHEST_KM = 40;
const SKY_SHORTEST_STEP_KM = 0.025;
const SKY_GROWTH = 0.01; // steps grow with distance: a hundredth of it
const SKY_EYE_M = 10; // above the ground, as high as a rooftop antenna
const SKY_FLOOR = 74;
const SKY_TOP = 28; // the highest horizon reaches this
const SKY_LEAST_SPAN_DEG = 3; // a flatter skyline is not stretched further

// Elevation of the horizon in degrees every SKY_STEP_DEG from north; NaN where nothing is known. A line ends
// where the heights end or have a gap. Geometry over an earth of the median effective radius.
function horizon_deg(place) {
  const eye_m = ground_at(place) + SKY_EYE_M;
  const angles = [];
  for (let azimuth_deg = 0; azimuth_deg < 360; azimuth_deg += SKY_STEP_DEG) {
    let [highest, distance_km] = [NaN, SKY_NEAREST_KM];
    while (distance_km <= SKY_FARTHEST_KM) {
      const ground_m = ground_at(place_along(place, azimuth_deg, distance_km));
      if (Number.isNaN(ground_m)) break;
      const drop_m = (1000 * distance_km ** 2) / (2 * page.facts.effective_radius_km);
      const angle = Math.atan2(ground_m - drop_m - eye_m, 1000 * distance_km) * 180 / Math.PI;
      if (!(angle <= highest)) highest = angle;
      distance_km += Math.max(SKY_SHORTEST_STEP_KM, SKY_GROWTH * distance_km);
    }
    angles.push(highest);
  }
  return angles;
}

function sky_x(azimuth_deg) {
  return (azimuth_deg / 360) * DRAWING_WIDTH;
}

// The aims that keep every wanted station, as one shaded part, or two where they cross north.
function sky_window(from_deg, to_deg) {
  const spans = from_deg <= to_deg ? [[from_deg, to_deg]] : [[from_deg, 360], [0, to_deg]];
  const shades = spans.map(([first, last]) => drawn("rect", {
    x: sky_x(first).toFixed(1), y: 0, width: Math.max(1, sky_x(last - first)).toFixed(1), height: SKY_FLOOR,
    fill: ACCENT, "fill-opacity": 0.2, class: "aim_window",
  }));
  const edges = [from_deg, to_deg].map((deg) => `M${sky_x(deg).toFixed(1)} 0V${SKY_FLOOR}`).join("");
  return [...shades, drawn("path", { d: edges, stroke: ACCENT, "stroke-width": 1.5, fill: "none" })];
}

function sky_land(angles) {
  const known = angles.filter((angle) => !Number.isNaN(angle));
  if (!known.length) return null;
  const lowest = Math.min(0, ...known);
  const span = Math.max(Math.max(...known) - lowest, SKY_LEAST_SPAN_DEG);
  const level = (angle) => SKY_FLOOR - ((Number.isNaN(angle) ? 0 : angle - lowest) / span) * (SKY_FLOOR - SKY_TOP);
  const points = [...angles, angles[0]].map((angle, order) => [sky_x(order * SKY_STEP_DEG), level(angle)]);
  return drawn("path", { d: `M0 ${SKY_FLOOR}L${polyline(points)}V${SKY_FLOOR}Z`, fill: LAND_FAR, class: "land" });
}

// A tick a mast with its stations' letters; letters that would touch go one row up, or are joined.
function sky_marks(groups) {
  const marks = groups
    .map(({ azimuth_deg, stations }) => ({ xs: [sky_x(azimuth_deg)], letters: stations.map((one) => one.letter) }))
    .sort((one, other) => one.xs[0] - other.xs[0]);
  const joined_marks = [];
  for (const mark of marks) {
    const before = joined_marks.at(-1);
    if (before && mark.xs[0] - before.xs.at(-1) < 10) {
      before.xs.push(...mark.xs);
      before.letters.push(...mark.letters);
    } else joined_marks.push(mark);
  }
  const ends = [-99, -99];
  return joined_marks.flatMap(({ xs, letters }, order) => {
    const label = letters.join(" ");
    const half = 4.8 * label.length;
    const next_x = joined_marks[order + 1]?.xs[0] ?? Infinity; // the next tick must not run through this label
    const wished = Math.min(xs.reduce((sum, x) => sum + x, 0) / xs.length, next_x - half - 3);
    const middle = Math.min(DRAWING_WIDTH - half, Math.max(half, wished));
    const up = middle - half > ends[0] ? 0 : 1;
    ends[up] = middle + half + 4;
    const y = 11 - 15 * up;
    const lines = xs.map((x) => `M${x.toFixed(1)} ${y + 5}V${SKY_FLOOR}`).join("");
    return [
      drawn("path", { d: lines, stroke: "#FFFFFF", "stroke-width": 4 }),
      drawn("path", { d: lines, stroke: INK, "stroke-width": 2, class: "station_tick" }),
      drawn_text(middle, y, label, { weight: 700 }),
    ];
  });
}

function sky_aim(aim_deg) {
  return drawn("path", { d: `M${sky_x(aim_deg).toFixed(1)} ${SKY_FLOOR}l-6 11h12z`, fill: ACCENT, class: "aim_mark" });
}

function sky_note(angles) {
  const known = angles.map((angle, order) => ({ angle, azimuth_deg: order * SKY_STEP_DEG }))
    .filter(({ angle }) => !Number.isNaN(angle));
  if (!known.length) return say("page.sky.unknown");
  const highest = known.reduce((one, other) => (other.angle > one.angle ? other : one));
  return say(highest.angle < 0 ? "page.sky.below" : "page.sky.above",
    { angle: decimal(Math.abs(highest.angle), 1), azimuth: highest.azimuth_deg, height: height_text(SKY_EYE_M) });
}

// The part of the card; groups are the stations by mast, as the card lists them.
function skyline_part(cell, groups) {
  const [angles, points] = [horizon_deg(cell), say("number.compass").split(" ")];
  const aims = aims_deg(cell);
  const window_known = aims.length && cell.aim_from_deg != null;
  const strip = drawing(say("page.sky.label"), -18, 122,
    ...(window_known ? sky_window(cell.aim_from_deg, cell.aim_to_deg) : []),
    sky_land(angles), ...sky_marks(groups), ...aims.map(sky_aim),
    drawn("path", { d: `M0 ${SKY_FLOOR}H${DRAWING_WIDTH}`, stroke: INK, "stroke-width": 1.5 }),
    ...[...points, points[0]].map((point, order) => drawn_text(
      Math.min(DRAWING_WIDTH - 6, Math.max(6, (order * DRAWING_WIDTH) / 8)), SKY_FLOOR + 26, point,
      { weight: point.length === 1 ? 700 : 400 })));
  return part(window_known ? say("page.sky.title_blue", { list: page.list.words.short }) : say("page.sky.title"), strip, small(sky_note(angles)));
}
