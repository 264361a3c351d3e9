// The hatch of what is not promised and the dots of what is unknown.
"use strict";

const HATCH_EACH_PX = 10;
const HATCH_FROM_PX = 12; // narrower patches stay plain
const DOT_EACH_PX = 8;

// A repeating pattern that stays with the ground when the map moves.
function pattern_of(context, view, side, paint) {
  const tile = new OffscreenCanvas(Math.round(side * view.density), Math.round(side * view.density));
  const brush = tile.getContext("2d");
  brush.scale(view.density, view.density);
  paint(brush);
  const pattern = context.createPattern(tile, "repeat");
  pattern.setTransform(new DOMMatrix().translate(
    (view.left % side) * view.density, (view.top % side) * view.density,
  ));
  return pattern;
}

function draw_through(context, view, mask, side, paint) {
  const canvas = new OffscreenCanvas(
    Math.max(1, Math.round(view.width * view.density)), Math.max(1, Math.round(view.height * view.density)),
  );
  const brush = canvas.getContext("2d");
  brush.save();
  brush.scale(view.density, view.density);
  draw_enlarged(brush, mask, view);
  brush.restore();
  brush.globalCompositeOperation = "source-in";
  brush.fillStyle = pattern_of(brush, view, side, paint);
  brush.fillRect(0, 0, canvas.width, canvas.height);
  context.drawImage(canvas, 0, 0, view.width, view.height);
}

function paint_hatch(brush) {
  brush.strokeStyle = page.facts.hatch_colour;
  brush.lineWidth = 1;
  for (const start of [-HATCH_EACH_PX, 0, HATCH_EACH_PX]) {
    brush.beginPath();
    brush.moveTo(start - 1, HATCH_EACH_PX + 1);
    brush.lineTo(start + HATCH_EACH_PX + 1, -1);
    brush.stroke();
  }
}

function paint_dot(brush) {
  brush.fillStyle = page.facts.dot_colour;
  brush.beginPath();
  brush.arc(DOT_EACH_PX / 2, DOT_EACH_PX / 2, 1, 0, 2 * Math.PI);
  brush.fill();
}

function draw_patterns(context, view) {
  if (picture.unknown) draw_through(context, view, picture.unknown, DOT_EACH_PX, paint_dot);
  if (page.shows !== "tier" || page.hidden.has(8) || page.ticks.fade) return;
  if (picture.hatch_px !== view.cell_px) {
    picture.hatch_px = view.cell_px;
    picture.hatch = mask_of((index) => picture.patch_width[index] * view.cell_px >= HATCH_FROM_PX && (!picture.zone || picture.zone[index]));
  }
  draw_through(context, view, picture.hatch, HATCH_EACH_PX, paint_hatch);
}
