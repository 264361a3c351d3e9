// What the map can show, one at a time: each mode's layer, colours and key.
"use strict";

const MODES = {
  tier: {},
  sure: {},
  services: {},
  antenna: {},
  decides: { layer: () => `${page.list.name}/deciding_service` },
  cause: { layer: () => `${page.list.name}/main_cause` },
  doubt: { layer: () => `${page.list.name}/doubt`, by_square: true },
  signal: {},
};

function is_mode_there(mode) {
  if (mode === "decides") return page.list.services.length > 1 && page.list.needed === page.list.services.length;
  if (mode === "cause") return page.list.plan_kinds.includes("main_cause") && page.list.causes.length > 0;
  if (mode === "doubt") return page.list.doubts.length > 0;
  if (mode === "services") return page.facts.every_service.length > 0;
  if (mode === "antenna") return has_antennas();
  if (mode === "signal") return page.facts.stations.some((station) => station.has_field);
  return true;
}

// What a page opens on: the class, or how many services arrive where nobody named a list.
function first_shows(list) {
  return list.asked || !is_mode_there("services") ? "tier" : "services";
}

// A mode of the run's own list only; ticks of the reader's own know none of it.
function is_of_list(mode) {
  return mode === "sure" || mode === "antenna" || mode === "decides" || mode === "cause" || mode === "doubt";
}

// Promise of the classes shown: those of the run's list, or the least ones for the reader's own.
function tier_bytes() {
  return page.own && page.own.tier ? Promise.resolve(page.own.tier) : layer(`${page.list.name}/tier`);
}

function shown_bytes(tier) {
  if (page.shows === "sure") return layer(chance_layer(page.sure_tier));
  if (page.shows === "services") return layer(`services_count/${page.services_tier}`);
  if (page.shows === "antenna") return whole_layer(antenna_layer(page.antenna));
  if (page.shows === "signal") return whole_layer(`field/${page.facts.stations[page.station].station_id}`);
  const { layer: name, by_square } = MODES[page.shows];
  if (by_square) return layer(name());
  return name ? kinds_of(name()) : tier;
}

function steps_of(shows) {
  if (shows === "antenna") return page.facts.antennas.steps;
  return { sure: page.facts.sure_steps, services: page.facts.services_steps }[shows] || page.facts.signal_steps;
}

// Index into the steps of a percentage or a field in dB(uV/m): the first whose lowest value is reached.
function step_of(steps, value) {
  return steps.findIndex((step) => step.lowest === null || value >= step.lowest);
}

// Fill colour of each byte value, or null for none.
function fills() {
  const table = new Array(256).fill(null);
  if (page.shows === "tier") {
    page.facts.tiers.forEach((tier) => {
      if (!page.hidden.has(tier.tier)) table[tier.tier] = rgb(tier.fill);
    });
    return table;
  }
  if (page.shows === "antenna") return antenna_fills();
  if (MODES[page.shows].layer) {
    kinds_shown().forEach((_, kind) => { table[kind] = rgb(page.facts.kind_tints[kind % page.facts.kind_tints.length]); });
    return table;
  }
  const steps = steps_of(page.shows);
  for (let byte = 0; byte < UNKNOWN; byte++) {
    const value = page.shows === "signal" ? byte - page.facts.field_offset_db : byte;
    table[byte] = rgb(steps[step_of(steps, value)].fill);
  }
  return table;
}

// What stands on the map and in the key for each kind: letters of the service's stations or its name, or the cause.
function kinds_shown() {
  if (page.shows === "doubt") return page.list.doubts.map((words) => ({ mark: "", words }));
  if (page.shows === "cause") return page.list.causes.map((words, kind) => ({ mark: page.list.cause_marks[kind], words }));
  return page.list.services.map((service, order) => ({ mark: service_letters(order).join("·") || service, words: service }));
}
