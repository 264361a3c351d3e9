// The card of one square: what it needs, how surely, and why.
"use strict";

const NEAR_KM = 5; // a named place farther away says nothing about a square

// Every value the card needs of one pixel, gathered from the layers.
async function read_cell(pixel) {
  const list = page.list;
  const name = (kind) => `${list.name}/${kind}`;
  const [tier] = Object.values(await values_at(pixel, [name("tier")]));
  const cell = { ...cell_under(pixel), tier };
  if (tier > 8) return cell;
  const services = list.services.map((_, order) => order);
  const fields = page.facts.stations.filter((station) => station.has_field).map((one) => one.station_id);
  const values = await values_at(pixel, [
    "flags", ...(page.facts.has_homes ? ["homes_low", "homes_high"] : []),
    chance_layer(tier), name("aim_low"), name("aim_high"), name("limiting_service"), name("deciding_service"),
    ...services.flatMap((order) => [name(`service_chance_${order}`), name(`service_chance_one_lower_${order}`)]),
    ...fields.map((id) => `field/${id}`),
  ]);
  cell.flags = values.flags;
  cell.homes_tenths = page.facts.has_homes ? from_two_bytes(values.homes_low, values.homes_high) : null;
  cell.chance_percent = values[chance_layer(tier)];
  cell.aim_deg = from_two_bytes(values[name("aim_low")], values[name("aim_high")]);
  cell.limiting = values[name("limiting_service")];
  cell.deciding = values[name("deciding_service")];
  cell.service_percent = services.map((order) => values[name(`service_chance_${order}`)]);
  cell.one_lower_percent = services.map((order) => values[name(`service_chance_one_lower_${order}`)]);
  cell.field_dbuvm = Object.fromEntries(fields.map((id) => {
    const byte = values[`field/${id}`];
    return [id, byte === UNKNOWN ? null : byte - page.facts.field_offset_db];
  }));
  return cell;
}

function part(title, ...content) {
  return element("section", {}, element("h3", {}, title), ...content);
}

function position_text({ latitude_deg, longitude_deg }) {
  const part_of = (degrees, positive, negative) => `${Math.abs(degrees).toFixed(4)} ${degrees < 0 ? negative : positive}`;
  return `${part_of(latitude_deg, "N", "S")}, ${part_of(longitude_deg, "E", "W")}`;
}

function place_text(cell) {
  const near = page.facts.places
    .map((place) => ({ name: place.name, ...geodesic(cell, place) }))
    .sort((one, other) => one.distance_km - other.distance_km)[0];
  const at = near && near.distance_km < NEAR_KM ? `Near ${near.name}` : position_text(cell);
  if (cell.homes_tenths == null) return at;
  const homes = cell.homes_tenths / 10;
  return `${at}, ${homes === 0 ? "no homes" : `${homes_number(homes)} homes`} in this square`;
}

function lead(cell) {
  const list = page.list;
  const count = list.services.length;
  const chance = [element("b", {}, chance_number(cell.chance_percent)), `, ${chance_in_words(cell.chance_percent)}.`];
  const together = list.needed < count ? `At least ${list.needed} of ${count} wanted` : `${count} of ${count} wanted`;
  if (cell.tier < 8) return element("p", { class: "lead" }, `${together}${count > 1 ? ", together" : ""}: `, ...chance);
  const surely = cell.service_percent.filter((percent) => percent >= page.facts.chance_words[0][0]).length;
  const single = count > 1 ? ` One by one, ${surely} of ${count} wanted are expected.` : "";
  return element("p", { class: "lead" }, `${together}${count > 1 ? ", together" : ""}, even from a tall mast: `, ...chance, single);
}

function aim(cell) {
  if (cell.aim_deg == null) return null;
  const { declination } = page.facts;
  const magnetic = declination ? `, ${whole_degrees(cell.aim_deg - declination.declination_deg)}° magnetic` : "";
  const note = declination && small(
    `Declination ${declination.words} at the map's middle, ${date_text(declination.on)}.`);
  return element("div", { class: "aim" }, element("b", {}, `Aim ${cell.aim_deg}°`), element("span", {}, `true${magnetic}`), note);
}

function letter_of(service) {
  const station = page.facts.stations.find((one) => one.service === service);
  return station ? `${station.letter} ${service}` : service;
}

function decides(cell) {
  const list = page.list;
  const weakest = list.services[cell.limiting];
  if (list.services.length === 1) return null;
  if (cell.tier === 1) {
    return weakest && part("What decides it", element("p", {}, element("b", {}, letter_of(weakest)), ": the least sure of them, even here."));
  }
  const service = list.services[cell.deciding];
  if (!service) return null;
  const lower = tier_facts(cell.tier - 1);
  const percent = cell.tier === 8 ? cell.service_percent[cell.deciding] : cell.one_lower_percent[cell.deciding];
  return part("What decides it", element("p", {}, element("b", {}, letter_of(service)),
    `: with ${lower.tier} ${lower.name} it is the least sure, ${chance_number(percent)}, ${chance_in_words(percent)}.`));
}

function one_lower(cell) {
  if (cell.tier === 1) return null;
  const lower = tier_facts(cell.tier - 1);
  const percents = cell.tier === 8 ? cell.service_percent : cell.one_lower_percent;
  const kept = page.list.services.filter((_, order) => percents[order] >= page.facts.chance_words[0][0]);
  const words = kept.length ? joined(kept) : "none of the wanted surely";
  return part("One class lower keeps", element("p", {}, `${lower.tier} ${lower.name}: ${words}.`));
}

function station_row(station, cell) {
  const order = page.list.services.indexOf(station.service);
  const field = cell.field_dbuvm[station.station_id];
  const ways = page.list.transmitters[order].length;
  const others = ways < 2 ? "" : ways === 2 ? ", either mast" : `, any of ${ways} masts`;
  return element("div", { class: "station" },
    element("i", {}, station.letter),
    element("span", {}, station.service, small(`${station_numbers(station)}${others}`)),
    element("em", {}, chance_in_words(cell.service_percent[order]),
      station.has_field ? small(field == null ? "field unknown" : `${field} dBµV/m`) : null));
}

function aim_groups(cell) {
  const listed = stations_of(page.list);
  return page.facts.masts
    .map((mast, order) => ({ mast, ...geodesic(cell, mast), stations: listed.filter((one) => one.mast === order) }))
    .filter(({ stations }) => stations.length)
    .map((group) => ({ ...group, off_deg: cell.aim_deg == null ? 0 : whole_degrees(apart_deg(group.azimuth_deg, cell.aim_deg)) }))
    .sort((one, other) => one.off_deg - other.off_deg || one.distance_km - other.distance_km)
    .map(({ mast, azimuth_deg, distance_km, off_deg, stations }) => element("div", { class: "group" },
      element("b", {}, `${mast.name}, ${whole_degrees(azimuth_deg)}° true, ${distance_text(distance_km)}`),
      cell.aim_deg == null ? null : small(off_deg < 3 ? "on the aim" : `${off_deg}° off the aim`),
      ...stations.map((station) => station_row(station, cell))));
}

function flag_notes(cell) {
  return page.facts.flag_notes.filter(({ flag }) => cell.flags & flag).map(({ words }) => element("p", {}, words));
}

function block_note() {
  const step = page.facts.station_step;
  return step === 1 ? null : element("p", {},
    `To keep this file small, each station's signal and chance are those of the middle of ${step} × ${step} squares; antenna, chance of the whole list and aim are of this square.`);
}

function heading(square, words) {
  return element("h2", {}, square, element("span", {}, words));
}

function known_parts(cell) {
  const tier = tier_facts(cell.tier);
  return [
    heading(tier_square(cell.tier, true), tier.name),
    element("p", { class: "small" }, tier.mounting),
    lead(cell), aim(cell), decides(cell), one_lower(cell),
    part("Stations by aim", ...aim_groups(cell)),
    part("Before you rely on it", element("p", {}, "For a typical roof in this square; your site can differ by 10 dB either way."),
      block_note(),
      ...flag_notes(cell),
      element("p", { class: "small" }, `The square's middle: ${position_text(cell)} (row ${cell.row}, column ${cell.col}).`),
      element("ul", { class: "cautions" }, page.facts.cautions.map((words) => element("li", {}, words)))),
  ];
}

function unknown_parts(cell) {
  if (cell.tier === OUTSIDE) {
    return [heading(element("span", { class: "square outside large" }), "Outside the map"),
      element("p", { class: "lead" }, "Nothing was computed here.")];
  }
  return [heading(unknown_square(true), "Unknown"), element("p", { class: "lead" },
    "A path to a wanted station leaves the elevation data or crosses a gap in it, so nothing can be said here.")];
}

async function show_card(pixel) {
  const cell = await read_cell(pixel);
  page.chosen = { row: pixel.row, col: pixel.col, aim_deg: cell.aim_deg };
  const close = element("button", { class: "close", type: "button" }, "Close");
  close.addEventListener("click", close_card);
  const content = cell.tier > 8 ? unknown_parts(cell) : known_parts(cell);
  const card = find("#card");
  card.replaceChildren(close, element("p", { class: "small place" }, place_text(cell)), ...content.filter(Boolean));
  card.dataset.row = cell.row;
  card.dataset.col = cell.col;
  card.dataset.tier = cell.tier;
  for (const found of document.querySelectorAll(".found")) found.replaceChildren();
  document.body.classList.add("with_card");
  open_sheet_for_card();
  page.cells.redraw();
}

function close_card() {
  page.chosen = null;
  document.body.classList.remove("with_card");
  find("#card").replaceChildren();
  set_sheet("middle");
  page.cells.redraw();
}
