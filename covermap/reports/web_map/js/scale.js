// The scale bar, true at the middle of the view.
"use strict";

const BAR_KM = [0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200];
const BAR_LEAST_PX = 60;

function draw_scale(view) {
  const centre = page.map.getCenter();
  const pixel_km = (page.facts.grid.pixel_m * Math.cos((centre.lat * Math.PI) / 180)) / 1000;
  const px_per_km = view.cell_px / pixel_km;
  const length_km = BAR_KM.find((km) => km * px_per_km >= BAR_LEAST_PX) || BAR_KM.at(-1);
  const miles = Number((length_km / page.facts.km_per_mile).toPrecision(2));
  find("#scale_text").textContent = `${length_km} km (${miles} mi)`;
  find("#scale_bar").style.width = `${length_km * px_per_km}px`;
}
