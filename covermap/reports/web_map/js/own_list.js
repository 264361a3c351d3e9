// Services of the reader's own choice: the class that all of them together need at least.
"use strict";

const own_work = { number: 0 };

function is_own() {
  return page.own !== null;
}

// Numbers of the services of one of the run's lists.
function services_of(list) {
  return page.facts.own_list.lists[list.name];
}

function ticked_now() {
  return page.ticked || new Set(services_of(page.list));
}

// The run's list that holds just these services and wants them all.
function list_with(numbers) {
  return page.facts.lists.find((list) => {
    const held = new Set(services_of(list));
    return held.size === numbers.size && [...numbers].every((number) => held.has(number)) && list.needed === held.size;
  });
}

function set_ticked(numbers) {
  const list = list_with(numbers);
  if (list) return choose_list(list);
  page.ticked = numbers;
  return work_out(numbers);
}

function tick_services(some, checked) {
  const numbers = new Set(ticked_now());
  for (const number of some) numbers[checked ? "add" : "delete"](number);
  return set_ticked(numbers);
}

function ticked_words() {
  const { size } = ticked_now();
  if (size === 1) return page.facts.own_list.services[[...ticked_now()][0]].name;
  return say("page.own.ticked", { count: size });
}

async function work_out(numbers) {
  own_work.number += 1;
  const { number } = own_work;
  if (!numbers.size) return show_own({ words: say("page.own.nothing") });
  const tier = await least_classes(numbers);
  const homes = page.facts.has_homes ? await homes_by_tier(tier) : null;
  return number === own_work.number ? show_own({ tier, homes }) : null; // else another tick came meanwhile
}

// For every pixel the highest class that one of the services needs by itself, or a list of the run that is
// ticked whole. One more service can only make it higher.
async function least_classes(numbers) {
  const whole = page.facts.lists.filter((list) => services_of(list).every((number) => numbers.has(number)));
  const [of_run, ...bytes] = await Promise.all([layer(`${page.list.name}/tier`),
    ...[...numbers].map((number) => whole_layer(`alone/${number}`)), ...whole.map((list) => layer(`${list.name}/tier`))]);
  const rank = new Uint16Array(256).map((_, value) => (value === 8 ? 1000 : value === UNKNOWN ? 500 : value));
  rank[OUTSIDE] = 0;
  const found = new Uint8Array(of_run.length);
  for (let index = 0; index < found.length; index++) {
    let highest = 0;
    for (const one of bytes) if (rank[one[index]] > rank[highest]) highest = one[index];
    found[index] = of_run[index] === OUTSIDE ? OUTSIDE : highest;
  }
  return found;
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

function show_own(record) {
  page.own = record;
  document.body.dataset.own = record.tier ? "there" : "not yet";
  show_panel();
  return renew_picture();
}

function no_own_list() {
  own_work.number += 1;
  page.ticked = null;
  page.own = null;
  delete document.body.dataset.own;
}

function badge() {
  return element("b", { class: "badge" }, say("page.own.badge"));
}

// Under the run's three numbers, never in their place.
function own_list_rows() {
  if (!is_own()) return [];
  if (!page.own.tier) return [element("p", { class: "own_list" }, page.own.words)];
  const told = element("p", { class: "own_list" }, badge(), " ", say("page.own.of", { list: ticked_words(), sure: sure_text() }));
  const { homes } = page.own;
  if (!homes) return [told];
  return [told,
    number_row(homes_number(homes.by_tier[7]), say("page.own.homes_not_promised")),
    number_row(homes_number(homes.by_tier.slice(4).reduce((sum, count) => sum + count, 0)), say("page.own.homes_roof"))];
}

// Homes of a class, each service by itself; nothing where none are counted.
function own_list_count(tier) {
  const { homes } = page.own;
  return homes ? homes_number(tier ? homes.by_tier[tier - 1] : homes.unknown) : "";
}

function own_list_words() {
  const step = page.facts.station_step;
  return page.own.words || say("page.own.words", { list: ticked_words(), sure: sure_text() }) + (step > 1 ? ` ${say("page.blocks", { step })}` : "");
}

// The list as a scenario writes it; TOML reads a string in double quotes as JSON does.
function scenario_text() {
  const names = [...ticked_now()].sort((one, other) => one - other).map((number) => JSON.stringify(page.facts.own_list.services[number].name));
  return `[wanted.mine]\nservices = [${names.join(", ")}]\n`;
}

// A plate on the map itself, so that no picture of a bound goes without its name.
function draw_badge(context, view, plates) {
  if (page.own && page.own.tier && page.shows === "tier") draw_plate(context, say("page.own.plate"), 96, 20, 700, plates);
}

// In the card: the least class of this square for the ticks; everything below it is of the run's own list.
function own_list_of_square(pixel) {
  if (!page.own || !page.own.tier) return null;
  const tier = page.own.tier[pixel_index(pixel)];
  if (tier === OUTSIDE) return null;
  return element("p", { class: "own_list" }, badge(), " ", element("b", {}, tier === UNKNOWN ? say("page.unknown") : class_words(tier)),
    ` ${say("page.own.of_square", { list: ticked_words(), run_list: page.list.name })}`);
}
