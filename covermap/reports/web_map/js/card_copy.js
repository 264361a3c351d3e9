// What the card hands on: its text, a sheet of paper, and the command that reckons the exact place.
"use strict";

function card_text(cell) {
  const decides = deciding_words(cell);
  const lines = [
    `${page.facts.name}: ${place_text(cell)}`, square_words(cell), "",
    `${class_words(cell.tier)}, ${tier_facts(cell.tier).mounting}`,
    `${together_words(cell)}${chance_number(cell.chance_percent)}, ${chance_in_words(cell.chance_percent)}.${alone_words(cell)}`,
    ...(cell.aim_deg == null ? [] : [`Aim ${cell.aim_deg}° ${true_and_magnetic(cell.aim_deg)}.`, ...aim_notes(cell)]),
    ...plan_notes(cell),
    decides ? `What decides it: ${decides.name}${decides.words} ${without_deciding_words(cell)}`.trim() : "",
    cause_words(cell),
    cell.tier > 1 ? `One class lower keeps: ${one_lower_words(cell)}` : "", "",
    ...aim_groups(cell).flatMap((group) => [
      `${group_heading(group)}: ${group_reasons(cell, group)}`,
      ...group.stations.map((station) => `  ${station.letter} ${station.service}, ${station_numbers(station)}${station_ways(station)}: ${station_text(station, cell)}`),
    ]), "",
    ROOF_SENTENCE, block_note(), ...flag_notes(cell), "",
    page.facts.stations_as_of ? `Stations as of ${date_text(page.facts.stations_as_of)}.` : "The stations have no date.",
    ...page.facts.cautions.map((words) => `- ${words}`),
  ];
  return lines.filter((line, order) => line !== "" || lines[order - 1] !== "").join("\n").replaceAll("\u00a0", " ");
}

function station_text(station, cell) {
  const field = cell.field_dbuvm[station.station_id];
  const strength = station.has_field ? `, ${field == null ? "field unknown" : `${field} dBµV/m`}` : "";
  const cause = station_cause(station, cell);
  return `${station_chance_words(station, cell)}${strength}${cause ? `; why weaker: ${cause}` : ""}`;
}

function exact_command(cell) {
  const file = /^[\w.-]+$/.test(page.facts.scenario_file) ? page.facts.scenario_file : `"${page.facts.scenario_file}"`;
  const { latitude_deg, longitude_deg } = cell;
  return `covermap address ${file} --at=${latitude_deg.toFixed(6)},${longitude_deg.toFixed(6)} --wanted=${page.list.name}`;
}

// Shows a text to take away and puts it on the clipboard where the browser lets it.
async function hand_over(text, label, holder) {
  const box = element("textarea", { readonly: true, "aria-label": label, rows: Math.min(10, text.split("\n").length + 1) });
  box.value = text;
  const told = element("p", { class: "small", role: "status" });
  holder.replaceChildren(box, told);
  box.focus();
  box.select();
  try {
    await navigator.clipboard.writeText(text);
    told.textContent = "Copied.";
  } catch {
    told.textContent = "Marked; copy it from here.";
  }
}

function card_actions(cell) {
  const holder = element("div", { class: "handed" });
  const action = (words, act) => {
    const button = element("button", { type: "button" }, words);
    button.addEventListener("click", act);
    return button;
  };
  return [
    element("div", { class: "actions" },
      action("Copy as text", () => hand_over(card_text(cell), "The card as text", holder)),
      action("Print this place", () => print_place()),
      action("Exact command", () => hand_over(exact_command(cell), "Command for this exact place", holder))),
    holder,
  ];
}
