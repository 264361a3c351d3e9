// Find without a network: place names, stations and masts of the map, and positions.
"use strict";

const MOST_FOUND = 6;
const POSITION_PX = 12; // cells are shown at least this wide when a place was found

// Degrees of one half of a position: 44.123, -36.234, 44 7.38 N, 44\u00b0 7' 22.8" N; null when it is none.
function degrees_of(text) {
  const cleaned = text.trim().toUpperCase().replace(/\u2212/g, "-");
  const letters = cleaned.match(/[NSEW]/g) || [];
  const rest = cleaned.replace(/[NSEW]/g, " ").replace(/[\u00b0'"\u2032\u2033\u2019\u201d]/g, " ").trim();
  if (letters.length > 1 || !/^[-+]?\d+(\.\d+)?(\s+\d+(\.\d+)?){0,2}$/.test(rest)) return null;
  const [whole, minutes = 0, seconds = 0] = rest.split(/\s+/).map(Number);
  if (minutes >= 60 || seconds >= 60) return null;
  const size = Math.abs(whole) + minutes / 60 + seconds / 3600;
  const negative = rest.startsWith("-") || letters[0] === "S" || letters[0] === "W";
  return { degrees: negative ? -size : size, letter: letters[0] || "" };
}

// Latitude and longitude of a text, latitude first unless the letters say otherwise; null when it is no position.
function position_of(text) {
  const halves = /[,;]/.test(text)
    ? text.split(/[,;]/)
    : /[NS]/i.test(text) ? text.split(/(?<=[NSEW])\s+/i) : text.trim().split(/\s+/);
  if (halves.length !== 2) return null;
  const [first, second] = halves.map(degrees_of);
  if (!first || !second) return null;
  const turned = /[EW]/.test(first.letter) || /[NS]/.test(second.letter);
  const [latitude_deg, longitude_deg] = (turned ? [second, first] : [first, second]).map((half) => half.degrees);
  return Math.abs(latitude_deg) > 90 || Math.abs(longitude_deg) > 180 ? null : { latitude_deg, longitude_deg };
}

// Everything that has a name: places first, then masts, then the stations on them.
function named_things() {
  const { places, masts, stations } = page.facts;
  return [
    ...places.map((place) => ({ ...place, words: place.name })),
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

function go_to(thing, found) {
  found.replaceChildren();
  const latlng = L.latLng(thing.latitude_deg, thing.longitude_deg);
  const pixel = pixel_at(latlng);
  if (!pixel) {
    found.append(element("p", {}, `${thing.words || "That position"} is outside the map.`));
    return;
  }
  const zoom = Math.max(page.map.getZoom(), zoom_for(POSITION_PX));
  page.map.setView(latlng, zoom, { animate: false });
  show_card(pixel);
}

function find_text(text, found) {
  found.replaceChildren();
  if (!text.trim()) return;
  const position = position_of(text);
  if (position) return go_to(position, found);
  const things = things_called(text);
  if (things.length === 1) return go_to(things[0], found);
  if (!things.length) {
    found.append(element("p", {}, `Nothing on this map is called \u201c${text.trim()}\u201d. Try a place, a station, or latitude and longitude such as ${page.facts.example_position}.`));
    return;
  }
  for (const thing of things.slice(0, MOST_FOUND)) {
    const button = element("button", { type: "button" }, thing.words);
    button.addEventListener("click", () => go_to(thing, found));
    found.append(button);
  }
}

function start_find() {
  for (const box of document.querySelectorAll(".find")) {
    const [input, button] = [box.querySelector("input"), box.querySelector("button")];
    const found = box.nextElementSibling;
    const search = () => find_text(input.value, found);
    button.addEventListener("click", search);
    input.addEventListener("keydown", (event) => {
      if (event.key === "Enter") search();
    });
  }
  const [bar, open] = [find("#bar"), find("#find_open")];
  open.addEventListener("click", () => {
    const input = bar.querySelector("input");
    if (bar.classList.contains("finding") && input.value.trim()) {
      find_text(input.value, bar.querySelector(".found"));
      return;
    }
    const finding = bar.classList.toggle("finding");
    open.setAttribute("aria-expanded", String(finding));
    bar.querySelector(".found").replaceChildren();
    if (finding) input.focus();
  });
}
