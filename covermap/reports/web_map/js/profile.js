// The ground between a square and a mast: the straight line, the string pulled tight over the ground, the hill.
"use strict";

const PROFILE_POINTS = 300;
const PROFILE_NEAREST_KM = 0.05; // the ground nearer to either end is the antennas' own
const PROFILE_HERE_M = 10; // above the ground, the height at which fields are given
const PROFILE = { left: 50, right: 326, top: 30, floor: 118 };
const PROFILE_LEAST_RELIEF_M = 60;

// How far the earth rises above the chord between two places, in m: d1 d2 / (2 a), ITU-R P.1812-8 section 4.3.1.
function earth_bulge_m(distance_km, length_km) {
  return (500 * distance_km * (length_km - distance_km)) / page.facts.effective_radius_km;
}

// Ground from the square (first) to the mast (last), with the levels of both antennas above the sea.
function path_profile(place, station) {
  const mast = page.facts.masts[station.mast];
  const { azimuth_deg, distance_km: length_km } = geodesic(place, mast);
  const distance_km = Array.from({ length: PROFILE_POINTS + 1 }, (_, order) => (order / PROFILE_POINTS) * length_km);
  const ground_m = distance_km.map((along_km) => ground_at(place_along(place, azimuth_deg, along_km)));
  if (mast.ground_m != null) ground_m[PROFILE_POINTS] = mast.ground_m;
  return {
    place, station, mast, azimuth_deg, length_km, distance_km, ground_m,
    here_level_m: ground_m[0] + PROFILE_HERE_M,
    mast_level_m: ground_m[PROFILE_POINTS] + station.antenna_height_m,
    known: ground_m.every((level) => !Number.isNaN(level)),
  };
}

// Level of the straight line over the curved earth, in m above the sea.
function line_level_m(profile, distance_km) {
  const share = profile.length_km ? distance_km / profile.length_km : 0;
  return profile.here_level_m + (profile.mast_level_m - profile.here_level_m) * share
    - earth_bulge_m(distance_km, profile.length_km);
}

// Where the ground stands highest against the line: {distance_km, above_m}; null for a very short path.
function highest_ground(profile) {
  let highest = null;
  profile.distance_km.forEach((distance_km, order) => {
    const near = Math.min(distance_km, profile.length_km - distance_km) < PROFILE_NEAREST_KM;
    if (near) return;
    const above_m = profile.ground_m[order] - line_level_m(profile, distance_km);
    if (!highest || above_m > highest.above_m) highest = { distance_km, above_m };
  });
  return highest;
}

// Upper hull over the bulged ground: the points on which a string between the antennas would lie.
function string_points(profile) {
  const last = profile.distance_km.length - 1;
  const levels = profile.ground_m.map((level, order) =>
    (order === 0 ? profile.here_level_m : order === last ? profile.mast_level_m : level)
    + earth_bulge_m(profile.distance_km[order], profile.length_km));
  const hull = [];
  levels.forEach((level, order) => {
    while (hull.length > 1) {
      const [one, two] = hull.slice(-2);
      const rise = (levels[two] - levels[one]) * (profile.distance_km[order] - profile.distance_km[one]);
      if ((level - levels[one]) * (profile.distance_km[two] - profile.distance_km[one]) < rise) break;
      hull.pop();
    }
    hull.push(order);
  });
  return hull.map((order) => ({ distance_km: profile.distance_km[order], level_m: levels[order] }));
}

// The string's level in m above the sea at a distance: straight between its points, sagging with the earth.
function string_level_m(profile, points, distance_km) {
  const after = Math.max(1, points.findIndex((point) => point.distance_km >= distance_km));
  const [one, two] = [points[after - 1], points[after]];
  const share = (distance_km - one.distance_km) / (two.distance_km - one.distance_km);
  return one.level_m + (two.level_m - one.level_m) * share - earth_bulge_m(distance_km, profile.length_km);
}

// One sentence on a path: clear, or how far the ground rises above the straight line and where.
function path_words(place, station) {
  const profile = path_profile(place, station);
  if (!profile.known) return say("page.profile.unknown");
  const highest = highest_ground(profile);
  if (!highest) return say("page.profile.beside");
  if (highest.above_m <= 0) return say("page.profile.in_sight", { height: height_text(-highest.above_m) });
  return say("page.profile.blocked", { height: height_text(highest.above_m), distance: distance_text(highest.distance_km) });
}

function profile_scales(profile) {
  const low_m = Math.min(...profile.ground_m);
  const high_m = Math.max(...profile.ground_m, profile.here_level_m, profile.mast_level_m, low_m + PROFILE_LEAST_RELIEF_M);
  return {
    low_m, high_m,
    x: (distance_km) => PROFILE.left + (distance_km / profile.length_km) * (PROFILE.right - PROFILE.left),
    y: (level_m) => PROFILE.floor - ((level_m - low_m) / (high_m - low_m)) * (PROFILE.floor - PROFILE.top),
  };
}

function profile_axes({ x, y, low_m, high_m }, length_km) {
  const per_unit = page.units.height === "ft" ? page.facts.feet_per_m : 1;
  const per_length = page.units.distance === "mi" ? 1 / page.facts.km_per_mile : 1;
  const levels = round_steps(low_m * per_unit, high_m * per_unit, 3).flatMap((level) => [
    drawn("path", { d: `M${PROFILE.left} ${y(level / per_unit).toFixed(1)}H${PROFILE.right}`, stroke: "#D8D2C6" }),
    drawn_text(PROFILE.left - 5, y(level / per_unit) + 4, `${thousands(level)} ${page.units.height}`, { anchor: "end" }),
  ]);
  const lengths = round_steps(0, length_km * per_length, 4).flatMap((length) => [
    drawn("path", { d: `M${x(length / per_length).toFixed(1)} ${PROFILE.floor}v5`, stroke: INK }),
    drawn_text(x(length / per_length), PROFILE.floor + 18, length ? number_text(length) : `0 ${page.units.distance}`),
  ]);
  return [...levels, ...lengths];
}

function profile_drawing(profile) {
  const scales = profile_scales(profile);
  const { x, y } = scales;
  const along = (level) => polyline(profile.distance_km.map((distance_km) => [x(distance_km), y(level(distance_km))]));
  const points = string_points(profile);
  const ground = polyline(profile.distance_km.map((distance_km, order) => [x(distance_km), y(profile.ground_m[order])]));
  const posts = [[0, profile.ground_m[0], profile.here_level_m], [profile.length_km, profile.ground_m.at(-1), profile.mast_level_m]];
  const highest = highest_ground(profile);
  return drawing(say("page.profile.label", { mast: profile.mast.name }), 0, 140,
    drawn("path", { d: `M${PROFILE.left} ${PROFILE.floor}L${ground}V${PROFILE.floor}Z`, fill: LAND_NEAR, stroke: INK, "stroke-width": 1.2, class: "ground" }),
    ...profile_axes(scales, profile.length_km),
    drawn("path", { d: `M${along((distance_km) => line_level_m(profile, distance_km))}`, fill: "none", stroke: ACCENT, "stroke-width": 1.4, "stroke-dasharray": "6 4", class: "line" }),
    drawn("path", { d: `M${along((distance_km) => string_level_m(profile, points, distance_km))}`, fill: "none", stroke: ACCENT, "stroke-width": 2, class: "string" }),
    ...posts.map(([distance_km, from_m, to_m]) => drawn("path", {
      d: `M${x(distance_km).toFixed(1)} ${y(from_m).toFixed(1)}V${y(to_m).toFixed(1)}`, stroke: INK, "stroke-width": 3 })),
    highest && highest.above_m > 0 ? drawn("circle", {
      cx: x(highest.distance_km).toFixed(1), cy: y(line_level_m(profile, highest.distance_km) + highest.above_m).toFixed(1),
      r: 4.5, fill: "#FFFFFF", stroke: INK, "stroke-width": 2 }) : null,
    drawn_text(PROFILE.left, 13, say("page.profile.here", { height: height_text(PROFILE_HERE_M) }), { anchor: "start", weight: 600 }),
    drawn_text(PROFILE.right, 13, `${profile.mast.name}, ${height_text(profile.station.antenna_height_m)}`, { anchor: "end", weight: 600 }));
}

function profile_content(place, station) {
  const profile = path_profile(place, station);
  if (!profile.length_km) return [element("p", {}, say("page.profile.mast_here"))];
  const words = path_words(place, station);
  const sentence = `${capital(words)}. ${distance_text(profile.length_km)}, ${say("page.degrees_true", { degrees: whole_degrees(profile.azimuth_deg) })}.`;
  if (!profile.known) return [element("p", {}, sentence)];
  return [profile_drawing(profile), element("p", {}, sentence),
    small(`${say("page.profile.lines")} ${heights_note()}`)];
}

// The part of the card: any station of the page can be chosen.
function profile_part(cell, first_station) {
  const content = element("div", { class: "path" });
  const stations = page.facts.stations;
  const show = (index) => content.replaceChildren(...profile_content(cell, stations[index]));
  const start = Math.max(0, stations.indexOf(first_station));
  const names = stations.map((one) => `${one.letter}, ${one.service}, ${page.facts.masts[one.mast].name}`);
  const chooser = select(say("page.profile.which"), names, start, show);
  show(start);
  return part(say("page.profile.title"), chooser, content);
}
