// Puts the page together once the Leaflet map stands.
"use strict";

const MOST_AT_START_PX = 12;

function show_panel() {
  show_summary();
  show_legend();
  show_ladder();
  show_ways_on();
  show_lists();
  show_shows();
  if (!is_wide() && !page.chosen) fit_middle();
}

// The whole map as large as it fits on whole pixels a cell, but at least legible on a phone.
function first_view() {
  const { rows, cols } = page.facts.grid;
  const size = page.map.getSize();
  const free = { x: size.x, y: is_wide() ? size.y : size.y - parseInt(getComputedStyle(document.documentElement).getPropertyValue("--middle") || 276, 10) };
  const whole = Math.min(free.x / cols, free.y / rows);
  const fitting = [...PX_STEPS].reverse().find((px) => px <= whole) || whole;
  page.map.setMinZoom(zoom_for(Math.min(fitting, whole) * 0.6));
  page.map.setMaxZoom(zoom_for(MOST_PX));
  const closer = [...PX_STEPS].reverse().find((px) => px <= Math.max(fitting, Math.min(3, 3 * whole))) || fitting;
  const cell_px = opening_px(Math.min(MOST_AT_START_PX, is_wide() ? fitting : closer), free);
  page.map.setView(place_of(rows / 2, cols / 2), zoom_for(cell_px), { animate: false });
  if (!is_wide()) page.map.panBy([0, (size.y - free.y) / 2], { animate: false });
}

function show_trouble(error) {
  find("#three").replaceChildren(element("p", { class: "lead" },
    "This browser could not unpack the map. A newer one can, and brief.html shows the same result as a picture."),
    small(String(error)));
}

async function start_page(map) {
  document.body.classList.remove("without_script");
  page.map = map;
  page.list = page.facts.lists[0];
  page.ticks.edges = !is_wide();
  for (const section of document.querySelectorAll("#sheet details")) section.open = section.id === "legend_part";
  start_sheet();
  show_panel();
  map.invalidateSize({ animate: false });
  first_view();
  page.cells = new CellLayer().addTo(map);
  const holder = map.getContainer();
  holder.setAttribute("aria-label",
    "Map. Arrow keys move it, with Shift by one square; plus and minus zoom; Enter reads the square under the centre cross; N goes to the next dead zone; Escape closes the card.");
  holder.setAttribute("role", "application");
  holder.tabIndex = 0;
  map.on("click", (event) => {
    const pixel = pixel_at(event.latlng);
    if (pixel) show_card(pixel);
    else show_outside(event.latlng);
  });
  start_keys();
  start_find();
  start_table();
  start_print();
  try {
    await renew_picture();
    document.body.dataset.ready = "yes";
  } catch (error) {
    show_trouble(error);
  }
}
