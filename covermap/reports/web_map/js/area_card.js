// The card of one neighbourhood: what its homes need, which station decides, why.
"use strict";

function area_count(area, count) {
  if (count == null) return say("page.table.blank");
  return area.of_homes ? homes_number(count) : share_number(count);
}

function area_rows(area) {
  const most = Math.max(...area.by_tier.map((count) => count || 0), 1e-9);
  const rows = page.facts.tiers.map(({ tier, name }, order) => ({ square: tier_square(tier), name, count: area.by_tier[order] }));
  return rows.filter(({ count }) => count == null || count > 0).map(({ square, name, count }) => element("div", { class: "area_row" }, square,
    element("span", {}, name), element("progress", { value: count || 0, max: most, "aria-hidden": "true" }), element("span", { class: "count" }, area_count(area, count))));
}

function area_sentences(area) {
  const what = area.of_homes ? "homes" : "land";
  const [half, most] = [half_tier(area), area[`tier_ninety_percent_of_${what}`]];
  const cause = area.main_cause ? page.list.causes[page.list.cause_codes.indexOf(area.main_cause)] : null;
  return [
    half && half !== most ? say(`page.area.half_${what}`, { antenna: class_words(half) }) : null,
    most ? say("page.area.most", { antenna: class_words(most) }) : null,
    area.deciding_service ? say(`page.area.decides_${what}`, { name: service_name(area.deciding_service), share: share_number(area.deciding_share_percent) }) : null,
    cause ? say("hard.why", { cause }) : null,
    area.aim_deg_true == null ? null : say("page.area.aim", { degrees: area.aim_deg_true }),
  ].filter(Boolean);
}

function area_number_words(area) {
  if (!area.of_homes) return say("page.area.of_land", { name: area.name });
  const unknown = area.unknown > 0 ? say("page.area.unknown", { count: homes_number(area.unknown) }) : "";
  const without = area.without_high === 0 ? "" : ` ${say("page.area.without", { count: without_text(area) })}`;
  return `${capital(homes_text(area.total || 0))}${unknown}.${without}`;
}

function show_area_card(area) {
  page.chosen = null;
  const half = half_tier(area);
  fill_card(say("page.area.kind"), [
    heading(half ? tier_square(half, true) : unknown_square(true), area.name),
    element("p", { class: "lead" }, area_number_words(area)),
    part(say(area.of_homes ? "page.area.homes_by_class" : "page.area.land_by_class"), ...area_rows(area)),
    part(say("page.card.decides"), ...area_sentences(area).map(sentence)),
    element("div", { class: "actions" }, button(say("page.area.squares"), () => show_squares_of(area))),
  ]);
  find("#card").dataset.area = area.neighbourhood_id;
  if (!is_wide() && sheet_state() !== "full") set_sheet("card");
  page.cells.redraw();
}

// Squares again, closer in on one neighbourhood.
function show_squares_of(area) {
  set_totals(false);
  fit_box(box_of(area), 24);
}

function set_totals(on) {
  page.ticks.totals = on;
  show_shows();
  show_by_area();
  renew_picture();
}

// The button on the map itself, where there are neighbourhoods.
function show_by_area() {
  const holder = find("#by_area");
  holder.hidden = !areas_can_show() || page.shows !== "tier" || is_own();
  holder.setAttribute("aria-pressed", String(page.ticks.totals));
  holder.textContent = say(page.ticks.totals ? "page.area.to_squares" : "page.area.to_areas");
}

function start_by_area() {
  find("#by_area").addEventListener("click", () => set_totals(!page.ticks.totals));
}
