// Every value that the card tells of one square, gathered from the layers.
"use strict";

function has_kind(kind) {
  return page.list.plan_kinds.includes(kind);
}

function angle_layers(kind) {
  return [`${page.list.name}/${kind}_low`, `${page.list.name}/${kind}_high`];
}

async function angle_at(pixel, kind) {
  if (kind !== "aim" && !has_kind(kind)) return null;
  const [low, high] = Object.values(await values_at(pixel, angle_layers(kind)));
  return from_two_bytes(low, high);
}

// A byte of an optional layer; null where the result does not hold it or it is unknown here.
async function optional_at(pixel, kind) {
  if (!has_kind(kind)) return null;
  const [value] = Object.values(await values_at(pixel, [`${page.list.name}/${kind}`]));
  return value === UNKNOWN ? null : value;
}

async function read_plan(pixel) {
  const kinds = ["aim", "second_aim", "aim_from", "aim_to", "interferer"];
  const [aim_deg, second_aim_deg, aim_from_deg, aim_to_deg, interferer] = await Promise.all(kinds.map((kind) => angle_at(pixel, kind)));
  const [tier_without_deciding, main_cause, amplifier, plan_flags] = await Promise.all(
    ["tier_without_deciding", "main_cause", "amplifier", "plan_flags"].map((kind) => optional_at(pixel, kind)));
  return { aim_deg, second_aim_deg, aim_from_deg, aim_to_deg, tier_without_deciding, main_cause, interferer, amplifier, plan_flags };
}

// Why each service of the list is weak here: an index into the list's causes, null where it is not or unknown.
async function read_causes(pixel) {
  if (!has_kind("service_cause")) return page.list.services.map(() => null);
  const names = page.list.services.map((_, order) => `${page.list.name}/service_cause_${order}`);
  return Object.values(await values_at(pixel, names)).map((byte) => (byte === UNKNOWN ? null : byte));
}

// What leaves or another class of land cover would change here: an index into the list's doubts, or null.
async function read_doubt(pixel) {
  if (!page.list.doubts.length) return null;
  const [byte] = Object.values(await values_at(pixel, [`${page.list.name}/doubt`]));
  return byte < NO_KIND ? byte : null;
}

// For each service of the file the classes that bring it, a sum of bits; null where it is not known.
async function read_service_tiers(pixel) {
  if (!page.facts.every_service.length) return null;
  const names = page.facts.every_service.map((_, order) => `service_tiers/${order}`);
  const found = Object.values(await values_at(pixel, names));
  return found[0] === UNKNOWN ? null : found;
}

async function read_stations(pixel) {
  const name = (kind) => `${page.list.name}/${kind}`;
  const services = page.list.services.map((_, order) => order);
  const ids = page.facts.stations.filter((station) => station.has_field).map((one) => one.station_id);
  const values = await values_at(pixel, [
    ...services.flatMap((order) => [name(`service_chance_${order}`), name(`service_chance_one_lower_${order}`)]),
    ...ids.map((id) => `field/${id}`),
  ]);
  return {
    service_percent: services.map((order) => values[name(`service_chance_${order}`)]),
    one_lower_percent: services.map((order) => values[name(`service_chance_one_lower_${order}`)]),
    field_dbuvm: Object.fromEntries(ids.map((id) => {
      const byte = values[`field/${id}`];
      return [id, byte === UNKNOWN ? null : byte - page.facts.field_offset_db];
    })),
  };
}

async function read_cell(pixel) {
  const name = (kind) => `${page.list.name}/${kind}`;
  const [tier] = Object.values(await values_at(pixel, [name("tier")]));
  const cell = { ...cell_under(pixel), tier };
  if (tier > 8) return cell;
  const homes = page.facts.has_homes ? ["homes_low", "homes_high"] : [];
  const lower = tier > 1 ? [chance_layer(tier - 1)] : [];
  const values = await values_at(pixel, [
    "flags", ...homes, chance_layer(tier), ...lower, name("limiting_service"), name("deciding_service"),
  ]);
  return {
    ...cell,
    flags: values.flags,
    homes_tenths: page.facts.has_homes ? from_two_bytes(values.homes_low, values.homes_high) : null,
    chance_percent: values[chance_layer(tier)],
    lower_percent: tier > 1 && values[chance_layer(tier - 1)] !== UNKNOWN ? values[chance_layer(tier - 1)] : null,
    limiting: values[name("limiting_service")],
    deciding: values[name("deciding_service")],
    ...await read_plan(pixel),
    ...await read_stations(pixel),
    doubt: await read_doubt(pixel),
    service_cause: await read_causes(pixel),
    service_tiers: await read_service_tiers(pixel),
    antennas: await read_antennas(pixel),
  };
}
