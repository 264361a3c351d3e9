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
  return element("p", { class: "lead" }, together_words(cell), element("b", {}, chance_text(cell.chance_percent, cell.tier >= 7)),
    ` (${say("chance.nominal")}).`, alone_words(cell));
}

function aim_part(cell) {
  if (cell.aim_deg == null) return null;
  return element("div", { class: "aim" }, element("b", {}, aim_words(cell)),
    is_all_round(cell) ? null : element("span", {}, true_and_magnetic(cell.aim_deg)), ...aim_notes(cell).map((words) => small(words)));
}

function decides_part(cell) {
  const decides = deciding_words(cell);
  const cause = cause_words(cell);
  if (!decides && !cause && !enough_words() && !doubt_words(cell)) return null;
  return part(say("page.card.decides"), sentence([decides, without_deciding_words(cell), enough_words()].filter(Boolean).join(" ")), sentence(cause),
    sentence(doubt_words(cell)));
}

function one_lower_part(cell) {
  const words = one_lower_words(cell);
  return words ? part(say("page.card.one_lower"), element("p", {}, words)) : null;
}

function station_row(station, cell) {
  const cause = station_cause(station, cell);
  return element("div", { class: "station" },
    element("i", {}, station.letter),
    element("span", {}, station.service, small(`${station_numbers(station)}${station_ways(station)}`),
      cause ? small(say("page.card.why_weaker", { cause })) : null),
    element("em", { class: stronger_carrier(station, cell) ? "weaker" : null }, station_chance_words(station, cell),
      station.has_field ? small(field_text(station, cell)) : null));
}

function by_class_part(cell) {
  return cell.service_tiers ? part(say("page.card.by_class"), ...by_class_lines(cell).map(sentence)) : null;
}

function groups_part(cell, groups) {
  const made = part(say("page.card.stations"), ...groups.map((group) => element("div", { class: "group" },
    element("b", {}, group_heading(group)), small(group_reasons(cell, group)),
    ...(cell.tier > 8 ? [] : group.stations.map((station) => station_row(station, cell))))));
  made.classList.add("stations_part");
  return made;
}

function care_part(cell) {
  return part(say("page.care"), sentence(block_note()), ...flag_notes(cell).map(sentence),
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
    decides_part(cell), one_lower_part(cell), by_class_part(cell), antennas_card_part(cell), groups_part(cell, groups),
    element("section", { class: "hand_on" }, element("p", {}, say("page.card.roof")), ...card_actions(cell)),
    skyline_part(cell, groups),
    profile_part(cell, decider || groups[0]?.stations[0]),
    care_part(cell),
  ];
}

function unknown_parts(cell) {
  if (cell.tier === OUTSIDE) return outside_parts();
  return [heading(unknown_square(true), say("page.unknown")), element("p", { class: "lead" }, say("page.card.unknown")),
    groups_part(cell, aim_groups(cell))];
}

function outside_parts() {
  return [heading(element("span", { class: "square outside large" }), say("page.outside")),
    element("p", { class: "lead" }, say("page.card.outside"))];
}

async function show_card(pixel) {
  await load_heights();
  const cell = await read_cell(pixel);
  page.chosen = { row: pixel.row, col: pixel.col, aim_deg: cell.aim_deg, cell };
  fill_card(place_text(cell), [own_list_of_square(pixel), ...(cell.tier > 8 ? unknown_parts(cell) : known_parts(cell))]);
  Object.assign(find("#card").dataset, { row: cell.row, col: cell.col, tier: cell.tier });
  open_sheet_for_card();
  write_link(cell);
  page.cells.redraw();
}

// A place beside the picture has no square; the card says so.
function show_outside(latlng) {
  const { lat, lng } = latlng.wrap();
  page.chosen = null;
  fill_card(position_text({ latitude_deg: lat, longitude_deg: lng }), outside_parts());
  if (!is_wide() && sheet_state() !== "full") set_sheet("card");
  page.cells.redraw();
}

function fill_card(place, content) {
  const close = element("button", { class: "close", type: "button" }, say("page.close"));
  close.addEventListener("click", close_card);
  const card = find("#card");
  for (const name of ["row", "col", "tier", "area"]) delete card.dataset[name];
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
  write_link(null);
  page.cells.redraw();
  if (inside) page.map.getContainer().focus({ preventScroll: true });
}
