// What the map shows: antenna needed, how sure, or one station's signal; and the ticks.
"use strict";

const TICKS = [
  ["numbers", "Numbers"],
  ["masts", "Masts"],
  ["places", "Place names"],
  ["edges", "Edges between dark classes, for bright light"],
  ["fade", "Fade squares without homes"],
];

function choose_shows(shows) {
  page.shows = shows;
  show_shows();
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

function show_shows() {
  const option = (shows, words) => choice("shows", words, page.shows === shows, () => choose_shows(shows));
  const with_field = page.facts.stations.some((station) => station.has_field);
  const ticks = TICKS.filter(([name]) =>
    (name !== "places" || page.facts.places.length) && (name !== "fade" || page.facts.has_homes));
  find("#shows").replaceChildren(
    option("tier", "Antenna needed"),
    option("sure", "How sure"),
    ...(page.shows === "sure" ? [element("div", { class: "inset" }, sure_part())] : []),
    ...(with_field ? [option("signal", "One station's signal")] : []),
    ...(page.shows === "signal" ? [element("div", { class: "inset" }, signal_part())] : []),
    element("hr"),
    ...ticks.map(([name, words]) => tick(words, page.ticks[name], (checked) => {
      page.ticks[name] = checked;
      renew_picture();
    })),
  );
}
