// The sentences of the card; the card shows them and the copied text holds them.
"use strict";

const NEAR_KM = 5; // a named place farther away says nothing about a square
const ON_AIM_DEG = 3;
const INTERFERENCE = ["same_channel", "next_channel"]; // causes behind which a station stands

function position_text({ latitude_deg, longitude_deg }) {
  const part_of = (degrees, positive, negative) => `${decimal(Math.abs(degrees), 4)} ${degrees < 0 ? negative : positive}`;
  const [north, , east, , south, , west] = say("number.compass").split(" ");
  return `${part_of(latitude_deg, north, south)}, ${part_of(longitude_deg, east, west)}`;
}

function nearest_name(cell) {
  const near = page.facts.places
    .map((place) => ({ name: place.name, ...geodesic(cell, place) }))
    .sort((one, other) => one.distance_km - other.distance_km)[0];
  return near && near.distance_km < NEAR_KM ? near.name : null;
}

function place_text(cell) {
  const near = nearest_name(cell);
  const at = near ? say("page.card.near", { name: near }) : position_text(cell);
  if (cell.homes_tenths == null) return at;
  return say("page.card.homes_here", { place: at, homes: homes_text(cell.homes_tenths / 10) });
}

function surely(percent) {
  return percent >= page.facts.confidence_percent;
}

function together_words(cell) {
  return `${page.list.words.together}${cell.tier === 8 ? say("page.card.even_tall") : ""}: `;
}

function alone_words(cell) {
  const count = page.list.services.length, { needed } = page.list;
  const kept = cell.service_percent.filter(surely).length;
  if (needed < count) return ` ${say("list.expected_of", { kept, all: count, needed })}`;
  if (cell.tier < 8 || count < 2) return "";
  return ` ${say("page.card.one_by_one", { kept, all: count, sure: percent_text(page.facts.confidence_percent) })}`;
}

function magnetic_deg(azimuth_deg) {
  return whole_degrees(azimuth_deg - page.facts.declination.declination_deg);
}

function true_and_magnetic(azimuth_deg) {
  return page.facts.declination ? say("page.card.true_magnetic", { degrees: magnetic_deg(azimuth_deg) }) : say("page.card.true");
}

function is_all_round(cell) {
  return cell.aim_from_deg === 0 && cell.aim_to_deg === 359 && cell.second_aim_deg == null;
}

// Where the antennas look; nowhere in particular where the list holds in every direction.
function aims_deg(cell) {
  return is_all_round(cell) ? [] : [cell.aim_deg, cell.second_aim_deg].filter((aim) => aim != null);
}

function aim_words(cell) {
  return is_all_round(cell) ? say("page.card.aim_anywhere") : say("page.card.aim", { degrees: cell.aim_deg });
}

function aim_window_words(cell) {
  if (cell.aim_from_deg == null) return null;
  if (is_all_round(cell)) return say("page.card.all_hold", { list: page.list.words.short });
  if (cell.aim_from_deg === 0 && cell.aim_to_deg === 359) return say("page.card.first_anywhere", { list: page.list.words.short });
  return say("page.card.window", { from: cell.aim_from_deg, to: cell.aim_to_deg, list: page.list.words.short });
}

// What stands under the aim: the second antenna, the aims that do as well, the declination.
function aim_notes(cell) {
  const { declination } = page.facts;
  return [
    cell.second_aim_deg == null ? null : say("page.card.second", { degrees: cell.second_aim_deg, north: true_and_magnetic(cell.second_aim_deg) }),
    aim_window_words(cell),
    declination && !is_all_round(cell) ? say("page.card.declination", { declination: declination.words, date: date_text(declination.on) }) : null,
  ].filter(Boolean);
}

// The letters of a service's stations; none where they are too many to be told.
function service_letters(order) {
  return page.list.lettered[order] ? page.list.transmitters[order].map((index) => page.facts.stations[index].letter) : [];
}

// A service with the letters of its stations.
function service_name(service) {
  const letters = service_letters(page.list.services.indexOf(service));
  return letters.length ? `${service} (${letters.join(", ")})` : service;
}

function class_words(tier) {
  return `${tier} ${tier_facts(tier).name}`;
}

// The station that decides, and what dropping it would do; null where no single one can be named.
function deciding_words(cell) {
  const { services, needed } = page.list;
  if (services.length === 1 || needed < services.length) return null;
  const service = services[cell.tier === 1 ? cell.limiting : cell.deciding];
  if (!service) return null;
  const name = service_name(service);
  return cell.tier === 1 ? say("page.card.least_sure", { name }) : say("station.decides", { name });
}

function without_deciding_words(cell) {
  const tier = cell.tier_without_deciding;
  if (tier == null || cell.tier === 1 || !deciding_words(cell)) return "";
  if (tier !== cell.tier) return say("page.card.without_it", { antenna: class_words(tier) });
  if (cell.second_aim_deg != null) return ""; // the same class, perhaps with one antenna less
  return cell.tier === 8 ? say("page.card.drop_no_use") : say("page.card.drop_same");
}

// Only where something would move it: nobody wants to read that nothing does.
function doubt_words(cell) {
  return cell.doubt ? say("page.card.doubt", { doubt: page.list.doubts[cell.doubt] }) : "";
}

function enough_words() {
  const { services, needed } = page.list;
  return needed < services.length ? say("page.card.any_enough", { needed }) : "";
}

// The station that interferes most, with its letter and channel.
function interferer_words(cell) {
  const id = cell.interferer == null ? null : page.list.interferers[cell.interferer];
  return id == null ? "" : page.facts.station_names[id] ?? id;
}

function cause_words(cell) {
  if (cell.main_cause == null) return "";
  const cause = page.list.causes[cell.main_cause], by_station = INTERFERENCE.includes(page.list.cause_codes[cell.main_cause]);
  const station = by_station ? interferer_words(cell) : "";
  return station ? say("hard.why_station", { cause, station }) : say("hard.why", { cause });
}

// What one class lower keeps, each service alone, and where that is all of them, all together.
function one_lower_words(cell) {
  if (cell.tier === 1) return "";
  const percents = cell.tier === 8 ? cell.service_percent : cell.one_lower_percent;
  const { services } = page.list;
  const kept = services.filter((_, order) => surely(percents[order]));
  const [antenna, sure] = [class_words(cell.tier - 1), percent_text(page.facts.confidence_percent)];
  if (kept.length < services.length || services.length === 1) {
    return say(kept.length ? "lower.some" : "lower.none", { antenna, kept: joined(kept), sure });
  }
  const { short_all: list } = page.list.words;
  const each = say("lower.each", { antenna, list, sure });
  return cell.lower_percent == null ? `${each}.` : say("lower.each_but", { each, list, chance: chance_number(cell.lower_percent) });
}

// The list's stations by mast, nearest to the aim first.
function aim_groups(cell) {
  const listed = stations_of(page.list);
  const aims = aims_deg(cell);
  return page.facts.masts
    .map((mast, order) => ({ mast, ...geodesic(cell, mast), stations: listed.filter((one) => one.mast === order) }))
    .filter(({ stations }) => stations.length)
    .map((group) => ({ ...group, off_deg: aims.length ? whole_degrees(Math.min(...aims.map((aim) => apart_deg(group.azimuth_deg, aim)))) : null }))
    .sort((one, other) => one.off_deg - other.off_deg || one.distance_km - other.distance_km);
}

function group_heading({ mast, azimuth_deg, distance_km }) {
  return `${mast.name}, ${say("page.degrees_true", { degrees: whole_degrees(azimuth_deg) })}, ${distance_text(distance_km)}`;
}

// Why a mast's stations are weaker: off the aim, and what stands in the way.
function group_reasons(cell, { off_deg, stations }) {
  const aimed = off_deg == null ? [] : [off_deg < ON_AIM_DEG ? say("page.card.on_aim") : say("page.card.off_aim", { degrees: off_deg })];
  return [...aimed, path_words(cell, stations[0])].join("; ");
}

function station_chance(station, cell) {
  return cell.service_percent[page.list.services.indexOf(station.service)];
}

// The carrier of the same service whose field is stronger here, and by how many dB; null where none is.
function stronger_carrier(station, cell) {
  const own = cell.field_dbuvm[station.station_id];
  const carriers = page.list.transmitters[page.list.services.indexOf(station.service)].map((index) => page.facts.stations[index]);
  const strongest = carriers.reduce((one, other) => ((cell.field_dbuvm[other.station_id] ?? -999) > (cell.field_dbuvm[one.station_id] ?? -999) ? other : one), station);
  const field = cell.field_dbuvm[strongest.station_id];
  return strongest === station || field == null || own == null ? null : { station: strongest, by_db: field - own };
}

// A service's chance stands once, at its strongest carrier; the others say how much weaker they are.
function station_chance_words(station, cell) {
  const stronger = stronger_carrier(station, cell);
  return stronger ? say("page.card.weaker_than", { by: stronger.by_db, letter: stronger.station.letter }) : chance_in_words(station_chance(station, cell), cell.tier >= 7);
}

// Why the station's service is weak here; empty where it is not, or another mast brings it.
function station_cause(station, cell) {
  const cause = cell.service_cause[page.list.services.indexOf(station.service)];
  return cause == null || stronger_carrier(station, cell) ? "" : page.list.causes[cause] || "";
}

function station_ways(station) {
  const ways = page.list.transmitters[page.list.services.indexOf(station.service)].length;
  return ways < 2 ? "" : `, ${ways === 2 ? say("page.card.either") : say("page.card.any_of", { count: ways })}`;
}

function field_text(station, cell) {
  const field = cell.field_dbuvm[station.station_id];
  return field == null ? say("page.card.field_unknown") : `${field} dBµV/m`;
}

function plan_notes(cell) {
  const amplifier = cell.amplifier == null ? null : page.facts.amplifier_words[cell.amplifier];
  const flagged = page.facts.plan_notes.filter(({ flag }) => (cell.plan_flags || 0) & flag).map(({ words }) => words);
  return [...(amplifier ? [amplifier] : []), ...flagged];
}

function block_note() {
  const step = page.facts.station_step;
  return step === 1 ? "" : say("page.card.blocks", { step });
}

function flag_notes(cell) {
  return page.facts.flag_notes.filter(({ flag }) => cell.flags & flag).map(({ words }) => words);
}

function square_words(cell) {
  return say("page.card.middle", { position: position_text(cell), row: cell.row, col: cell.col });
}

// What each class brings of all services, each alone: a line for every class that adds something.
function by_class_lines(cell) {
  const lines = [], known = new Set();
  page.facts.tiers.slice(0, 7).forEach(({ tier }) => {
    const here = page.facts.every_service.filter((_, order) => cell.service_tiers[order] & (1 << (tier - 1)));
    const added = here.filter((name) => !known.has(name));
    here.forEach((name) => known.add(name));
    if (!added.length) return;
    const services = say("by_class.services", { count: here.length });
    lines.push(say(lines.length ? "by_class.adds" : "by_class.first", { antenna: class_words(tier), services, added: joined(added) }));
  });
  return lines.length ? lines : [say("by_class.none")];
}
