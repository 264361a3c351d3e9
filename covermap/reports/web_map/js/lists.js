// The wanted stations: the run's lists and, where the page holds them, ticks for a list of one's own.
"use strict";

const GROUPED_FROM = 13; // services from which the ticks stand by mast

function station_line(station) {
  return `${station_short(station)}, ${page.facts.masts[station.mast].name}`;
}

// The same where the mast stands over it.
function station_short(station) {
  return `${station.letter}, ${station_numbers(station)}`;
}

// "4.1, RF 21": the number on the set, and the channel it is sent on.
function station_numbers(station) {
  return station.channel_words;
}

function station_lines(indices, mast) {
  const here = indices.every((index) => page.facts.stations[index].mast === mast);
  const words = here ? station_short : station_line;
  return small(indices.map((index) => element("span", { class: "line" }, words(page.facts.stations[index]))));
}

function list_choices() {
  const { lists } = page.facts;
  if (lists.length < 2 && !is_own()) return [];
  return lists.map((list) => choice("list", list.name, list === page.list && !is_own(), () => choose_list(list),
    small(capital(list.words.subject))));
}

// mast : the one the service stands under, if any
function service_tick(number, mast) {
  const { name, stations } = page.facts.own_list.services[number];
  return tick(name, ticked_now().has(number), (checked) => tick_services([number], checked), null, station_lines(stations, mast));
}

// Many services stand by mast, each mast with a tick for all of its own.
function service_ticks() {
  const { services } = page.facts.own_list;
  const numbers = services.map((_, number) => number);
  if (services.length < GROUPED_FROM) return numbers.map((number) => service_tick(number));
  const mast_of = (number) => page.facts.stations[services[number].stations[0]].mast;
  return page.facts.masts.map((mast, order) => ({ mast, order, own: numbers.filter((number) => mast_of(number) === order) }))
    .filter(({ own }) => own.length)
    .flatMap(({ mast, order, own }) => {
      const all = own.every((number) => ticked_now().has(number));
      const head = tick(mast.name, all, (checked) => tick_services(own, checked), null, small(say("page.lists.of_mast", { count: own.length })));
      head.classList.add("mast_row");
      return [head, element("div", { class: "of_mast" }, own.map((number) => service_tick(number, order)))];
    });
}

function many_actions() {
  const numbers = page.facts.own_list.services.map((_, number) => number);
  if (numbers.length < 4) return null;
  return element("div", { class: "actions" },
    button(say("page.lists.all"), () => set_ticked(new Set(numbers))),
    button(say("page.lists.none"), () => set_ticked(new Set())),
    ...(is_own() ? [button(say("page.lists.back"), () => choose_list(page.list))] : []));
}

function own_list_part() {
  if (!is_own()) return small(say("page.lists.invite"));
  const handed = element("div", { class: "handed" });
  const copy = button(say("page.lists.copy"), () => hand_over(scenario_text(), say("page.lists.copy_label"), handed));
  return element("div", { class: "own_list" }, element("p", { role: "status" }, page.own.tier ? badge() : null, " ", own_list_words()),
    page.ticked.size ? element("p", { class: "small" }, say("page.lists.exact")) : null,
    page.ticked.size ? element("div", { class: "actions" }, copy) : null, handed);
}

function left_out_part() {
  const { left_out } = page.facts.own_list;
  return left_out.length ? small(say("page.lists.left_out", { sure: percent_text(page.facts.confidence_percent), services: joined(left_out) })) : null;
}

function without_field_part() {
  const without = page.facts.stations.filter((station) => !station.has_field).length;
  return without ? small(say("page.lists.no_fields", { count: without })) : null;
}

function in_parts_part() {
  const { largest_whole } = page.facts;
  return largest_whole === null ? null : small(say("page.lists.in_parts", { squares: thousands(largest_whole) }));
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
    ...(page.facts.own_list ? [own_list_part(), many_actions(), ...service_ticks(), left_out_part()] : [plain()]).filter(Boolean),
    ...[without_field_part(), in_parts_part()].filter(Boolean),
  );
  if (focused >= 0) (boxes()[focused + boxes().length - before] || holder).focus();
}

function choose_list(list) {
  no_own_list();
  page.list = list;
  if (!is_mode_there(page.shows)) page.shows = "tier";
  show_panel();
  const drawn = renew_picture();
  if (page.chosen) show_card(page.chosen);
  return drawn;
}
