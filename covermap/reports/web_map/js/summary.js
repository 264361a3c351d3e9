// The three numbers that stand before any click.
"use strict";

// A small count stands as "under 5": its first word small beside the number.
function number_row(number, words, range) {
  const [first, rest] = number === few() || /^\D+ \d/.test(number) ? number.split(/ (?=\d)/) : [null, number];
  const shown = first ? [element("i", {}, `${first} `), rest] : [rest];
  return element("div", {}, element("b", {}, ...shown), " ", element("span", {}, words, range ? element("em", {}, ` (${range})`) : null));
}

function range_text(low, high) {
  if (low == null || high == null) return null;
  const [from, to] = low <= high ? [low, high] : [high, low];
  if (to < page.facts.small_count) return null; // "under 5" says it already
  return say("number.range", { low: from < page.facts.small_count ? homes_number(from || 1) : thousands(two_figures(from)), high: homes_number(to) });
}

function few_or(count) {
  return homes_number(Math.max(count, 0.001)); // never a bare none beside a range
}

function without_number(homes) {
  return homes.without === 0 && !(homes.without_high > 0) ? say("number.none") : few_or(homes.without);
}

function home_rows(homes) {
  const small_number = homes.without < page.facts.small_count;
  const beside = small_number ? say("page.three.not_promised", { count: homes_number(homes.by_tier[7]), list: page.list.words.short }) : null;
  return [
    number_row(without_number(homes), say("page.three.homes_without"), range_text(homes.without_low, homes.without_high) || beside),
    number_row(homes_number(homes.rooftop_or_more), say("page.three.homes_roof", { count: homes_number(homes.total) }),
      range_text(homes.rooftop_or_more_3db_stronger, homes.rooftop_or_more_3db_weaker)),
    number_row(homes.unknown === 0 ? "0" : homes_number(homes.unknown), say("page.three.homes_unknown")),
  ];
}

function land_rows(land) {
  return [
    number_row(share_number(land.without), say("page.three.land_without")),
    number_row(share_number(land.rooftop_or_more), say("page.three.land_roof")),
    number_row(share_number(land.unknown), say("page.three.land_unknown")),
  ];
}

function show_summary() {
  const { list } = page;
  find("#three").replaceChildren(...(list.homes ? home_rows(list.homes) : land_rows(list.land)), ...own_list_rows(),
    element("p", { class: "small" }, `${say("page.prediction")} ${capital(sure_text())}: ${say("chance.nominal")}. ${stations_date()}`));
  find("#wish").textContent = say("page.wish", { list: list.words.subject, sure: sure_text() });
  find("#wish_phone").textContent = say("page.wish_phone", { list: list.words.subject, sure: sure_text() });
  find("#bar h1").textContent = page.facts.lists.length > 1 ? `${page.facts.name}, ${list.name}` : page.facts.name;
}
