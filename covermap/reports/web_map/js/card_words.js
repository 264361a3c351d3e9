// The sentences of the card; the card shows them and the copied text holds them.
"use strict";

const NEAR_KM = 5; // a named place farther away says nothing about a square
const ON_AIM_DEG = 3;

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

function surely(percent) {
  return percent >= page.facts.chance_words[0][0];
}

function together_words(cell) {
  const { services, needed } = page.list;
  const count = services.length;
  const wanted = needed < count ? `At least ${needed} of ${count} wanted` : `${count} of ${count} wanted`;
  return `${wanted}${count > 1 ? ", together" : ""}${cell.tier === 8 ? ", even from a tall mast" : ""}: `;
}

function alone_words(cell) {
  const count = page.list.services.length;
  if (cell.tier < 8 || count < 2) return "";
  return ` One by one, ${cell.service_percent.filter(surely).length} of ${count} wanted are expected.`;
}

function true_and_magnetic(azimuth_deg) {
  const { declination } = page.facts;
  const magnetic = declination ? `, ${whole_degrees(azimuth_deg - declination.declination_deg)}° magnetic` : "";
  return `true${magnetic}`;
}

function is_all_round(cell) {
  return cell.aim_from_deg === 0 && cell.aim_to_deg === 359;
}

// What stands under the aim: the second antenna, the aims that do as well, the declination.
function aim_notes(cell) {
  const notes = [];
  if (cell.second_aim_deg != null) {
    notes.push(`A second antenna at ${cell.second_aim_deg}° ${true_and_magnetic(cell.second_aim_deg)}.`);
  }
  if (cell.aim_from_deg != null) {
    notes.push(is_all_round(cell) ? `Any aim keeps ${kept_words()}.`
      : `Any aim from ${cell.aim_from_deg}° to ${cell.aim_to_deg}° true keeps ${kept_words()}.`);
  }
  const { declination } = page.facts;
  if (declination) notes.push(`Declination ${declination.words} at the map's middle, ${date_text(declination.on)}.`);
  return notes;
}

function kept_words() {
  return listed_count_text(page.list);
}

function letter_of(service) {
  const station = page.facts.stations.find((one) => one.service === service);
  return station ? `${station.letter} ${service}` : service;
}

function class_words(tier) {
  return `${tier} ${tier_facts(tier).name}`;
}

// The station that decides: its name and what is said of it; null where no single one can be named.
function deciding_words(cell) {
  const { services } = page.list;
  if (services.length === 1) return null;
  if (cell.tier === 1) {
    const weakest = services[cell.limiting];
    return weakest ? { name: letter_of(weakest), words: ": the least sure of them, even here." } : null;
  }
  const service = services[cell.deciding];
  if (!service) return null;
  const percent = cell.tier === 8 ? cell.service_percent[cell.deciding] : cell.one_lower_percent[cell.deciding];
  return {
    name: letter_of(service),
    words: `: with ${class_words(cell.tier - 1)} it is the least sure, ${chance_number(percent)}, ${chance_in_words(percent)}.`,
  };
}

function without_deciding_words(cell) {
  const tier = cell.tier_without_deciding;
  if (tier == null || cell.tier === 1) return "";
  if (tier === cell.tier) return cell.tier === 8 ? "Giving it up alone would not make the rest sure." : "Giving it up alone would not change the antenna.";
  return `Without it the rest needs only ${class_words(tier)}.`;
}

function cause_words(cell) {
  const cause = cell.main_cause == null ? null : page.list.causes[cell.main_cause];
  return cause ? `Why it is hard here: ${cause}.` : "";
}

function one_lower_words(cell) {
  if (cell.tier === 1) return "";
  const percents = cell.tier === 8 ? cell.service_percent : cell.one_lower_percent;
  const kept = page.list.services.filter((_, order) => surely(percents[order]));
  return `${class_words(cell.tier - 1)}: ${kept.length ? joined(kept) : "none of the wanted surely"}.`;
}

// The list's stations by mast, nearest to the aim first.
function aim_groups(cell) {
  const listed = stations_of(page.list);
  const aims = [cell.aim_deg, cell.second_aim_deg].filter((aim) => aim != null);
  return page.facts.masts
    .map((mast, order) => ({ mast, ...geodesic(cell, mast), stations: listed.filter((one) => one.mast === order) }))
    .filter(({ stations }) => stations.length)
    .map((group) => ({ ...group, off_deg: aims.length ? whole_degrees(Math.min(...aims.map((aim) => apart_deg(group.azimuth_deg, aim)))) : null }))
    .sort((one, other) => one.off_deg - other.off_deg || one.distance_km - other.distance_km);
}

function group_heading({ mast, azimuth_deg, distance_km }) {
  return `${mast.name}, ${whole_degrees(azimuth_deg)}° true, ${distance_text(distance_km)}`;
}

// Why a mast's stations are weaker: off the aim, and what stands in the way.
function group_reasons(cell, { off_deg, stations }) {
  const aimed = off_deg == null ? [] : [off_deg < ON_AIM_DEG ? "on the aim" : `${off_deg}° off the aim`];
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
  return stronger ? `${stronger.by_db} dB weaker than ${stronger.station.letter}` : chance_in_words(station_chance(station, cell));
}

// Why the station's service is weak here; empty where it is not, or another mast brings it.
function station_cause(station, cell) {
  const cause = cell.service_cause[page.list.services.indexOf(station.service)];
  return cause == null || stronger_carrier(station, cell) ? "" : page.list.causes[cause] || "";
}

function station_ways(station) {
  const ways = page.list.transmitters[page.list.services.indexOf(station.service)].length;
  return ways < 2 ? "" : ways === 2 ? ", either mast" : `, any of ${ways} masts`;
}

function plan_notes(cell) {
  const amplifier = cell.amplifier == null ? null : page.facts.amplifier_words[cell.amplifier];
  const flagged = page.facts.plan_notes.filter(({ flag }) => (cell.plan_flags || 0) & flag).map(({ words }) => words);
  return [...(amplifier ? [amplifier] : []), ...flagged];
}

function block_note() {
  const step = page.facts.station_step;
  return step === 1 ? "" : `To keep this file small, each station's signal and chance are those of the middle of ${step} × ${step} squares; antenna, chance of the whole list and aim are of this square.`;
}

function flag_notes(cell) {
  return page.facts.flag_notes.filter(({ flag }) => cell.flags & flag).map(({ words }) => words);
}

const ROOF_SENTENCE = "For a typical roof in this square; your site can differ by 10 dB either way.";

function square_words(cell) {
  return `The square's middle: ${position_text(cell)} (row ${cell.row}, column ${cell.col}).`;
}
