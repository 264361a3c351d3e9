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
  const packed = Uint8Array.from(atob(holder.textContent.trim()), (letter) => letter.charCodeAt(0));
  const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("deflate"));
  const bytes = new Uint8Array(await new Response(stream).arrayBuffer());
  holder.remove(); // the text is not needed twice
  return bytes;
}

// Promise of one pixel's values in several layers, by name.
async function values_at(index, names) {
  const bytes = await Promise.all(names.map(layer));
  return Object.fromEntries(names.map((name, order) => [name, bytes[order][index]]));
}

// A whole number held as a low and a high byte; null where both are 255.
function from_two_bytes(low, high) {
  return low === 255 && high === 255 ? null : low + 256 * high;
}
