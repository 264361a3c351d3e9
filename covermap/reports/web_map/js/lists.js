// The wanted stations: the run's lists and, where the page holds the signals, ticks for a list of one's own.
"use strict";

function station_line(station) {
  return `${station.letter} ${station_numbers(station)}, ${page.facts.masts[station.mast].name}`;
}

// "4.1, RF 21": the number on the set, and the channel it is sent on.
function station_numbers(station) {
  const sent = station.rf_channel == null ? `${station.frequency_mhz} MHz` : `RF ${station.rf_channel}`;
  const vhf = { low_vhf: ", low VHF", high_vhf: ", high VHF" }[station.band] || "";
  return `${station.displayed_channel ? `${station.displayed_channel}, ` : ""}${sent}${vhf}`;
}

function station_lines(indices) {
  return small(indices.map((index) => element("span", { class: "line" }, station_line(page.facts.stations[index]))));
}

function list_choices() {
  const { lists } = page.facts;
  if (lists.length < 2 && !is_estimate()) return [];
  return lists.map((list) => choice("list", list.name, list === page.list && !is_estimate(), () => choose_list(list),
    small(`${listed_count_text(list)}; exact`)));
}

function service_ticks() {
  const chosen = ticked_now();
  return page.facts.estimate.services.map(({ name, stations }, number) =>
    tick(name, chosen.has(number), (checked) => tick_service(number, checked), null, station_lines(stations)));
}

function estimate_part() {
  if (!is_estimate()) {
    return small("Tick others or leave some out: the page then works out a quick estimate and marks it so. The run's own list is exact.");
  }
  const handed = element("div", { class: "handed" });
  const copy = element("button", { type: "button" }, "Copy as scenario text");
  copy.addEventListener("click", () => hand_over(scenario_text(), "This list as scenario text", handed));
  return element("div", { class: "estimate" }, element("p", { role: "status" }, badge(), " ", estimate_words()),
    page.ticked.size ? element("p", { class: "small" }, "For exact classes put the list into the scenario and run it again.") : null,
    page.ticked.size ? element("div", { class: "actions" }, copy) : null, handed);
}

function left_out_part() {
  const { left_out } = page.facts.estimate;
  if (!left_out.length) return null;
  return small(`Left out, as no antenna here is ${page.facts.confidence_percent}\u00a0% sure of them in any square: ${joined(left_out)}.`);
}

// The ticks keep the focus when the section is drawn again.
function show_lists() {
  const holder = find("#lists");
  const boxes = () => [...holder.querySelectorAll("input")];
  const focused = boxes().indexOf(document.activeElement);
  const before = boxes().length;
  const { services, transmitters } = page.list;
  const plain = () => element("ul", { class: "services" }, services.map((service, order) =>
    element("li", {}, service, station_lines(transmitters[order]))));
  holder.replaceChildren(
    ...list_choices(),
    ...(page.facts.estimate ? [estimate_part(), ...service_ticks(), left_out_part()] : [plain()]).filter(Boolean),
  );
  if (focused >= 0) (boxes()[focused + boxes().length - before] || holder).focus();
}

function choose_list(list) {
  no_estimate();
  page.list = list;
  if (!is_mode_there(page.shows)) page.shows = "tier";
  show_panel();
  const drawn = renew_picture();
  if (page.chosen) show_card(page.chosen);
  return drawn;
}
