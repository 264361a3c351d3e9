// A map of the user's choice from the network, under the squares: off until it is ticked.
"use strict";

const MOST_TILE_ZOOM = 19; // common practice of tile servers, no source; beyond it tiles are stretched
const base_map = { tiles: null, credit: null };

function show_base_map() {
  const asked = page.ticks.base_map;
  document.body.classList.toggle("with_base_map", asked);
  if (!base_map.tiles) {
    const { address, credit } = page.facts.base_map;
    const text = element("span", {}, credit).innerHTML; // as text, whatever it holds
    base_map.tiles = L.tileLayer(address, { maxNativeZoom: MOST_TILE_ZOOM, maxZoom: 30, attribution: text });
    base_map.credit = L.control.attribution({ prefix: false });
  }
  for (const part of [base_map.credit, base_map.tiles]) {
    if (asked) part.addTo(page.map);
    else part.remove();
  }
  page.cells.redraw();
}

function base_map_part() {
  const { host, credit } = page.facts.base_map;
  return [
    tick(say("page.tick.base_map", { host }), page.ticks.base_map, (checked) => {
      page.ticks.base_map = checked;
      show_base_map();
    }),
    small(say("page.base_map.note", { host, credit })),
  ];
}
