// Positions as people write them: degrees, degrees and minutes, degrees minutes seconds, easting and northing.
"use strict";

const POSITION_MARKS = /[\u00b0'"\u2032\u2033\u2019\u201d]/g;

// Degrees of one half of a position: 44.123, -36.234, 44 7.38 N, 44\u00b0 7' 22.8" N; null when it is none.
function degrees_of(text) {
  const cleaned = text.trim().toUpperCase().replace(/\u2212/g, "-").replace(/(\d),(\d)/g, "$1.$2");
  const letters = cleaned.match(/[NSEW]/g) || [];
  const rest = cleaned.replace(/[NSEW]/g, " ").replace(POSITION_MARKS, " ").trim();
  if (letters.length > 1 || !/^[-+]?\d+(\.\d+)?(\s+\d+(\.\d+)?){0,2}$/.test(rest)) return null;
  const [whole, minutes = 0, seconds = 0] = rest.split(/\s+/).map(Number);
  const size = Math.abs(whole) + minutes / 60 + seconds / 3600;
  const negative = rest.startsWith("-") || letters[0] === "S" || letters[0] === "W";
  return { degrees: negative ? -size : size, letter: letters[0] || "", too_many: minutes >= 60 || seconds >= 60 };
}

function halves_of(text) {
  const cleaned = text.trim();
  if (/;/.test(cleaned)) return cleaned.split(";");
  const commas = cleaned.split(",");
  const decimal_commas = !cleaned.includes(".") && /\d,\d/.test(cleaned);
  if (decimal_commas && commas.length === 4) return [commas.slice(0, 2).join("."), commas.slice(2).join(".")]; // 44,01, -35,66
  if (decimal_commas && (commas.length === 3 || /\d\s/.test(cleaned))) return halves_of(cleaned.replace(/(\d),(\d)/g, "$1.$2")); // 44,01 -35,66
  if (commas.length === 2) return commas;
  if (/^[NSEW]/i.test(cleaned)) return cleaned.split(/\s+(?=[NSEW])/i); // N44.01 W35.66
  return /[NSEW]/i.test(cleaned) ? cleaned.split(/(?<=[NSEW])\s+/i) : cleaned.split(/\s+/);
}

// {latitude_deg, longitude_deg}, {trouble: words} where it is nearly one, or null.
function degrees_position(text) {
  const halves = halves_of(text);
  if (halves.length !== 2) return null;
  const [first, second] = halves.map(degrees_of);
  if (!first || !second) return null;
  if (first.too_many || second.too_many) return { trouble: say("page.position.minutes") };
  const lettered = /[EW]/.test(first.letter) || /[NS]/.test(second.letter);
  const plain = !first.letter && !second.letter;
  const turned = lettered || (plain && is_turned(first.degrees, second.degrees));
  const [latitude_deg, longitude_deg] = (turned ? [second, first] : [first, second]).map((half) => half.degrees);
  if (Math.abs(latitude_deg) > 90) return { trouble: say("page.position.latitude", { degrees: latitude_deg }) };
  if (Math.abs(longitude_deg) > 180) return { trouble: say("page.position.longitude", { degrees: longitude_deg }) };
  return { latitude_deg, longitude_deg, turned: turned && !lettered };
}

// Whether two plain numbers lie on the map only with longitude first.
function is_turned(first_deg, second_deg) {
  const here = (latitude_deg, longitude_deg) => Math.abs(latitude_deg) <= 90 && pixel_at(L.latLng(latitude_deg, longitude_deg)) !== null;
  return !here(first_deg, second_deg) && here(second_deg, first_deg);
}

// Easting and northing in metres: two numbers too large for degrees, easting first unless letters say otherwise.
function metres_position(text) {
  const cleaned = text.trim().toUpperCase().replace(/\u2212/g, "-");
  const found = /^([-+]?\d+(?:\.\d+)?)\s*(?:M\s*)?([EN])?[\s,;]+([-+]?\d+(?:\.\d+)?)\s*(?:M\s*)?([EN])?$/.exec(cleaned);
  if (!found) return null;
  const [one, other] = [Number(found[1]), Number(found[3])];
  if (Math.max(Math.abs(one), Math.abs(other)) <= 360) return null;
  const turned = found[2] === "N" || found[4] === "E";
  const [easting_m, northing_m] = turned ? [other, one] : [one, other];
  const { west_m, north_m, cell_m } = page.facts.grid;
  const place = place_of_cell((north_m - northing_m) / cell_m, (easting_m - west_m) / cell_m);
  return place ? { ...place, easting_m, northing_m } : { outside: true, easting_m, northing_m };
}

// What a text says of a place; null when it is no position at all.
function position_of(text) {
  return metres_position(text) || degrees_position(text);
}

function outside_words(position) {
  const grid = page.facts.grid;
  if (position.easting_m != null) {
    const [east_m, south_m] = [grid.west_m + grid.cell_cols * grid.cell_m, grid.north_m - grid.cell_rows * grid.cell_m];
    const span = (low, high) => say("number.range", { low: thousands(half_up(low)), high: thousands(half_up(high)) });
    return say("page.position.metres_outside", {
      easting: thousands(position.easting_m), northing: thousands(position.northing_m),
      east: span(grid.west_m, east_m), north: span(south_m, grid.north_m), system: grid.crs_name,
    });
  }
  const corners = [[0, 0], [0, grid.cell_cols], [grid.cell_rows, 0], [grid.cell_rows, grid.cell_cols]]
    .map(([row, col]) => latlng_of(place_of_cell(row, col)));
  const ends = (key) => [Math.min, Math.max].map((pick) => pick(...corners.map((corner) => corner[key])));
  const span = ([low, high]) => say("number.range", { low: low.toFixed(2), high: high.toFixed(2) });
  const wrapped = (lng) => L.latLng(0, lng).wrap().lng;
  return say("page.position.outside", { latitude: span(ends("lat")), longitude: span(ends("lng").map(wrapped)) });
}
