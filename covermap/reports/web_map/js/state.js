// What the page knows and what its reader has chosen.
"use strict";

const page = {
  facts: JSON.parse(document.getElementById("facts").textContent),
  map: null, // the Leaflet map
  cells: null, // the layer with the cells
  list: null, // the wanted list shown, one of facts.lists
  shows: "tier", // one of MODES
  sure_tier: 5,
  services_tier: 5,
  antenna: 0, // index into facts.antennas.antennas, for shows = antenna
  station: 0, // index into facts.stations, for shows = signal
  hidden: new Set(), // tiers whose tick is off
  units: { distance: "km", height: "m" },
  ticks: { totals: false, outlines: true, numbers: true, masts: true, places: true, context: true, base_map: false, ridges: false, zones: false, edges: false, fade: false },
  ticked: null, // numbers of the services ticked, where they are no list of the run
  own: null, // what they need at least, or what keeps it from being there
  density: null, // canvas pixels a screen pixel, where it is not the screen's own
  chosen: null, // {row, col} of the chosen pixel
};

function is_wide() {
  return window.matchMedia("(min-width: 900px)").matches;
}

function stations_of(list) {
  const indices = new Set(list.transmitters.flat());
  return page.facts.stations.filter((station, index) => indices.has(index));
}

// The chance layer of a tier; a cell of tier 8 is judged with tier 7.
function chance_layer(tier) {
  return `${page.list.name}/tier_chance_${Math.min(tier, 7)}`;
}

function tier_facts(tier) {
  return page.facts.tiers[tier - 1];
}
