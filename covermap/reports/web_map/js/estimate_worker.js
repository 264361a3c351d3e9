// What the worker does: it is given the numbers once and each station's levels once, then lists to work out.
"use strict";

const held = { rules: null, squares: { level: null, kind: null }, mast: null, grid: null };

function begin({ record, mast, grid, kind }) {
  held.rules = estimate_numbers(record);
  held.squares = { level: Array.from({ length: record.heights }, () => []), kind };
  Object.assign(held, { mast, grid });
}

self.onmessage = ({ data }) => {
  if (data.begin) begin(data.begin);
  for (const { station, levels } of data.stations) {
    levels.forEach((level, height) => { held.squares.level[height][station] = level; });
  }
  const started = performance.now();
  const wanted = ticked(data.services, held.mast, held.rules.polarization);
  const { rows, cols, step } = held.grid;
  const tier = quick_estimate(held.squares, rows, cols, step, wanted, held.rules);
  self.postMessage({ number: data.number, tier, milliseconds: performance.now() - started }, [tier.buffer]);
};
