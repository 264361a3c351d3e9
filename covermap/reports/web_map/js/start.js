// Puts the page together once the Leaflet map stands.
"use strict";

function show_panel() {
  show_summary();
  show_legend();
  show_ladder();
  show_ways_on();
  show_lists();
  show_shows();
  show_by_area();
  if (!is_wide() && !page.chosen) fit_middle();
}

// What of the screen the map has to itself: beside the column, above the sheet.
function free_size() {
  const size = page.map.getSize();
  const middle = parseInt(getComputedStyle(document.documentElement).getPropertyValue("--middle") || 276, 10);
  return { x: size.x, y: is_wide() ? size.y : size.y - middle };
}

// The first and last row and column in which anything is known, or all where nothing is.
function known_box(tier) {
  const { rows, cols } = page.facts.grid;
  let [top, left, bottom, right] = [rows, cols, -1, -1];
  for (let row = 0, index = 0; row < rows; row++) for (let col = 0; col < cols; col++, index++) {
    if (tier[index] > 8) continue;
    [top, bottom] = [Math.min(top, row), row];
    [left, right] = [Math.min(left, col), Math.max(right, col)];
  }
  return bottom < 0 ? [0, 0, rows - 1, cols - 1] : [top, left, bottom, right];
}

// Fits a box of rows and columns into what is free, with a margin in px.
function fit_box([top, left, bottom, right], margin) {
  const free = free_size();
  const px = Math.min((free.x - 2 * margin) / (right - left + 1), (free.y - 2 * margin) / (bottom - top + 1), MOST_PX);
  page.map.setView(place_of((top + bottom + 1) / 2, (left + right + 1) / 2), zoom_for(px), { animate: false });
  if (!is_wide()) page.map.panBy([0, (page.map.getSize().y - free.y) / 2], { animate: false });
}

// All that is known, as large as it fits.
function first_view(tier) {
  const { rows, cols } = page.facts.grid;
  const free = free_size();
  page.map.setMinZoom(zoom_for(Math.min(free.x / cols, free.y / rows) * 0.6));
  page.map.setMaxZoom(zoom_for(MOST_PX));
  const box = known_box(tier);
  page.known = L.latLngBounds(place_of(box[0], box[1]), place_of(box[2] + 1, box[3] + 1));
  fit_box(box, is_wide() ? 28 : 10);
}

function show_trouble(error) {
  find("#three").replaceChildren(element("p", { class: "lead" },
    say("page.trouble")),
    small(String(error)));
}

async function start_page(map) {
  document.body.classList.remove("without_script");
  page.map = map;
  page.list = page.facts.lists[0];
  page.shows = first_shows(page.list);
  page.ticks.edges = !is_wide();
  page.units = { distance: page.facts.distance_unit, height: page.facts.height_unit };
  for (const section of document.querySelectorAll("#sheet details")) section.open = section.id === "legend_part";
  start_sheet();
  show_panel();
  map.invalidateSize({ animate: false });
  page.map.setView(place_of(page.facts.grid.rows / 2, page.facts.grid.cols / 2), 10, { animate: false });
  page.cells = new CellLayer().addTo(map);
  const holder = map.getContainer();
  holder.setAttribute("aria-label", say("page.map_label"));
  holder.setAttribute("role", "application");
  holder.tabIndex = 0;
  map.on("click", (event) => {
    const pixel = pixel_at(event.latlng);
    const area = pixel && areas_show() ? area_at(pixel) : null;
    if (area) show_area_card(area);
    else if (pixel) show_card(pixel);
    else show_outside(event.latlng);
  });
  start_context();
  start_keys();
  start_find();
  start_table();
  start_print();
  start_by_area();
  start_where();
  try {
    first_view(await tier_bytes());
    await renew_picture();
    open_link();
    document.body.dataset.ready = "yes";
    unpack_ahead();
  } catch (error) {
    show_trouble(error);
  }
}
