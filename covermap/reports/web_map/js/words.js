// Numbers as people read them; the same rules as covermap/wording/words.py, whose thresholds arrive as facts.
"use strict";

function half_up(value) {
  return Math.floor(value + 0.5);
}

function chance_in_words(percent) {
  return page.facts.chance_words.find(([lowest]) => percent >= lowest || lowest === 0)[1];
}

// Steps of 5 % that never cross into another word.
function chance_number(percent) {
  if (percent < 10) return "under 10\u00a0%";
  if (percent > 90) return "over 90\u00a0%";
  let step = 5 * half_up(percent / 5);
  if (chance_in_words(step) !== chance_in_words(percent)) step -= 5;
  return `${step}\u00a0%`;
}

function two_figures(count) {
  if (count < 100) return half_up(count);
  const step = 10 ** (Math.floor(Math.log10(count)) - 1);
  return half_up(count / step) * step;
}

function thousands(count) {
  return String(count).replace(/\B(?=(\d{3})+$)/g, ",");
}

function homes_number(count) {
  if (count === 0) return "none";
  return count < page.facts.small_count ? `under ${page.facts.small_count}` : thousands(two_figures(count));
}

function share_number(percent) {
  return percent > 0 && percent < 1 ? "under 1\u00a0%" : `${half_up(percent)}\u00a0%`;
}

function distance_text(distance_km) {
  const miles = page.facts.distance_unit === "mi";
  const value = miles ? distance_km / page.facts.km_per_mile : distance_km;
  const tenths = half_up(value * 10) / 10;
  return `${tenths < 10 ? tenths.toFixed(1) : thousands(half_up(value))} ${page.facts.distance_unit}`;
}

function whole_degrees(azimuth_deg) {
  return half_up(((azimuth_deg % 360) + 360) % 360) % 360;
}

// How far two azimuths stand apart, 0 to 180 degrees.
function apart_deg(one_deg, other_deg) {
  return Math.abs(((one_deg - other_deg + 540) % 360 + 360) % 360 - 180);
}

function joined(parts) {
  return parts.length < 2 ? parts.join("") : `${parts.slice(0, -1).join(", ")} and ${parts.at(-1)}`;
}

function date_text(iso) {
  const [year, month, day] = iso.split("-").map(Number);
  const months = "January February March April May June July August September October November December".split(" ");
  return months[month - 1] && day ? `${day} ${months[month - 1]} ${year}` : iso;
}
