// Pale lines between dark classes: bright light hides the step in tone between them.
"use strict";

const EDGES_FROM_PX = 3;
const EDGES_FROM_TIER = 5;

function draw_edges(context, view) {
  if (page.shows !== "tier" || !page.ticks.edges || page.ticks.fade || page.ticks.zones || view.cell_px < EDGES_FROM_PX - 0.01) return;
  const { rows, cols } = page.facts.grid;
  const tier = picture.tier;
  const dark = (value) => value >= EDGES_FROM_TIER && value <= 8 && !page.hidden.has(value);
  context.beginPath();
  for (let row = view.first_row; row < view.last_row; row++) {
    for (let col = view.first_col; col < view.last_col; col++) {
      const index = row * cols + col;
      if (!dark(tier[index])) continue;
      const east = col + 1 < cols ? tier[index + 1] : tier[index];
      const south = row + 1 < rows ? tier[index + cols] : tier[index];
      if (east !== tier[index] && dark(east)) {
        context.moveTo(view.x(col + 1), view.y(row));
        context.lineTo(view.x(col + 1), view.y(row + 1));
      }
      if (south !== tier[index] && dark(south)) {
        context.moveTo(view.x(col), view.y(row + 1));
        context.lineTo(view.x(col + 1), view.y(row + 1));
      }
    }
  }
  context.strokeStyle = "rgba(251, 249, 245, 0.42)";
  context.lineWidth = 1;
  context.stroke();
}
