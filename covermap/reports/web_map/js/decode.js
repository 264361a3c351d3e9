// Value layers: one byte a pixel, unpacked when first needed.
"use strict";

const UNKNOWN = 255;
const OUTSIDE = 254;
const unpacked = new Map();

// Promise of a layer's bytes, by its name, for example "main/tier" or "field/S1".
function layer(name) {
  if (!unpacked.has(name)) unpacked.set(name, unpack(name));
  return unpacked.get(name);
}

async function unpack(name) {
  const holder = document.getElementById(`layer:${name}`);
  const text = atob(holder.textContent.trim());
  const packed = new Uint8Array(text.length);
  for (let index = 0; index < text.length; index++) packed[index] = text.charCodeAt(index);
  const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("deflate"));
  const bytes = new Uint8Array(await new Response(stream).arrayBuffer());
  holder.remove(); // the text is not needed twice
  return bytes;
}

// Unpacks what a card of the list shown will ask for, a layer at a time while nothing else is to be done.
async function unpack_ahead() {
  const idle = window.requestIdleCallback || ((then) => setTimeout(then, 30));
  const holders = Array.from(document.querySelectorAll('script[id^="layer:"]'), (holder) => holder.id.slice(6));
  const shared = ["flags", "homes_low", "homes_high", "heights"];
  const asked = (name) => shared.includes(name) || name.startsWith("field/") || name.startsWith("service_tiers/")
    || name.startsWith(`${page.list.name}/`);
  for (const name of holders.filter(asked)) {
    await new Promise((then) => idle(then));
    await layer(name);
  }
}

// Layers of single stations and services share one value in a block of station_step pixels a side.
function is_by_station(name) {
  return name.startsWith("alone/") || name.startsWith("antenna") || name.startsWith("service_tiers/") || name.startsWith("field/") || name.includes("/service_chance_");
}

function index_in(name, { row, col }) {
  const step = is_by_station(name) ? page.facts.station_step : 1;
  return Math.floor(row / step) * Math.ceil(page.facts.grid.cols / step) + Math.floor(col / step);
}

// Promise of one pixel's values in several layers, by name.
async function values_at(pixel, names) {
  const bytes = await Promise.all(names.map(layer));
  return Object.fromEntries(names.map((name, order) => [name, bytes[order][index_in(name, pixel)]]));
}

// Promise of a layer with a value for every pixel.
async function whole_layer(name) {
  const bytes = await layer(name);
  return is_by_station(name) ? spread_blocks(bytes) : bytes;
}

// The value of each pixel from those of the blocks of station_step pixels a side.
function spread_blocks(bytes) {
  const { rows, cols } = page.facts.grid;
  const step = page.facts.station_step;
  if (step === 1) return bytes;
  const block_cols = Math.ceil(cols / step);
  const whole = new Uint8Array(rows * cols);
  for (let row = 0, index = 0; row < rows; row++) {
    const first = Math.floor(row / step) * block_cols;
    for (let col = 0; col < cols; col++, index++) whole[index] = bytes[first + Math.floor(col / step)];
  }
  return whole;
}

// A whole number held as a low and a high byte; null where both are 255.
function from_two_bytes(low, high) {
  return low === 255 && high === 255 ? null : low + 256 * high;
}
