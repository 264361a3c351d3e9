// The sheet of paper: A4 across, one page, the map as it stands, numbers on, no controls.
"use strict";

const PAPER_DENSITY = 2; // canvas pixels a screen pixel, so that lines are fine on paper
const PAPER_MAP_MM = { width: 176, height: 130 }; // room for the map; beside a card the legend stands under it
const PLACE_MAP_MM = { width: 108, height: 80 };
const PAPER_MM = { width: 281, height: 193 }; // A4 across within its margins
const PX_PER_MM = 96 / 25.4; // CSS pixels
const SMALLEST_PRINT = 0.6; // of the sizes in print.css
const NARROW_PRINT_PX = { width: 880, height: 640 }; // a phone's upright map is widened for the sheet across

// Width of the map on paper: as large as its room and its shape allow.
function paper_map_mm(size) {
  const room = document.body.classList.contains("print_place") ? PLACE_MAP_MM : PAPER_MAP_MM;
  return Math.min(room.width, (room.height * size.x) / size.y);
}

// Gives the map another size, or with null its own again.
function size_map(size_px) {
  const { style } = page.map.getContainer();
  for (const side of ["width", "height"]) style[side] = size_px ? `${size_px[side]}px` : "";
  page.map.invalidateSize({ animate: false, pan: false });
}

// What a narrow screen shows above its sheet; of it what is known, where any of that is in sight.
function shown_bounds() {
  const [size, known] = [page.map.getSize(), page.known];
  const free_px = Math.max(size.y - find("#sheet").offsetHeight, size.y * (1 - CARD_SHARE));
  const seen = L.latLngBounds(page.map.containerPointToLatLng([0, 0]), page.map.containerPointToLatLng([size.x, free_px]));
  if (!known || !seen.intersects(known)) return seen;
  return L.latLngBounds(
    [Math.max(seen.getSouth(), known.getSouth()), Math.max(seen.getWest(), known.getWest())],
    [Math.min(seen.getNorth(), known.getNorth()), Math.min(seen.getEast(), known.getEast())]);
}

// A narrow screen's map at the size of the paper's, with what was in sight as large as fits.
function widen_map() {
  const bounds = shown_bounds();
  size_map(NARROW_PRINT_PX);
  page.map.setView(bounds.getCenter(), page.map.getBoundsZoom(bounds, false, L.point(20, 20)), { animate: false });
}

// The map as drawn for paper, with the scale bar as long as it is drawn there.
function map_for_paper() {
  const [centre, zoom] = [page.map.getCenter(), page.map.getZoom()];
  if (!is_wide()) widen_map();
  const before = { numbers: page.ticks.numbers, density: page.density };
  page.ticks.numbers = true;
  page.density = Math.max(PAPER_DENSITY, window.devicePixelRatio || 1);
  page.cells.draw_now();
  const [source, size] = [page.cells.canvas, page.map.getSize()];
  const copy = element("canvas", { width: source.width, height: source.height });
  copy.getContext("2d").drawImage(source, 0, 0);
  copy.style.width = `${paper_map_mm(size)}mm`;
  const bar = element("i", {});
  bar.style.width = `${(parseFloat(find("#scale_bar").style.width) / size.x) * paper_map_mm(size)}mm`;
  const scale = element("p", { class: "paper_scale" }, bar, find("#scale_text").textContent);
  page.ticks.numbers = before.numbers;
  page.density = before.density;
  if (!is_wide()) {
    size_map(null);
    page.map.setView(centre, zoom, { animate: false });
  }
  page.cells.draw_now();
  return [copy, scale];
}

function paper_legend() {
  const row = (square, words, count) => element("li", {}, square, element("span", {}, words), element("b", {}, count));
  return element("div", { class: "paper_legend" },
    element("p", { class: "small ends" }, element("span", {}, say("page.paper.legend")), element("span", {}, counted_words())),
    element("ul", {},
      page.facts.tiers.map((tier) => row(tier_square(tier.tier), `${tier.name}, ${tier.mounting_short}`, legend_count(tier.tier))),
      row(unknown_square(), say("page.unknown"), legend_count(0)),
      row(element("span", { class: "square outside" }), say("page.outside"), "")));
}

// What the map's colours mean: the classes, or the key of the mode that is shown, with what its reader chose.
function paper_key() {
  const shown = page.shows === "tier" ? null : find("#shows .inset");
  if (!shown) return paper_legend();
  const copy = shown.cloneNode(true);
  const chosen = [...shown.querySelectorAll("select")].map((one) => one.selectedOptions[0].textContent);
  copy.querySelectorAll("select").forEach((one, order) => one.replaceWith(element("p", {}, chosen[order])));
  const mode = find("#shows input[type=radio]:checked");
  copy.prepend(element("p", { class: "small" }, mode ? mode.closest("label").textContent : ""));
  copy.className = "paper_legend";
  return copy;
}

function paper_head() {
  return element("header", {}, element("h1", {}, page.facts.name),
    element("p", {}, `${say("page.wish", { list: page.list.words.subject, sure: sure_text() })} ${say("page.prediction")} ${stations_date()} ${say("page.one_square", { size: height_text(page.facts.grid.cell_m) })} ${say("page.no_house")}`));
}

// The card without what paper cannot do.
function paper_card() {
  const copy = find("#card").cloneNode(true);
  for (const control of copy.querySelectorAll("button, select, .actions, .handed, .cautions, textarea")) control.remove();
  for (const one of [copy, ...copy.querySelectorAll("[role]")]) one.removeAttribute("role");
  copy.id = "paper_card";
  return copy;
}

function build_paper() {
  const of_place = document.body.classList.contains("print_place");
  const map = map_for_paper();
  const numbers = find("#three").cloneNode(true);
  numbers.id = "paper_three";
  const beside = of_place ? [paper_card()] : [numbers, paper_key()];
  find("#paper").replaceChildren(paper_head(),
    element("div", { class: "paper_map" }, map, of_place ? paper_key() : null),
    element("div", { class: "paper_side" }, ...beside),
    element("ul", { class: "cautions" }, page.facts.cautions.map((words) => element("li", {}, words))));
  fit_paper();
}

// Makes everything smaller until it stands on one page: a long card has many stations.
function fit_paper() {
  const { style } = find("#paper");
  document.body.classList.add("measuring");
  for (let size = 1; size >= SMALLEST_PRINT; size -= 0.05) {
    style.zoom = size;
    style.width = `${PAPER_MM.width / size}mm`;
    if (find("#paper").getBoundingClientRect().height <= PAPER_MM.height * PX_PER_MM) break;
  }
  document.body.classList.remove("measuring");
}

function clear_paper() {
  find("#paper").replaceChildren();
  document.body.classList.remove("print_place");
}

function print_place() {
  document.body.classList.add("print_place");
  window.print();
}

function start_print() {
  window.addEventListener("beforeprint", build_paper);
  window.addEventListener("afterprint", clear_paper);
}
