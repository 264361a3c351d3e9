// The scale bar, true at the middle of the view.
"use strict";

const BAR_LENGTHS = [0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200];
const BAR_LEAST_PX = 60;

function number_text(value) {
  return String(value).replace(".", say("language.decimal"));
}

function draw_scale(view) {
  const centre = page.map.getCenter();
  const pixel_km = (page.facts.grid.pixel_m * Math.cos((centre.lat * Math.PI) / 180)) / 1000;
  const px_per_km = view.cell_px / pixel_km;
  const in_miles = page.units.distance === "mi";
  const px_per_unit = in_miles ? px_per_km * page.facts.km_per_mile : px_per_km;
  const length = BAR_LENGTHS.find((units) => units * px_per_unit >= BAR_LEAST_PX) || BAR_LENGTHS.at(-1);
  const other = Number((in_miles ? length * page.facts.km_per_mile : length / page.facts.km_per_mile).toPrecision(2));
  const names = in_miles ? ["mi", "km"] : ["km", "mi"];
  find("#scale_text").textContent = `${number_text(length)} ${names[0]} (${number_text(other)} ${names[1]})`;
  find("#square_size").textContent = say("page.one_square", { size: height_text(page.facts.grid.cell_m) });
  find("#scale_bar").style.width = `${length * px_per_unit}px`;
}
