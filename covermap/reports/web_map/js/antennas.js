// The antennas of a catalogue: where the chosen one holds the list, and what each brings in a square.
"use strict";

const WITH_IT = 1, WITH_FIRST_AMPLIFIER = 2; // further values: with its second amplifier, its third
const MOST_LINES = 3; // of antennas that do not hold the list; the others stand behind a summary

function has_antennas() {
  return page.facts.antennas !== null;
}

function antenna_layer(order) {
  return `antenna/${page.list.name}/${order}`;
}

// Fill colour of each byte of the chosen antenna's layer.
function antenna_fills() {
  const table = new Array(256).fill(null);
  for (const { values, fill } of page.facts.antennas.steps) for (const value of values) table[value] = rgb(fill);
  return table;
}

function antenna_name({ name, mount, price }) {
  return [name, mount, price].filter(Boolean).join(", ");
}

function antennas_part() {
  const { antennas } = page.facts.antennas;
  const chosen = (index) => {
    page.antenna = index;
    renew_picture();
    if (page.chosen) show_card(page.chosen);
  };
  const tried = antennas.some(({ amplifiers }) => amplifiers.length);
  const note = say(tried ? "page.antenna.note_amplifier" : "page.antenna.note", { list: page.list.words.subject, sure: sure_text() });
  return [
    small(`${note}${page.facts.station_step > 1 ? ` ${say("page.blocks", { step: page.facts.station_step })}` : ""}`),
    select(say("page.antenna.which"), antennas.map(antenna_name), page.antenna, chosen),
    key_of(page.facts.antennas.steps),
  ];
}

// For each antenna what it does for the list here, a value of its layer, and the services it brings; null unknown.
async function read_antennas(pixel) {
  if (!has_antennas()) return null;
  const { antennas, services, group } = page.facts.antennas;
  const holds = Object.values(await values_at(pixel, antennas.map((_, order) => antenna_layer(order))));
  if (holds[0] === UNKNOWN) return null;
  const groups = services.length ? Math.ceil(antennas.length / group) : 0;
  const bits = await Promise.all([...Array(groups).keys()].map(async (number) =>
    Object.values(await values_at(pixel, services.map((_, order) => `antenna_services/${number}/${order}`)))));
  return antennas.map((antenna, order) => ({
    antenna, order, holds: holds[order],
    brings: groups ? services.filter((_, service) => bits[Math.floor(order / group)][service] & (1 << (order % group))) : null,
  }));
}

function holds_words(holds, { amplifiers }) {
  if (holds < WITH_FIRST_AMPLIFIER) return say(`page.antenna.${holds === WITH_IT ? "holds" : "not_held"}`);
  return say("page.antenna.with_this_amplifier", { amplifier: amplifiers[holds - WITH_FIRST_AMPLIFIER] });
}

function antenna_line({ antenna, order, holds, brings }) {
  const mine = page.shows === "antenna" && page.antenna === order;
  const services = brings ? say("page.antenna.brings", { count: brings.length, all: page.facts.antennas.services.length }) : "";
  const named = mine && brings && brings.length ? ` (${joined(brings)})` : "";
  const step = page.facts.antennas.steps.findIndex(({ values }) => values.includes(holds));
  return element("li", { class: mine ? "mine" : null }, element("i", { class: `antenna_${step}` }),
    element("span", {}, antenna_name(antenna), small(`${holds_words(holds, antenna)}${services ? `; ${services}` : ""}${named}`)));
}

function antenna_lines(some) {
  return element("ul", { class: "key antennas" }, some.map(antenna_line));
}

// Those that hold the list first, in the order of the catalogue; then those that bring most.
function antennas_card_part(cell) {
  if (!cell.antennas) return null;
  const rank = ({ holds }) => (holds === WITH_IT ? 0 : holds >= WITH_FIRST_AMPLIFIER ? 1 : 2);
  const count = ({ brings }) => (brings ? brings.length : 0);
  const ordered = [...cell.antennas].sort((one, other) => rank(one) - rank(other)
    || (rank(one) === 2 ? count(other) - count(one) : 0) || one.order - other.order);
  const shown = ordered.filter((one, place) => rank(one) < 2 || place < MOST_LINES || (page.shows === "antenna" && one.order === page.antenna));
  const rest = ordered.filter((one) => !shown.includes(one));
  const more = rest.length ? element("details", {}, element("summary", {}, say("page.antenna.more", { count: rest.length })), antenna_lines(rest)) : null;
  return part(say("page.antenna.here"), antenna_lines(shown), ...[more].filter(Boolean), small(say("page.antenna.here_note")));
}
