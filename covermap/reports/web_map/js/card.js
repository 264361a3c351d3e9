// The card of one square, in its order: what it needs, how surely, and why.
"use strict";

function part(title, ...content) {
  return element("section", {}, element("h3", {}, title), ...content);
}

function heading(square, words) {
  return element("h2", {}, square, element("span", {}, words));
}

function sentence(words) {
  return words ? element("p", {}, words) : null;
}

function lead_part(cell) {
  return element("p", { class: "lead" }, together_words(cell),
    element("b", {}, chance_number(cell.chance_percent)), `, ${chance_in_words(cell.chance_percent)}.`, alone_words(cell));
}

function aim_part(cell) {
  if (cell.aim_deg == null) return null;
  return element("div", { class: "aim" }, element("b", {}, `Aim ${cell.aim_deg}°`),
    element("span", {}, true_and_magnetic(cell.aim_deg)), ...aim_notes(cell).map((words) => small(words)));
}

function decides_part(cell) {
  const decides = deciding_words(cell);
  const cause = cause_words(cell);
  if (!decides && !cause) return null;
  const said = decides && element("p", {}, element("b", {}, decides.name), decides.words);
  return part("What decides it", said, sentence(without_deciding_words(cell)), sentence(cause));
}

function one_lower_part(cell) {
  const words = one_lower_words(cell);
  return words ? part("One class lower keeps", element("p", {}, words)) : null;
}

function station_row(station, cell) {
  const field = cell.field_dbuvm[station.station_id];
  return element("div", { class: "station" },
    element("i", {}, station.letter),
    element("span", {}, station.service, small(`${station_numbers(station)}${station_ways(station)}`),
      station_cause(station, cell) ? small(`Why weaker: ${station_cause(station, cell)}`) : null),
    element("em", { class: stronger_carrier(station, cell) ? "weaker" : null }, station_chance_words(station, cell),
      station.has_field ? small(field == null ? "field unknown" : `${field} dBµV/m`) : null));
}

function groups_part(cell, groups) {
  const made = part("Stations by aim", ...groups.map((group) => element("div", { class: "group" },
    element("b", {}, group_heading(group)), small(group_reasons(cell, group)),
    ...(cell.tier > 8 ? [] : group.stations.map((station) => station_row(station, cell))))));
  made.classList.add("stations_part");
  return made;
}

function care_part(cell) {
  return part("Before you rely on it", sentence(block_note()), ...flag_notes(cell).map(sentence),
    element("p", { class: "small" }, square_words(cell)),
    element("ul", { class: "cautions" }, page.facts.cautions.map((words) => element("li", {}, words))));
}

function known_parts(cell) {
  const tier = tier_facts(cell.tier);
  const groups = aim_groups(cell);
  const decider = page.facts.stations.find((one) => one.service === page.list.services[cell.deciding]);
  return [
    heading(tier_square(cell.tier, true), tier.name),
    element("p", { class: "small" }, tier.mounting),
    lead_part(cell), aim_part(cell), ...plan_notes(cell).map(sentence),
    decides_part(cell), one_lower_part(cell), groups_part(cell, groups),
    element("section", { class: "hand_on" }, element("p", {}, ROOF_SENTENCE), ...card_actions(cell)),
    skyline_part(cell, groups),
    profile_part(cell, decider || groups[0]?.stations[0]),
    care_part(cell),
  ];
}

function unknown_parts(cell) {
  if (cell.tier === OUTSIDE) return outside_parts();
  return [heading(unknown_square(true), "Unknown"), element("p", { class: "lead" },
    "A path to a wanted station leaves the elevation data or crosses a gap in it, so nothing can be said here."),
  groups_part(cell, aim_groups(cell))];
}

function outside_parts() {
  return [heading(element("span", { class: "square outside large" }), "Outside the map"),
    element("p", { class: "lead" }, "Nothing was computed here.")];
}

async function show_card(pixel) {
  await load_heights();
  const cell = await read_cell(pixel);
  page.chosen = { row: pixel.row, col: pixel.col, aim_deg: cell.aim_deg, cell };
  fill_card(place_text(cell), [estimate_of_square(pixel), ...(cell.tier > 8 ? unknown_parts(cell) : known_parts(cell))]);
  Object.assign(find("#card").dataset, { row: cell.row, col: cell.col, tier: cell.tier });
  open_sheet_for_card();
  page.cells.redraw();
}

// A place beside the picture has no square; the card says so.
function show_outside({ lat, lng }) {
  page.chosen = null;
  fill_card(position_text({ latitude_deg: lat, longitude_deg: lng }), outside_parts());
  if (!is_wide() && sheet_state() !== "full") set_sheet("card");
  page.cells.redraw();
}

function fill_card(place, content) {
  const close = element("button", { class: "close", type: "button" }, "Close");
  close.addEventListener("click", close_card);
  const card = find("#card");
  for (const name of ["row", "col", "tier"]) delete card.dataset[name];
  card.replaceChildren(close, element("p", { class: "small place" }, place), ...content.filter(Boolean));
  find(".found").replaceChildren();
  document.body.classList.add("with_card");
  find("#sheet").scrollTop = 0;
}

function close_card() {
  const inside = find("#card").contains(document.activeElement);
  page.chosen = null;
  document.body.classList.remove("with_card");
  find("#card").replaceChildren();
  set_sheet("middle");
  page.cells.redraw();
  if (inside) page.map.getContainer().focus({ preventScroll: true });
}
