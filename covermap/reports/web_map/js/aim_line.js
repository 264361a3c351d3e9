// The aim from the chosen square: a dashed line that ends at the mast it points to.
"use strict";

const SAME_AIM_DEG = 1; // aims are whole degrees

// Where the lines of the chosen square go: screen points. An aim at no mast ends as far off as the nearest one aside.
function aim_ends(view) {
  const { cell, row, col } = page.chosen;
  if (!cell || cell.tier > 8) return [];
  const [x, y] = [view.x(col + 0.5), view.y(row + 0.5)];
  return aims_deg(cell).map((aim_deg) => {
    const groups = aim_groups(cell).map((group) => ({ ...group, apart: apart_deg(group.azimuth_deg, aim_deg) }));
    const nearest = groups.sort((one, other) => one.apart - other.apart || one.distance_km - other.distance_km)[0];
    const mast = screen_point(nearest.mast);
    if (nearest.apart <= SAME_AIM_DEG) return { x: mast.x, y: mast.y };
    const [angle, length] = [(aim_deg * Math.PI) / 180, Math.hypot(mast.x - x, mast.y - y)];
    return { x: x + Math.sin(angle) * length, y: y - Math.cos(angle) * length };
  });
}

// Whether a point lies on the chosen square or an aim line, where a number could not be read.
function on_aim_line(view, x, y) {
  if (!page.chosen) return false;
  const [from_x, from_y] = [view.x(page.chosen.col + 0.5), view.y(page.chosen.row + 0.5)];
  if (Math.hypot(x - from_x, y - from_y) < 28) return true;
  return page.chosen.ends.some((end) => {
    const [dx, dy] = [end.x - from_x, end.y - from_y];
    const length = Math.hypot(dx, dy) || 1;
    const along = ((x - from_x) * dx + (y - from_y) * dy) / length;
    const aside = ((x - from_x) * dy - (y - from_y) * dx) / length;
    return along > 0 && along < length + 15 && Math.abs(aside) < 15;
  });
}

function draw_aim_line(context, view) {
  if (!page.chosen) return;
  page.chosen.ends = aim_ends(view);
  const [x, y] = [view.x(page.chosen.col + 0.5), view.y(page.chosen.row + 0.5)];
  const near = chosen_side(view) / 2 + 5;
  context.save();
  for (const end of page.chosen.ends) {
    const length = Math.hypot(end.x - x, end.y - y);
    if (length <= near) continue;
    for (const [width, colour, dash] of [[6, PAPER, []], [2.5, INK, [10, 6]]]) {
      context.lineWidth = width;
      context.strokeStyle = colour;
      context.setLineDash(dash);
      context.beginPath();
      context.moveTo(x + ((end.x - x) * near) / length, y + ((end.y - y) * near) / length);
      context.lineTo(end.x, end.y);
      context.stroke();
    }
  }
  context.restore();
}
