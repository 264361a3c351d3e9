// The section "Map shows": the modes, each with its key, and the ticks.
"use strict";

const TICKS = [
  ["totals", "Neighbourhood totals while zoomed out"],
  ["numbers", "Numbers"],
  ["masts", "Masts and aim lines"],
  ["places", "Place names"],
  ["ridges", "Ridges that shade homes, with their height over the line of sight"],
  ["zones", "Dead zones only"],
  ["edges", "Light lines between squares, for bright light"],
  ["fade", "Fade squares without homes"],
];

function is_tick_there(name) {
  if (name === "totals") return areas_can_show();
  if (name === "places") return page.facts.places.length > 0;
  if (name === "ridges") return page.list.ridges.length > 0;
  if (name === "zones") return page.list.has_zone && page.list.zones.length > 0;
  return name !== "fade" || page.facts.has_homes;
}

function choose_shows(shows) {
  page.shows = shows;
  show_shows();
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
    small(`Chance of ${listed_count_text(page.list)} with`),
    select("With which antenna", names, page.sure_tier - 1, chosen),
    key_of(page.facts.sure_steps),
  ];
}

function signal_part() {
  const names = page.facts.stations.map((station) => `${station.letter} ${station.service}, ${station_numbers(station)}`);
  const chosen = (index) => {
    page.station = index;
    renew_picture();
  };
  return [
    small(`Field strength 10 m above ground, half of the time, in dBµV/m${page.facts.station_step > 1
      ? `; one value for ${page.facts.station_step} × ${page.facts.station_step} squares` : ""}`),
    select("Which station", names, page.station, chosen),
    key_of(page.facts.signal_steps),
  ];
}

function kinds_part() {
  const words = page.shows === "decides"
    ? "The service that is least sure with one class less: without it the antenna would be easiest to change."
    : "What takes most of the signal, where an amplifier, a tall mast or more is needed.";
  return [
    small(`${words} Outlines are those of the commonest in 7 × 7 squares.`),
    element("ul", { class: "key" }, kinds_shown().map(({ mark, words: name }, kind) =>
      element("li", {}, element("i", { class: `kind_${kind % page.facts.kind_tints.length}` }), element("b", {}, mark), name))),
  ];
}

const PARTS = { sure: sure_part, decides: kinds_part, cause: kinds_part, signal: signal_part };

function mode_rows(mode) {
  const row = choice("shows", MODES[mode].words, page.shows === mode, () => choose_shows(mode));
  if (page.shows !== mode || !PARTS[mode]) return [row];
  const of_list = is_estimate() && is_of_list(mode) ? [small(`Of the run's list ${page.list.name}, not of your ticks.`)] : [];
  return [row, element("div", { class: "inset" }, of_list, PARTS[mode]())];
}

function show_shows() {
  const holder = find("#shows");
  const focused = holder.contains(document.activeElement) && page.shows;
  holder.replaceChildren(
    ...Object.keys(MODES).filter(is_mode_there).flatMap(mode_rows),
    element("hr"),
    ...TICKS.filter(([name]) => is_tick_there(name)).map(([name, words]) => tick(words, page.ticks[name], (checked) => {
      page.ticks[name] = checked;
      renew_picture();
    })),
  );
  if (focused) holder.querySelector("input[type=radio]:checked").focus();
}
