// Services of the reader's own choice: a quick estimate in a worker, marked as such.
"use strict";

const ESTIMATE_LEAVES_OUT =
  "It leaves out interference from other transmitters, overload and second antennas, and takes signals in whole dB; the run's own list is exact.";
const worker = { made: null, given: new Set(), number: 0 };

function is_estimate() {
  return page.estimate !== null;
}

// Numbers of the services of one of the run's lists.
function services_of(list) {
  return page.facts.estimate.lists[list.name];
}

function ticked_now() {
  return page.ticked || new Set(services_of(page.list));
}

// The run's list that holds just these services and wants them all; it is exact and needs no estimate.
function list_with(numbers) {
  const same = (list) => {
    const held = new Set(services_of(list));
    return held.size === numbers.size && [...numbers].every((number) => held.has(number)) && list.needed === held.size;
  };
  return page.facts.lists.find(same);
}

function tick_service(number, checked) {
  const numbers = new Set(ticked_now());
  numbers[checked ? "add" : "delete"](number);
  const list = list_with(numbers);
  if (list) return choose_list(list);
  page.ticked = numbers;
  return work_out(numbers);
}

function ticked_words() {
  const { size } = ticked_now();
  if (size === 1) return page.facts.estimate.services[[...ticked_now()][0]].name;
  return `all ${size} ticked services`;
}

async function work_out(numbers) {
  worker.number += 1;
  const number = worker.number;
  if (!numbers.size) return show_estimate({ words: "Nothing is ticked, so nothing is shown. Tick at least one service." });
  show_estimate({ words: "Working it out …" });
  const services = [...numbers].sort((one, other) => one - other).map((service) => page.facts.estimate.services[service].stations);
  try {
    const result = await asked(number, services);
    if (number !== worker.number) return null; // another tick came meanwhile
    return show_estimate(await estimate_record(result));
  } catch (error) {
    return show_estimate({ words: `This browser could not work it out (${error.message || "its worker failed"}). The run's own list is as before.` });
  }
}

// Promise of the worker's answer; it is given each station's levels once.
async function asked(number, services) {
  const fresh = [...new Set(services.flat())].filter((station) => !worker.given.has(station));
  const stations = await Promise.all(fresh.map(async (station) => ({ station, levels: await levels_of(page.facts.stations[station]) })));
  const begin = worker.made ? null : await make_worker();
  return new Promise((resolve, reject) => {
    const answer = ({ data }) => {
      if (data.number !== number) return;
      worker.made.removeEventListener("message", answer);
      resolve(data);
    };
    worker.made.addEventListener("message", answer);
    worker.made.onerror = reject;
    fresh.forEach((station) => worker.given.add(station));
    worker.made.postMessage({ number, services, stations, begin });
  });
}

async function make_worker() {
  const source = new Blob([find("#worker_source").textContent], { type: "text/javascript" });
  worker.made = new Worker(URL.createObjectURL(source));
  const { rows, cols } = page.facts.grid;
  return {
    record: page.facts.estimate,
    mast: page.facts.stations.map((station) => station.mast),
    grid: { rows, cols, step: page.facts.station_step },
    kind: page.facts.estimate.kinds > 1 ? await layer("surroundings") : null,
  };
}

// The answer for every pixel, with what lies outside the map, and the homes of each class.
async function estimate_record({ tier, milliseconds }) {
  const whole = spread_blocks(tier).slice();
  const exact = await layer(`${page.list.name}/tier`);
  exact.forEach((value, index) => { if (value === OUTSIDE) whole[index] = OUTSIDE; });
  return { tier: whole, milliseconds, homes: page.facts.has_homes ? await homes_by_tier(whole) : null };
}

const HOMES_COUNTED = 2; // in layer homes_any: pixels whose sum counts each square once

async function homes_by_tier(tier) {
  const [any, low, high] = await Promise.all(["homes_any", "homes_low", "homes_high"].map(layer));
  const tenths = new Float64Array(256);
  for (let index = 0; index < tier.length; index++) {
    if (any[index] === HOMES_COUNTED) tenths[tier[index]] += low[index] + 256 * high[index];
  }
  return { by_tier: page.facts.tiers.map(({ tier: number }) => tenths[number] / 10), unknown: tenths[UNKNOWN] / 10 };
}

function show_estimate(record) {
  page.estimate = record;
  document.body.dataset.estimate = record.tier ? "there" : "not yet";
  show_summary();
  show_legend();
  show_ladder();
  show_lists();
  show_shows();
  if (!is_wide() && !page.chosen) fit_middle();
  return renew_picture();
}

function no_estimate() {
  worker.number += 1;
  page.ticked = null;
  page.estimate = null;
  delete document.body.dataset.estimate;
}

function badge() {
  return element("b", { class: "badge" }, "quick estimate");
}

// What stands beside the badge above the counts; the section of the wanted stations says it at length.
function estimate_in_short() {
  return page.estimate.words || `of ${ticked_words()}, ${page.facts.confidence_percent}\u00a0% sure, without interference, overload and second antennas.`;
}

function estimate_words() {
  const step = page.facts.station_step;
  const blocks = step > 1 ? ` One value stands for ${step} × ${step} squares.` : "";
  return page.estimate.words || `${page.facts.confidence_percent}\u00a0% sure of ${ticked_words()}. ${ESTIMATE_LEAVES_OUT}${blocks}`;
}

// The list as a scenario writes it; TOML reads a string in double quotes as JSON does.
function scenario_text() {
  const names = [...ticked_now()].sort((one, other) => one - other).map((number) => JSON.stringify(page.facts.estimate.services[number].name));
  return `[wanted.mine]\nservices = [${names.join(", ")}]\n`;
}

// A plate on the map itself, so that no picture of an estimate goes without its name.
function draw_badge(context, view, plates) {
  if (page.estimate && page.estimate.tier) draw_plate(context, "quick estimate", 70, 20, 700, plates);
}

// In the card: the class of this square for the ticks; everything below it is of the run's own list.
function estimate_of_square(pixel) {
  if (!page.estimate || !page.estimate.tier) return null;
  const tier = page.estimate.tier[pixel_index(pixel)];
  if (tier === OUTSIDE) return null;
  const words = tier === UNKNOWN ? "Unknown" : `${tier} ${tier_facts(tier).name}`;
  return element("p", { class: "estimate" }, badge(), ` for ${ticked_words()}: `, element("b", {}, words),
    `. What stands below is exact and of the run's list ${page.list.name}.`);
}
