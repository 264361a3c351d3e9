// Find without a network: place names, neighbourhoods, stations, channels and masts of the map, and positions.
"use strict";

const MOST_FOUND = 6;
const POSITION_PX = 12; // cells are shown at least this wide when a place was found
const SUGGEST_FROM = 2; // letters

// Everything that has a name: customers first, then places, then neighbourhoods, masts, and the stations on them.
function named_things() {
  const { customers, places, masts, stations } = page.facts;
  return [
    ...customers.map((customer) => ({ ...customer, words: say("page.find.customer", { name: customer.name }) })),
    ...places.map((place) => ({ ...place, words: place.name })),
    ...page.list.neighbourhoods.map((area) => ({ ...area, words: say("page.find.neighbourhood", { name: area.name }) })),
    ...masts.map((mast) => ({ ...mast, words: say("page.find.mast", { name: mast.name }) })),
    ...stations.map((station) => ({
      ...masts[station.mast], name: station.service, station, words: `${station.service}, ${station_line(station)}`,
    })),
  ];
}

// The station's number on the set or its RF channel: 5.1, RF 21, rf21.
function is_channel(thing, wanted) {
  if (!thing.station) return false;
  const rf = /^rf\s*(\d+)$/.exec(wanted);
  return rf ? thing.station.rf_channel === Number(rf[1]) : thing.station.displayed_channel === wanted.replace(",", ".");
}

function things_called(text) {
  const wanted = text.trim().toLowerCase();
  const rank = (thing) => {
    const own = thing.name.toLowerCase();
    if (own === wanted || is_channel(thing, wanted)) return 0;
    return own.startsWith(wanted) ? 1 : own.includes(wanted) ? 2 : 3;
  };
  const found = named_things().map((thing) => ({ ...thing, rank: rank(thing) })).filter((thing) => thing.rank < 3);
  const best = Math.min(...found.map((thing) => thing.rank));
  return found.filter((thing) => best > 0 || thing.rank === 0).sort((one, other) => one.rank - other.rank);
}

function say_found(words) {
  find(".found").replaceChildren(element("p", {}, words));
}

// What was asked for is not here: the card of an earlier place would be taken for it.
function say_missed(words) {
  if (document.body.classList.contains("with_card")) close_card();
  say_found(words);
}

function go_to(thing, if_outside) {
  find(".found").replaceChildren();
  const latlng = latlng_of(thing);
  const pixel = pixel_at(latlng);
  if (!pixel) return say_missed(if_outside);
  const zoom = Math.max(page.map.getZoom(), zoom_for(POSITION_PX));
  page.map.setView(latlng, zoom, { animate: false });
  return show_card(pixel);
}

// A position is told back as it was taken.
async function go_to_position(position) {
  if (position.trouble) return say_missed(position.trouble);
  if (position.outside) return say_missed(outside_words(position));
  const taken = say(position.turned ? "page.find.taken_turned" : "page.find.taken", { position: position_text(position) });
  await go_to(position, `${taken} ${outside_words(position)}`);
  if (pixel_at(L.latLng(position.latitude_deg, position.longitude_deg))) say_found(taken);
  return null;
}

function go_to_thing(thing) {
  return go_to(thing, say("page.find.thing_outside", { name: thing.words }));
}

function not_found_words(text) {
  const example = page.facts.example_position;
  if (/^[\d\s.,;:°'"′″’”+-]*[NSEW]?[\d\s.,;:°'"′″’”+-]*[NSEW]?$/i.test(text)) return say("page.find.no_position", { text, example });
  return say("page.find.nothing", { text, example });
}

function find_text(text) {
  find(".found").replaceChildren();
  if (!text.trim()) return say_found(say("page.find.empty", { example: page.facts.example_position }));
  const position = position_of(text);
  if (position) return go_to_position(position);
  const things = things_called(text);
  if (things.length === 1) return go_to_thing(things[0]);
  if (!things.length) return say_missed(not_found_words(text.trim()));
  return offer(things);
}

function offer(things) {
  const more = things.length - MOST_FOUND;
  find(".found").replaceChildren(
    ...things.slice(0, MOST_FOUND).map((thing) => button(thing.words, () => {
      find("#find_text").value = thing.name;
      go_to_thing(thing);
    })),
    ...(more > 0 ? [element("p", {}, say("page.find.more", { count: more }))] : []),
  );
}

// While typing: what begins or goes on like this; what was said before is cleared.
function suggest(text) {
  const things = text.trim().length < SUGGEST_FROM || position_of(text) ? [] : things_called(text);
  if (things.length) offer(things);
  else find(".found").replaceChildren();
}

// On a narrow screen the bar's button opens the box, then searches; an empty box is closed again.
function press_find_open() {
  const [bar, input, open] = [find("#bar"), find("#find_text"), find("#find_open")];
  if (bar.classList.contains("finding") && input.value.trim()) return find_text(input.value);
  const finding = bar.classList.toggle("finding");
  open.setAttribute("aria-expanded", String(finding));
  find(".found").replaceChildren();
  if (finding) input.focus();
  return null;
}

function close_find() {
  find("#bar").classList.remove("finding");
  find("#find_open").setAttribute("aria-expanded", "false");
  find(".found").replaceChildren();
  find("#find_open").focus();
}

function start_find() {
  const input = find("#find_text");
  find(".find button").addEventListener("click", () => find_text(input.value));
  input.addEventListener("input", () => suggest(input.value));
  input.addEventListener("keydown", (event) => {
    if (event.key === "Enter") find_text(input.value);
    else if (event.key === "ArrowDown" && find(".found button")) {
      find(".found button").focus();
      event.preventDefault();
    }
  });
  find("#find_open").addEventListener("click", press_find_open);
}
