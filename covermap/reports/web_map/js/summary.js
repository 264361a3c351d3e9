// The three numbers that stand before any click.
"use strict";

function number_row(number, words, range) {
  const prefix = /^under (.*)$/.exec(number);
  const shown = prefix ? [element("i", {}, "under "), prefix[1]] : [number];
  return element("div", {}, element("b", {}, ...shown), element("span", {}, words, range ? element("em", {}, ` (${range})`) : null));
}

function range_text(low, high) {
  if (low == null || high == null) return null;
  const [from, to] = low <= high ? [low, high] : [high, low];
  if (to < page.facts.small_count) return null; // "under 5" says it already
  return `${from < page.facts.small_count ? homes_number(from || 1) : thousands(two_figures(from))} to ${homes_number(to)}`;
}

function few_or(count) {
  return homes_number(Math.max(count, 0.001)); // never a bare none beside a range
}

function home_rows(homes) {
  const few = homes.without < page.facts.small_count;
  const beside = few ? `${homes_number(homes.by_tier[7])} not promised ${listed_count_text(page.list)}` : null;
  return [
    number_row(few_or(homes.without), "homes get none of the listed services, even from a tall mast",
      range_text(homes.without_low, homes.without_high) || beside),
    number_row(homes_number(homes.rooftop_or_more), `of ${homes_number(homes.total)} homes need the roof or more`,
      range_text(homes.rooftop_or_more_3db_stronger, homes.rooftop_or_more_3db_weaker)),
    number_row(homes.unknown === 0 ? "no" : homes_number(homes.unknown), "homes unknown"),
  ];
}

function land_rows(land) {
  return [
    number_row(share_number(land.without), "of the land gets none of the listed services, even from a tall mast"),
    number_row(share_number(land.rooftop_or_more), "of the land needs the roof or more"),
    number_row(share_number(land.unknown), "of the land unknown"),
  ];
}

function estimate_rows() {
  const { homes } = page.estimate;
  const told = element("p", { class: "estimate" }, badge(), " ", estimate_in_short());
  if (!homes) return [told];
  const all = homes.by_tier.reduce((sum, count) => sum + count, homes.unknown);
  const roof = homes.by_tier.slice(4).reduce((sum, count) => sum + count, 0);
  return [
    told,
    number_row(homes_number(roof), `of ${homes_number(all)} homes need the roof or more`),
    number_row(homes_number(homes.by_tier[7]), "homes cannot be promised them"),
    number_row(homes.unknown === 0 ? "no" : homes_number(homes.unknown), "homes unknown"),
  ];
}

function show_summary() {
  const list = page.list;
  const as_of = page.facts.stations_as_of ? ` Stations as of ${date_text(page.facts.stations_as_of)}.` : " The stations have no date.";
  const rows = is_estimate() ? estimate_rows() : list.homes ? home_rows(list.homes) : land_rows(list.land);
  const wish = is_estimate() ? ticked_words() : listed_count_text(list);
  find("#three").replaceChildren(...rows,
    element("p", { class: "small" }, `Prediction.${as_of}`));
  find("#wish").textContent = `What it takes to receive ${wish}, ${page.facts.confidence_percent}\u00a0%\u00a0sure.`;
  find("#wish_phone").textContent = `${page.facts.confidence_percent}\u00a0%\u00a0sure of ${wish}. Tap a square to read it.`;
  const name = page.facts.lists.length > 1 && !is_estimate() ? `${page.facts.name}, ${list.name}` : page.facts.name;
  find("#bar h1").textContent = name;
}
