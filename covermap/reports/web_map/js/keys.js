// Moving the map by keys, wheel and buttons.
"use strict";

const ARROWS = { ArrowUp: [0, -1], ArrowDown: [0, 1], ArrowLeft: [-1, 0], ArrowRight: [1, 0] };
const PAN_PX = 80;

function zoom_by_step(direction) {
  page.map.setZoom(stepped_zoom(direction), { animate: false });
}

function read_centre() {
  const pixel = pixel_at(page.map.getCenter());
  if (pixel) show_card(pixel);
  else show_outside(page.map.getCenter());
}

// A whole pixel of the picture, which is at most a cell wide, and at least one screen pixel.
function one_cell_px() {
  return Math.max(1, cell_px_at(page.map.getZoom()));
}

function on_map_key(event) {
  const arrow = ARROWS[event.key];
  if (arrow) {
    const step = event.shiftKey ? one_cell_px() : PAN_PX;
    const centre = page.map.project(page.map.getCenter());
    const moved = centre.add([arrow[0] * step, arrow[1] * step]);
    page.map.setView(page.map.unproject(moved), page.map.getZoom(), { animate: false });
  } else if (event.key === "+" || event.key === "=") zoom_by_step(1);
  else if (event.key === "-") zoom_by_step(-1);
  else if (event.key === "Enter") read_centre();
  else if (event.key === "n" || event.key === "N") next_zone();
  else return;
  event.preventDefault();
}

// Closes what lies on top: the table, the card, what was found.
function on_escape() {
  if (!find("#table").hidden) close_table();
  else if (document.body.classList.contains("with_card")) close_card();
  else if (find("#bar").classList.contains("finding")) close_find();
  else find(".found").replaceChildren();
}

function start_keys() {
  const holder = page.map.getContainer();
  holder.addEventListener("keydown", on_map_key);
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape") on_escape();
  });
  let waiting = 0; // a wheel or touchpad sends many small turns; one step each 60 units
  holder.addEventListener("wheel", (event) => {
    event.preventDefault();
    waiting += event.deltaMode === 1 ? event.deltaY * 30 : event.deltaY;
    if (Math.abs(waiting) < 60) return;
    const direction = waiting < 0 ? 1 : -1;
    waiting = 0;
    const point = page.map.mouseEventToContainerPoint(event);
    page.map.setZoomAround(point, stepped_zoom(direction), { animate: false });
  }, { passive: false });
  find("#closer").addEventListener("click", () => zoom_by_step(1));
  find("#further").addEventListener("click", () => zoom_by_step(-1));
}
