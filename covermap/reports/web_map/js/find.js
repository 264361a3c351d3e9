// Find without a network: place names, neighbourhoods, stations and masts of the map, and positions.
"use strict";

const MOST_FOUND = 6;
const POSITION_PX = 12; // cells are shown at least this wide when a place was found

// Everything that has a name: places first, then neighbourhoods, masts, and the stations on them.
function named_things() {
  const { places, masts, stations } = page.facts;
  return [
    ...places.map((place) => ({ ...place, words: place.name })),
    ...page.list.neighbourhoods.map((area) => ({ ...area, words: `${area.name}, neighbourhood` })),
    ...masts.map((mast) => ({ ...mast, words: `${mast.name}, mast` })),
    ...stations.map((station) => ({
      ...masts[station.mast], name: station.service, words: `${station.service}, ${station_line(station)}`,
    })),
  ];
}

function things_called(text) {
  const wanted = text.trim().toLowerCase();
  const rank = ({ name }) => {
    const own = name.toLowerCase();
    return own === wanted ? 0 : own.startsWith(wanted) ? 1 : own.includes(wanted) ? 2 : 3;
  };
  const found = named_things().map((thing) => ({ ...thing, rank: rank(thing) })).filter((thing) => thing.rank < 3);
  const best = Math.min(...found.map((thing) => thing.rank));
  return found.filter((thing) => best > 0 || thing.rank === 0).sort((one, other) => one.rank - other.rank);
}

function say_found(words) {
  find(".found").replaceChildren(element("p", {}, words));
}

function go_to(thing, if_outside) {
  find(".found").replaceChildren();
  const latlng = L.latLng(thing.latitude_deg, thing.longitude_deg);
  const pixel = pixel_at(latlng);
  if (!pixel) return say_found(if_outside);
  const zoom = Math.max(page.map.getZoom(), zoom_for(POSITION_PX));
  page.map.setView(latlng, zoom, { animate: false });
  return show_card(pixel);
}

function go_to_position(position) {
  if (position.trouble) return say_found(position.trouble);
  return position.outside ? say_found(outside_words(position)) : go_to(position, outside_words(position));
}

function go_to_thing(thing) {
  return go_to(thing, `${thing.words} is outside the map.`);
}

function not_found_words(text) {
  const example = page.facts.example_position;
  if (/^[\d\s.,;:°'"′″’”+-]*[NSEW]?[\d\s.,;:°'"′″’”+-]*[NSEW]?$/i.test(text)) {
    return `“${text}” is no position this map can read. Write latitude and longitude such as ${example}, degrees and minutes such as 44 7.4 N, 36 14.0 W, or easting and northing in metres.`;
  }
  return `Nothing on this map is called “${text}”. Try a place, a station, or latitude and longitude such as ${example}.`;
}

function find_text(text) {
  find(".found").replaceChildren();
  if (!text.trim()) return say_found(`Type a place, a station, or a position such as ${page.facts.example_position}.`);
  const position = position_of(text);
  if (position) return go_to_position(position);
  const things = things_called(text);
  if (things.length === 1) return go_to_thing(things[0]);
  if (!things.length) return say_found(not_found_words(text.trim()));
  return offer(things);
}

function offer(things) {
  const more = things.length - MOST_FOUND;
  find(".found").replaceChildren(
    ...things.slice(0, MOST_FOUND).map((thing) => {
      const button = element("button", { type: "button" }, thing.words);
      button.addEventListener("click", () => go_to_thing(thing));
      return button;
    }),
    ...(more > 0 ? [element("p", {}, `${more} more; type more of the name.`)] : []),
  );
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
  input.addEventListener("keydown", (event) => {
    if (event.key === "Enter") find_text(input.value);
  });
  find("#find_open").addEventListener("click", press_find_open);
}
