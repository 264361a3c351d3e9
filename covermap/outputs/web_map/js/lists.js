// The wanted lists of the run and the stations that carry them.
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

function service_item(service, indices) {
  const lines = indices.map((index) => element("span", { class: "line" }, station_line(page.facts.stations[index])));
  return element("li", {}, service, small(lines));
}

function show_lists() {
  const { lists } = page.facts;
  const choices = lists.length < 2 ? [] : lists.map((list) =>
    choice("list", list.name, list === page.list, () => choose_list(list), small(listed_count_text(list))));
  const { services, transmitters } = page.list;
  find("#lists").replaceChildren(
    ...choices,
    element("ul", { class: "services" }, services.map((service, order) => service_item(service, transmitters[order]))),
  );
}

function choose_list(list) {
  page.list = list;
  show_panel();
  renew_picture();
  if (page.chosen) show_card(page.chosen);
}
