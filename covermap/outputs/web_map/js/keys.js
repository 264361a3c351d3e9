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
}

function on_map_key(event) {
  const arrow = ARROWS[event.key];
  if (arrow) {
    const step = event.shiftKey ? Math.max(1, Math.round(cell_px_at(page.map.getZoom()))) : PAN_PX;
    page.map.panBy([arrow[0] * step, arrow[1] * step], { animate: false });
  } else if (event.key === "+" || event.key === "=") zoom_by_step(1);
  else if (event.key === "-") zoom_by_step(-1);
  else if (event.key === "Enter") read_centre();
  else return;
  event.preventDefault();
}

function start_keys() {
  const holder = page.map.getContainer();
  holder.addEventListener("keydown", on_map_key);
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && page.chosen) close_card();
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
