// Small line drawings of the card: elements of SVG; only attributes, so that the page's policy lets them be.
"use strict";

const LAND_FAR = "#5E6064";
const LAND_NEAR = "#CFC8BA";
const ACCENT = "#0B4F8A";
const DRAWING_WIDTH = 332;

function drawn(tag, attributes, ...children) {
  const made = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  made.append(...children.flat().filter((child) => child != null));
  return made;
}

function drawing(label, top, height, ...children) {
  return drawn("svg", {
    viewBox: `0 ${top} ${DRAWING_WIDTH} ${height}`, role: "img", "aria-label": label, class: "drawing",
  }, ...children);
}

// Text with a pale edge, so that it can be read over a line.
function drawn_text(x, y, text, { anchor = "middle", weight = 400, size = 13 } = {}) {
  return drawn("text", {
    x: x.toFixed(1), y: y.toFixed(1), "text-anchor": anchor, "font-size": size, "font-weight": weight,
    fill: INK, stroke: "#FBF9F5", "stroke-width": 3, "stroke-linejoin": "round", "paint-order": "stroke",
  }, text);
}

function polyline(points) {
  return points.map(([x, y]) => `${x.toFixed(1)} ${y.toFixed(1)}`).join("L");
}

// Round numbers inside a range, about as many as asked for.
function round_steps(low, high, count) {
  const rough = (high - low) / count;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((factor) => factor * power).find((one) => one >= rough);
  const steps = [];
  for (let level = Math.ceil(low / step) * step; level <= high; level += step) steps.push(Number(level.toPrecision(12)));
  return steps;
}
