// Numbers and messages as people read them; the messages and thresholds arrive as facts, from covermap/wording.
"use strict";

// A message with its names filled in; where it has two forms, a count of 1 takes the first.
function say(key, values = {}) {
  const { words } = page.facts;
  const text = words[key] ?? words[`${key}.${Number(values.count) === 1 ? "one" : "other"}`];
  return text.replace(/\{(\w+)\}/g, (_, name) => values[name]);
}

function half_up(value) {
  return Math.floor(value + 0.5);
}

function capital(text) {
  return text.charAt(0).toUpperCase() + text.slice(1);
}

function percent_text(number) {
  return `${number}\u00a0%`;
}

// highest: with the highest class of antenna, so that no next one up can be spoken of.
function chance_in_words(percent, highest = false) {
  const word = page.facts.chance_words.find(([lowest]) => percent >= lowest || lowest === 0)[1];
  return highest === true && word === say("chance.unlikely") ? say("chance.unlikely_with_any") : word;
}

// Steps of 5 % that never cross into another word.
function chance_number(percent) {
  if (percent < 10) return say("number.under", { number: percent_text(10) });
  if (percent > 90) return say("number.better_than", { number: percent_text(90) });
  let step = 5 * half_up(percent / 5);
  if (chance_in_words(step) !== chance_in_words(percent)) step -= 5;
  return percent_text(step);
}

// Number and word; of more than 90 % the number alone.
function chance_text(percent, highest = false) {
  if (percent > 90) return say("number.better_than", { number: percent_text(90) });
  return `${chance_number(percent)}, ${chance_in_words(percent, highest)}`;
}

function two_figures(count) {
  if (count < 100) return half_up(count);
  const step = 10 ** (Math.floor(Math.log10(count)) - 1);
  return half_up(count / step) * step;
}

function thousands(count) {
  return String(count).replace(/\B(?=(\d{3})+$)/g, say("language.thousands"));
}

function decimal(value, digits) {
  const [whole, part] = value.toFixed(digits).split(".");
  return part ? `${thousands(whole)}${say("language.decimal")}${part}` : thousands(whole);
}

function few() {
  return say("number.under", { number: page.facts.small_count });
}

function homes_number(count) {
  if (count === 0) return say("number.none");
  return count < page.facts.small_count ? few() : thousands(two_figures(count));
}

// A count before its noun: no homes, 120 homes.
function homes_text(count) {
  return count === 0 ? say("page.no_homes") : say("page.homes", { count: homes_number(count) });
}

function share_number(percent) {
  return percent > 0 && percent < 1 ? say("number.under", { number: percent_text(1) }) : percent_text(half_up(percent));
}

function distance_text(distance_km) {
  const value = page.units.distance === "mi" ? distance_km / page.facts.km_per_mile : distance_km;
  const tenths = half_up(value * 10) / 10;
  return `${tenths < 10 ? decimal(tenths, 1) : thousands(half_up(value))} ${page.units.distance}`;
}

function height_text(value_m) {
  return `${thousands(half_up(page.units.height === "ft" ? value_m * page.facts.feet_per_m : value_m))} ${page.units.height}`;
}

function whole_degrees(azimuth_deg) {
  return half_up(((azimuth_deg % 360) + 360) % 360) % 360;
}

// How far two azimuths stand apart, 0 to 180 degrees.
function apart_deg(one_deg, other_deg) {
  return Math.abs(((one_deg - other_deg + 540) % 360 + 360) % 360 - 180);
}

function joined(parts) {
  return parts.length < 2 ? parts.join("") : `${parts.slice(0, -1).join(", ")} ${say("number.and")} ${parts.at(-1)}`;
}

function date_text(iso) {
  const [year, month, day] = iso.split("-").map(Number);
  const name = say("number.months").split(" ")[month - 1];
  return name && day ? say("number.day", { day, month: name, year }) : iso;
}

function stations_date() {
  const { stations_as_of } = page.facts;
  return stations_as_of ? say("page.as_of", { date: date_text(stations_as_of) }) : say("page.no_date");
}

function sure_text() {
  return say("page.sure", { percent: percent_text(page.facts.confidence_percent) });
}
