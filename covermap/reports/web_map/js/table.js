// The result as tables: the classes, and every neighbourhood in a table that its reader can sort.
"use strict";

let table_sort = { column: "name", downwards: false };

function count_text(area, count) {
  if (count == null) return say("page.table.blank");
  return area.of_homes ? homes_number(count) : share_number(count);
}

function tier_text(tier) {
  return tier == null ? say("number.unknown") : class_words(tier);
}

function without_text(area) {
  if (area.without == null) return say("page.table.blank");
  if (!area.of_homes) return share_number(area.without);
  const range = range_text(area.without_low, area.without_high);
  return `${area.without_high === 0 ? say("number.none") : few_or(area.without)}${range ? ` (${range})` : ""}`;
}

function decider_of(area) {
  return area.deciding_service ? service_name(area.deciding_service) : say("page.table.no_one");
}

// key, heading, sorted value, text; the first column is the row's heading.
function table_columns(areas) {
  const of_homes = areas.some((area) => area.of_homes);
  const what = of_homes ? "homes" : "land";
  const half = `tier_half_of_${what}`;
  const most = `tier_ninety_percent_of_${what}`;
  const title = (name) => say(`page.table.${name}_${what}`);
  return [
    ["name", say("page.table.neighbourhood"), (area) => area.name.toLowerCase(), (area) => area.name],
    ...(of_homes ? [["total", say("page.legend.homes"), (area) => area.total, (area) => count_text(area, area.total)]] : []),
    [half, title("half"), (area) => area[half], (area) => tier_text(area[half])],
    [most, say("page.table.most"), (area) => area[most], (area) => tier_text(area[most])],
    ["rooftop_or_more", title("roof"),
      (area) => area.rooftop_or_more, (area) => count_text(area, area.rooftop_or_more)],
    ["without", title("without"),
      (area) => area.without, without_text],
    ["unknown", title("unknown"), (area) => area.unknown, (area) => count_text(area, area.unknown)],
    ["deciding_service", say("page.table.decided"), (area) => area.deciding_service, (area) => decider_of(area)],
    ["aim_deg_true", say("page.table.aim"), (area) => area.aim_deg_true, (area) => (area.aim_deg_true == null ? say("number.none") : `${area.aim_deg_true}°`)],
  ];
}

// Blanks stand last whichever way the column runs.
function sorted_areas(areas, [, , value], downwards) {
  const rank = (area) => value(area) ?? null;
  return [...areas].sort((one, other) => {
    const [a, b] = [rank(one), rank(other)];
    if (a === null || b === null) return (a === null) - (b === null);
    const order = typeof a === "string" ? a.localeCompare(b) : a - b;
    return (downwards ? -order : order) || one.name.localeCompare(other.name);
  });
}

function heading_cell([key, words]) {
  const sorted = table_sort.column === key;
  const button = element("button", { type: "button", "data-column": key }, words,
    element("span", { "aria-hidden": "true" }, sorted ? (table_sort.downwards ? " ↓" : " ↑") : ""));
  button.addEventListener("click", () => {
    table_sort = { column: key, downwards: sorted && !table_sort.downwards };
    show_neighbourhoods();
    find(`#table button[data-column="${key}"]`).focus();
  });
  return element("th", { scope: "col", "aria-sort": sorted ? (table_sort.downwards ? "descending" : "ascending") : "none" }, button);
}

function show_neighbourhoods() {
  const areas = page.list.neighbourhoods;
  const columns = table_columns(areas);
  const by = columns.find(([key]) => key === table_sort.column) || columns[0];
  const rows = sorted_areas(areas, by, table_sort.downwards).map((area) => element("tr", {},
    columns.map(([, , , text], order) => (order
      ? element("td", {}, text(area)) : element("th", { scope: "row" }, text(area))))));
  find("#areas_table").replaceChildren(
    element("caption", {}, say("page.table.every", { count: areas.length })),
    element("thead", {}, element("tr", {}, columns.map(heading_cell))),
    element("tbody", {}, rows),
  );
}

function classes_table() {
  return element("table", {},
    element("caption", {}, say("page.table.whole")),
    element("thead", {}, element("tr", {}, [say("page.table.class"), say("page.table.mounting"), counted_words()].map((words) => element("th", { scope: "col" }, words)))),
    element("tbody", {},
      page.facts.tiers.map((tier) => element("tr", {},
        element("th", { scope: "row" }, class_words(tier.tier)), element("td", {}, tier.mounting), element("td", {}, legend_count(tier.tier)))),
      element("tr", {}, element("th", { scope: "row" }, say("page.unknown")), element("td", {}, ""), element("td", {}, legend_count(0)))));
}

function open_table() {
  const close = button(say("page.table.back"), close_table);
  const areas = page.list.neighbourhoods;
  find("#table").replaceChildren(
    element("div", { class: "table_head" }, element("h2", { id: "table_title" }, say("page.table.title", { name: page.facts.name })), close),
    element("p", { class: "small" }, `${say("page.wish", { list: page.list.words.subject, sure: sure_text() })} ${say("page.prediction")}`),
    element("div", { class: "table_wide", tabindex: "0", role: "group", "aria-label": say("page.table.classes") }, classes_table()),
    areas.length
      ? element("div", { class: "table_wide", tabindex: "0", role: "group", "aria-label": say("page.table.neighbourhoods") }, element("table", { id: "areas_table" }))
      : element("p", {}, say("page.table.no_areas")),
    element("ul", { class: "cautions" }, page.facts.cautions.map((words) => element("li", {}, words))),
  );
  if (areas.length) show_neighbourhoods();
  find("#table").hidden = false;
  document.body.classList.add("with_table");
  find("#table").focus();
}

function close_table() {
  find("#table").hidden = true;
  document.body.classList.remove("with_table");
  page.map.getContainer().focus({ preventScroll: true });
}

function start_table() {
  find("#skip").addEventListener("click", (event) => {
    event.preventDefault();
    open_table();
  });
}

// Under the legend: what else can be done with the whole map.
function show_ways_on() {
  const { zones } = page.list;
  find("#ways_on").replaceChildren(button(say("page.table.read"), open_table),
    ...(zones.length ? [button(say("page.zone.next"), next_zone)] : []), button(say("page.print"), () => window.print()),
    button(say("page.take.picture"), save_picture), button(say("page.take.table"), save_table));
}
