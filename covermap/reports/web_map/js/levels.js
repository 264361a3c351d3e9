// The layers of the quick estimate: levels are held as differences, each from the one before.
"use strict";

// Promise of one station's levels, one array a height: whole dB(uV/m) + the field's offset, 255 unknown.
async function levels_of(station) {
  const { heights, difference_zero } = page.facts.estimate;
  const id = station.station_id;
  let before = station.has_field ? await layer(`field/${id}`) : null;
  const levels = [];
  for (let number = 0; number < heights; number++) {
    const bytes = await layer(`level/${id}_${number}`);
    before = before ? bytes.map((byte, index) => (byte === UNKNOWN ? UNKNOWN : before[index] + byte - difference_zero)) : bytes.slice();
    levels.push(before);
  }
  return levels;
}
