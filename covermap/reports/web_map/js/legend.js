// What is needed: each class with its number, mounting and homes, and a tick that hides it.
"use strict";

function legend_count(tier) {
  if (is_own()) return own_list_count(tier);
  const { homes, land } = page.list;
  const counts = homes || land;
  const count = tier ? counts.by_tier[tier - 1] : counts.unknown;
  return homes ? homes_number(count) : share_number(count);
}

function count_of(tier) {
  return element("span", { class: "count" }, legend_count(tier));
}

function tier_row(tier) {
  const shown = !page.hidden.has(tier.tier);
  const change = (checked, row) => {
    page.hidden[checked ? "delete" : "add"](tier.tier);
    row.classList.toggle("off", !checked);
    renew_picture();
  };
  const row = tick(tier.name, shown, change, tier_square(tier.tier), small(tier.mounting_short), count_of(tier.tier));
  row.querySelector("input").setAttribute("aria-label", say("page.legend.show", { name: class_words(tier.tier) }));
  row.classList.toggle("off", !shown);
  return row;
}

function plain_row(square, words, count) {
  return element("div", { class: "row" }, element("span", { class: "no_tick" }), square, element("span", {}, words), count);
}

function counted_words() {
  return page.list.homes ? say("page.legend.homes") : is_own() ? "" : say("page.legend.land");
}

function show_legend() {
  find("#legend").replaceChildren(
    ...(is_own() ? [element("p", { class: "small" }, badge(), " ", say("page.own.each"))] : []),
    element("p", { class: "small ends" }, element("span", {}, say("page.legend.easiest")), element("span", {}, counted_words())),
    ...page.facts.tiers.map(tier_row),
    plain_row(unknown_square(), say("page.unknown"), count_of(0)),
    plain_row(element("span", { class: "square outside", "aria-hidden": "true" }), say("page.outside")),
  );
}

// The ladder of eight squares on the phone: what neighbours have in common stands under them. Other modes
// have their own squares in its place.
function show_ladder() {
  const ladder = find("#ladder");
  ladder.dataset.mode = page.shows;
  if (page.shows !== "tier") return ladder.replaceChildren(...mode_ladder());
  return ladder.replaceChildren(
    ...page.facts.tiers.map(({ tier }) =>
      element("b", { class: `tier_${tier}` }, tier === 8 ? element("u", {}, "8") : String(tier))),
    ...["indoors", "wall", "roof", "amplifier", "not_promised"].map((word) => element("span", {}, say(`page.ladder.${word}`))),
  );
}

function mode_ladder() {
  const square = (name, mark, words) => element("div", {}, element("i", { class: name }, mark), element("span", {}, words));
  if (MODES[page.shows].layer) {
    return kinds_shown().map(({ mark, words }, kind) => square(`kind_${kind % page.facts.kind_tints.length}`, page.shows === "decides" && mark !== words ? mark : "", words));
  }
  return steps_of(page.shows).map((step, order) => square(`${page.shows}_${order}`, "", step.words.split(", ").at(-1)));
}
