// The quick estimate in the browser: the same rules, in the same order, as estimate.py. Runs in a worker.
"use strict";

const NEVER_DB = -1000; // margin of a transmitter that is not known here
const NO_LEVEL = 255;
const NOT_PROMISED = 8;

// Figures and tables of the page's record as typed arrays; figures by kind, tier and station in one row.
function estimate_numbers(record) {
  const flat = (nested) => Float64Array.from(nested.flat(3));
  return {
    ...record,
    tiers: record.height.length,
    stations: record.polarization.length,
    ...Object.fromEntries(
      ["need", "own_inverse", "common_ratio", "total_inverse", "rolloff", "floor_db", "cross_db",
        "share", "arctan", "points", "weights", "mast_row", "mast_col"].map((name) => [name, flat(record[name])])),
  };
}

// The transmitters of some services in mast order; services: for each the indices of its stations.
function ticked(services, mast, polarization) {
  const pairs = services.flatMap((group, service) => group.map((station) => ({ mast: mast[station], station, service })));
  pairs.sort((one, other) => one.mast - other.mast || one.station - other.station || one.service - other.service);
  const fixed = [...new Set(pairs.map(({ station }) => polarization[station]))].filter((one) => one !== 2).sort();
  const masts = [...new Set(pairs.map((pair) => pair.mast))];
  return {
    station: Int32Array.from(pairs, (pair) => pair.station),
    mast: Int32Array.from(pairs, (pair) => pair.mast),
    mast_order: Int32Array.from(pairs, (pair) => masts.indexOf(pair.mast)),
    service: Int32Array.from(pairs, (pair) => pair.service),
    alone: Uint8Array.from(pairs, (pair) => Number(services[pair.service].length === 1)), // its service's only way
    services: services.length,
    masts,
    mounts: fixed.length ? fixed : [0],
  };
}

function table_value(table, position) {
  if (position <= 0) return table[0];
  if (position >= table.length - 1) return table[table.length - 1];
  const index = Math.floor(position);
  return table[index] + (table[index + 1] - table[index]) * (position - index);
}

function share_below(deviation, rules) {
  return table_value(rules.share, (deviation + rules.share_ends) * rules.share_steps);
}

// Azimuth from a square to a mast, from pixels; row and col of the square's middle.
function bearing_deg(row, col, mast, rules) {
  const east = rules.mast_col[mast] - col, north = row - rules.mast_row[mast];
  const across = Math.abs(east), along = Math.abs(north);
  if (across === 0 && along === 0) return 0;
  let angle = across > along
    ? 90 - table_value(rules.arctan, along / across * rules.arctan_steps)
    : table_value(rules.arctan, across / along * rules.arctan_steps);
  if (north < 0) angle = 180 - angle;
  if (east < 0) angle = 360 - angle;
  angle -= rules.turn_deg * east;
  if (angle < 0) return angle + 360;
  return angle >= 360 ? angle - 360 : angle;
}

// Each mast's bearing, the bisector of every two, and a circle; returns how many aims there are.
function fill_aims(towards, aims, circle_step_deg) {
  let count = 0;
  for (const bearing of towards) aims[count++] = bearing;
  for (let one = 0; one < towards.length; one++) for (let other = one + 1; other < towards.length; other++) {
    let middle = (towards[one] + towards[other]) * 0.5;
    if (Math.abs(towards[one] - towards[other]) > 180) middle = middle < 180 ? middle + 180 : middle - 180;
    aims[count++] = middle;
  }
  for (let step = 0; step < 360; step += circle_step_deg) aims[count++] = step;
  return count;
}

// A transmitter's margin at an aim, in dB.
function margin_at(item, aim, mount, tier, wanted, rules, home) {
  const figure = tier * rules.stations + wanted.station[item];
  let apart = Math.abs(aim - home.bearing[item]);
  apart = apart < 180 ? apart : 360 - apart;
  let loss = rules.rolloff[figure] * apart * apart;
  if (loss > rules.floor_db[figure]) loss = rules.floor_db[figure];
  const cross = rules.cross_db[mount * rules.tiers * rules.stations + figure];
  if (loss < cross) loss = cross;
  return home.clear[item] - loss;
}

// Chooses each service's best transmitter at an aim; returns whether each alone is sure enough.
function set_aim(aim, mount, kind, tier, wanted, rules, home) {
  const figures = (kind * rules.tiers + tier) * rules.stations;
  const tight = home.tightest; // looked at first: where it fails, the others need no look
  if (tight >= 0) {
    const margin = margin_at(tight, aim, mount, tier, wanted, rules, home);
    if (margin * rules.total_inverse[figures + wanted.station[tight]] < rules.deviation) return false;
  }
  home.best.fill(NEVER_DB);
  for (let item = 0; item < wanted.station.length; item++) {
    home.margin[item] = margin_at(item, aim, mount, tier, wanted, rules, home);
    const total = home.margin[item] * rules.total_inverse[figures + wanted.station[item]];
    if (wanted.alone[item] && total < rules.deviation) return false;
    const service = wanted.service[item];
    if (total > home.best[service]) {
      home.best[service] = total;
      home.chosen[service] = item;
    }
  }
  for (let service = 0; service < wanted.services; service++) if (home.best[service] < rules.deviation) return false;
  return true;
}

// Chance that every service arrives with the transmitters chosen: on one mast the worst decides.
function chance_of_all(kind, tier, wanted, rules, home) {
  const figures = (kind * rules.tiers + tier) * rules.stations;
  const { own, ratio, starts } = home;
  let chosen = 0, mast = -1;
  for (let item = 0; item < wanted.station.length; item++) {
    if (home.chosen[wanted.service[item]] !== item) continue;
    const station = wanted.station[item];
    own[chosen] = home.margin[item] * rules.own_inverse[figures + station];
    ratio[chosen] = rules.common_ratio[figures + station];
    starts[chosen++] = wanted.mast[item] === mast ? 0 : 1; // the first of its mast
    mast = wanted.mast[item];
  }
  let total = 0;
  for (let point = 0; point < rules.points.length; point++) {
    let product = 1, worst = 0;
    for (let place = 0; place < chosen; place++) {
      const shifted = own[place] + ratio[place] * rules.points[point];
      if (starts[place]) {
        if (place) product *= share_below(worst, rules);
        worst = shifted;
      } else if (shifted < worst) worst = shifted;
    }
    product *= share_below(worst, rules);
    total += rules.weights[point] * product;
  }
  return total;
}

function tier_suffices(kind, tier, aim_count, aims, wanted, rules, home) {
  for (let aim = 0; aim < aim_count; aim++) {
    for (const mount of wanted.mounts) {
      if (!set_aim(aims[aim], mount, kind, tier, wanted, rules, home)) continue;
      if (chance_of_all(kind, tier, wanted, rules, home) >= rules.confidence) return true;
    }
  }
  return false;
}

// Whether every service would be sure enough alone with the antenna aimed at it.
function reachable(kind, tier, wanted, rules, home) {
  const figures = (kind * rules.tiers + tier) * rules.stations;
  home.best.fill(NEVER_DB);
  let least = Infinity;
  home.tightest = -1;
  for (let item = 0; item < wanted.station.length; item++) {
    const total = home.clear[item] * rules.total_inverse[figures + wanted.station[item]];
    if (total > home.best[wanted.service[item]]) home.best[wanted.service[item]] = total;
    if (wanted.alone[item] && total < least) {
      least = total;
      home.tightest = item;
    }
  }
  for (let service = 0; service < wanted.services; service++) if (home.best[service] < rules.deviation) return false;
  return true;
}

function all_known(level, index, wanted, known) {
  known.fill(0);
  for (let item = 0; item < wanted.station.length; item++) {
    let whole = 1;
    for (let height = 0; height < level.length; height++) if (level[height][wanted.station[item]][index] === NO_LEVEL) whole = 0;
    if (whole) known[wanted.service[item]] = 1;
  }
  for (let service = 0; service < wanted.services; service++) if (!known[service]) return false;
  return true;
}

// The class of one square: 1 to 7, 8 not promised, 255 unknown.
function tier_of_square(index, row, col, squares, wanted, rules, home) {
  if (!all_known(squares.level, index, wanted, home.known)) return NO_LEVEL;
  for (let order = 0; order < wanted.masts.length; order++) home.towards[order] = bearing_deg(row, col, wanted.masts[order], rules);
  for (let item = 0; item < wanted.mast.length; item++) home.bearing[item] = home.towards[wanted.mast_order[item]];
  const aim_count = fill_aims(home.towards, home.aims, rules.circle_step_deg);
  const kind = squares.kind ? squares.kind[index] : 0;
  for (let tier = 0; tier < rules.tiers; tier++) {
    const level = squares.level[rules.height[tier]], figures = (kind * rules.tiers + tier) * rules.stations;
    for (let item = 0; item < wanted.station.length; item++) {
      const byte = level[wanted.station[item]][index];
      home.clear[item] = byte === NO_LEVEL ? NEVER_DB : byte - rules.need[figures + wanted.station[item]];
    }
    if (!reachable(kind, tier, wanted, rules, home)) continue;
    if (tier_suffices(kind, tier, aim_count, home.aims, wanted, rules, home)) return tier + 1;
  }
  return NOT_PROMISED;
}

// squares: level (by height and station) and kind, a value each block; step: pixels a side of a block.
function quick_estimate(squares, rows, cols, step, wanted, rules) {
  const pairs = (wanted.masts.length * (wanted.masts.length - 1)) / 2;
  const numbers = (count) => new Float64Array(count);
  const home = {
    clear: numbers(wanted.station.length), bearing: numbers(wanted.station.length), margin: numbers(wanted.station.length),
    own: numbers(wanted.services), ratio: numbers(wanted.services), starts: new Uint8Array(wanted.services),
    best: numbers(wanted.services), chosen: new Int32Array(wanted.services), known: new Uint8Array(wanted.services), tightest: -1, towards: numbers(wanted.masts.length),
    aims: numbers(wanted.masts.length + pairs + 360 / rules.circle_step_deg),
  };
  const middle = (block, size) => Math.min(block * step + Math.floor(step / 2), size - 1) + 0.5;
  const [block_rows, block_cols] = [Math.ceil(rows / step), Math.ceil(cols / step)];
  const tier = new Uint8Array(block_rows * block_cols);
  for (let row = 0, index = 0; row < block_rows; row++) for (let col = 0; col < block_cols; col++, index++) {
    tier[index] = tier_of_square(index, middle(row, rows), middle(col, cols), squares, wanted, rules, home);
  }
  return tier;
}
