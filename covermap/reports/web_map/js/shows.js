// The section "Map shows": the modes, each with its key, and the ticks.
"use strict";

const TICKS = ["outlines", "numbers", "masts", "places", "context", "ridges", "zones", "edges", "fade"];

function is_tick_there(name) {
  if (name === "outlines") return areas_can_show();
  if (name === "places") return page.facts.places.length > 0;
  if (name === "context") return has_context();
  if (name === "ridges") return page.list.ridges.length > 0;
  if (name === "zones") return page.list.has_zone && page.list.zones.length > 0;
  return name !== "fade" || page.facts.has_homes;
}

function choose_shows(shows) {
  page.shows = shows;
  show_shows();
  const key = find("#shows .inset");
  if (key && is_wide()) key.scrollIntoView({ block: "nearest" }); // what the colours now mean
  show_by_area();
  write_link(page.chosen && page.chosen.cell);
  show_ladder();
  if (!is_wide() && !page.chosen) fit_middle();
  renew_picture();
}

function key_of(steps) {
  return element("ul", { class: "key" }, steps.map((step, order) =>
    element("li", {}, element("i", { class: `${page.shows}_${order}` }), step.words)));
}

function sure_part() {
  const names = page.facts.tiers.slice(0, 7).map(({ tier, name }) => `${tier} ${name}`);
  const chosen = (index) => {
    page.sure_tier = index + 1;
    renew_picture();
  };
  return [
    small(say("page.shows.chance_of", { list: page.list.words.subject })),
    select(say("page.shows.which_antenna"), names, page.sure_tier - 1, chosen),
    small(`${capital(say("chance.nominal"))}. ${say("chance.behind_hills")}`),
    key_of(page.facts.sure_steps),
  ];
}

function signal_part() {
  const names = page.facts.stations.map((station) => `${station.letter}, ${station.service}, ${station_numbers(station)}`);
  const chosen = (index) => {
    page.station = index;
    renew_picture();
  };
  return [
    small(`${say("page.shows.field", { height: height_text(10) })}${page.facts.station_step > 1 ? ` ${say("page.blocks", { step: page.facts.station_step })}` : ""}`),
    select(say("page.shows.which_station"), names, page.station, chosen),
    key_of(page.facts.signal_steps),
  ];
}

function kinds_part() {
  return [
    small(`${say(`page.shows.${page.shows}_note`)}${MODES[page.shows].by_square ? "" : ` ${say("page.shows.smoothed")}`}`),
    element("ul", { class: "key" }, kinds_shown().map(({ mark, words: name }, kind) =>
      element("li", {}, element("i", { class: `kind_${kind % page.facts.kind_tints.length}` }), element("b", {}, mark), " ", name))),
  ];
}

function services_part() {
  const names = page.facts.tiers.slice(0, 7).map(({ tier }) => class_words(tier));
  const chosen = (index) => {
    page.services_tier = index + 1;
    renew_picture();
  };
  return [
    small(say("page.shows.services_note")),
    select(say("page.shows.which_antenna"), names, page.services_tier - 1, chosen),
    key_of(page.facts.services_steps),
  ];
}

const PARTS = { services: services_part, antenna: antennas_part, sure: sure_part, decides: kinds_part, cause: kinds_part, doubt: kinds_part, signal: signal_part };

function mode_rows(mode) {
  const row = choice("shows", say(`page.mode.${mode}`), page.shows === mode, () => choose_shows(mode));
  if (page.shows !== mode || !PARTS[mode]) return [row];
  const of_list = is_own() && is_of_list(mode) ? [small(say("page.shows.of_list", { list: page.list.name }))] : [];
  return [row, element("div", { class: "inset" }, of_list, PARTS[mode]())];
}

const UNITS = [{ distance: "km", height: "m" }, { distance: "mi", height: "ft" }];

function unit_choices() {
  return UNITS.map((units) => choice("units", say(`page.units.${units.distance}`), page.units.distance === units.distance, () => {
    page.units = units;
    show_shows();
    show_lists();
    if (page.chosen) show_card(page.chosen);
    page.cells.redraw();
  }));
}

function show_shows() {
  const holder = find("#shows");
  const focused = holder.contains(document.activeElement) && page.shows;
  holder.replaceChildren(
    ...Object.keys(MODES).filter(is_mode_there).flatMap(mode_rows),
    element("hr"),
    ...TICKS.filter(is_tick_there).map((name) => tick(say(`page.tick.${name}`), page.ticks[name], (checked) => {
      page.ticks[name] = checked;
      renew_picture();
    })),
    ...(page.facts.base_map ? base_map_part() : []),
    element("hr"),
    ...unit_choices(),
  );
  if (focused) holder.querySelector("input[type=radio]:checked").focus();
}
