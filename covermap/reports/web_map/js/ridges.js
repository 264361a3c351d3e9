// The ridges that shade most homes: a peak's outline with its height above the line of sight.
"use strict";

const HEIGHT_FROM_PX = 4; // squares are at least this wide when heights are written

function draw_ridges(context, view, plates) {
  if (!page.ticks.ridges) return;
  for (const ridge of page.list.ridges) {
    const { x, y } = screen_point(ridge);
    if (x < -40 || y < -20 || x > view.width + 40 || y > view.height + 20) continue;
    if (plates.some((plate) => touches(plate, x - 9, y - 9, 18, 16))) continue;
    plates.push({ x: x - 9, y: y - 9, width: 18, height: 16 });
    for (const [width, colour] of [[6, PAPER], [2.6, INK]]) {
      context.lineWidth = width;
      context.lineJoin = "round";
      context.lineCap = "round";
      context.strokeStyle = colour;
      context.beginPath();
      context.moveTo(x - 8, y + 5);
      context.lineTo(x - 1, y - 6);
      context.lineTo(x + 3, y);
      context.lineTo(x + 5, y - 2);
      context.lineTo(x + 9, y + 5);
      context.stroke();
    }
    if (view.cell_px >= HEIGHT_FROM_PX) draw_plate(context, ridge_words(ridge), x, y + 19, 600, plates);
  }
}

function ridge_words(ridge) {
  const homes = ridge.homes_shaded == null ? "" : `, ${say("page.homes", { count: homes_number(ridge.homes_shaded) })}`;
  return `${say("page.ridge_over", { height: height_text(ridge.above_line_m) })}${homes}`;
}
