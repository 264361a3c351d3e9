// The canvas that lies in the Leaflet map and is drawn again whenever the map moves.
"use strict";

const MERCATOR_WORLD_M = 2 * Math.PI * 6378137; // once round the equator in Web Mercator
const TILE_PX = 256; // Leaflet's world is 256 px wide at zoom 0
const MOST_PX = 48; // a cell is never shown wider, so that no one reads a house into it
const PX_STEPS = [0.25, 0.5, 0.75, 1, 1.5, 2, 3, 4, 5, 6, 8, 10, 12, 16, 20, 24, 32, 40, MOST_PX];

function zoom_for(cell_px) {
  return Math.log2((cell_px * MERCATOR_WORLD_M) / (TILE_PX * page.facts.grid.pixel_m));
}

function cell_px_at(zoom) {
  return (page.facts.grid.pixel_m * TILE_PX * 2 ** zoom) / MERCATOR_WORLD_M;
}

// The next wider (+1) or narrower (-1) step; whole pixels a cell keep the squares even.
function stepped_zoom(direction) {
  const now = cell_px_at(page.map.getZoom());
  const steps = direction > 0 ? PX_STEPS : [...PX_STEPS].reverse();
  const next = steps.find((px) => (direction > 0 ? px > now * 1.01 : px < now * 0.99));
  const zoom = next === undefined ? page.map.getZoom() : zoom_for(next);
  return Math.min(page.map.getMaxZoom(), Math.max(page.map.getMinZoom(), zoom));
}

const CellLayer = L.Layer.extend({
  onAdd(map) {
    this.canvas = L.DomUtil.create("canvas", "cells", map.getPane("overlayPane"));
    this.waiting = false;
    this.redraw();
  },

  onRemove() {
    this.canvas.remove();
  },

  getEvents() {
    return { move: this.redraw, moveend: this.redraw, zoom: this.redraw, viewreset: this.redraw, resize: this.redraw };
  },

  redraw() {
    if (this.waiting) return;
    this.waiting = true;
    requestAnimationFrame(() => {
      this.waiting = false;
      this.draw_now();
    });
  },

  // Where the pixel grid stands on the screen: everything that draws takes this record.
  view() {
    const size = page.map.getSize();
    const corner = page.map.latLngToContainerPoint(place_of(0, 0));
    const cell_px = cell_px_at(page.map.getZoom());
    const grid = page.facts.grid;
    return {
      width: size.x, height: size.y, cell_px, left: corner.x, top: corner.y,
      first_row: Math.max(0, Math.floor(-corner.y / cell_px)),
      last_row: Math.min(grid.rows, Math.ceil((size.y - corner.y) / cell_px)),
      first_col: Math.max(0, Math.floor(-corner.x / cell_px)),
      last_col: Math.min(grid.cols, Math.ceil((size.x - corner.x) / cell_px)),
      x: (col) => corner.x + col * cell_px,
      y: (row) => corner.y + row * cell_px,
      density: page.density || window.devicePixelRatio || 1,
    };
  },

  draw_now() {
    const view = this.view();
    const canvas = this.canvas;
    L.DomUtil.setPosition(canvas, page.map.containerPointToLayerPoint([0, 0]));
    canvas.width = Math.round(view.width * view.density);
    canvas.height = Math.round(view.height * view.density);
    canvas.style.width = `${view.width}px`;
    canvas.style.height = `${view.height}px`;
    const context = canvas.getContext("2d");
    context.scale(view.density, view.density);
    draw_everything(context, view);
  },
});

// What lies on what, from below.
function draw_everything(context, view) {
  if (!picture.canvas) return;
  const plates = [];
  const by_area = areas_show() && areas.canvas;
  document.body.dataset.squares = by_area ? "no" : "yes";
  if (by_area) draw_areas(context, view);
  else {
    draw_cells(context, view);
    draw_kinds(context, view);
    draw_patterns(context, view);
    draw_edges(context, view);
    draw_context(context, view);
    draw_area_lines(context, view);
  }
  draw_border(context, view);
  if (page.ticks.masts) draw_aim_line(context, view);
  else if (page.chosen) page.chosen.ends = [];
  draw_badge(context, view, plates);
  plates.push(...control_plates());
  draw_masts(context, view, plates);
  if (by_area) draw_area_plates(context, view, plates);
  draw_ridges(context, view, plates);
  if (!by_area) {
    draw_area_names(context, view, plates);
    draw_places(context, view, plates);
    draw_labels(context, view, plates);
    draw_numbers(context, view, plates);
    draw_kind_marks(context, view, plates);
  }
  draw_chosen(context, view);
  draw_scale(view);
  document.body.dataset.drawn = String(Number(document.body.dataset.drawn || 0) + 1);
}
