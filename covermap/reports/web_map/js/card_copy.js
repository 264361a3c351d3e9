// What the card hands on: its text, a sheet of paper, and the command that computes the exact place.
"use strict";

function card_text(cell) {
  const decides = [deciding_words(cell), without_deciding_words(cell), enough_words()].filter(Boolean).join(" ");
  const lines = [
    `${page.facts.name}: ${place_text(cell)}`, square_words(cell), "",
    `${class_words(cell.tier)}, ${tier_facts(cell.tier).mounting}`,
    `${together_words(cell)}${chance_text(cell.chance_percent, cell.tier >= 7)} (${say("chance.nominal")}).${alone_words(cell)}`,
    ...(cell.aim_deg == null ? [] : [is_all_round(cell) ? `${aim_words(cell)}.` : `${aim_words(cell)} ${true_and_magnetic(cell.aim_deg)}.`, ...aim_notes(cell)]),
    ...plan_notes(cell),
    decides ? `${say("page.card.decides")}: ${decides}` : "",
    cause_words(cell),
    cell.tier > 1 ? `${say("page.card.one_lower")}: ${one_lower_words(cell)}` : "", "",
    ...(cell.service_tiers ? [`${say("page.card.by_class")}:`, ...by_class_lines(cell)] : []), "",
    ...aim_groups(cell).flatMap((group) => [
      `${group_heading(group)}: ${group_reasons(cell, group)}`,
      ...group.stations.map((station) => `  ${station.letter} ${station.service}, ${station_numbers(station)}${station_ways(station)}: ${station_text(station, cell)}`),
    ]), "",
    say("page.card.roof"), block_note(), ...flag_notes(cell), "",
    stations_date(),
    ...page.facts.cautions.map((words) => `- ${words}`),
  ];
  return lines.filter((line, order) => line !== "" || lines[order - 1] !== "").join("\n").replaceAll("\u00a0", " ");
}

function station_text(station, cell) {
  const cause = station_cause(station, cell);
  return [`${station_chance_words(station, cell)}${station.has_field ? `, ${field_text(station, cell)}` : ""}`,
    ...(cause ? [say("page.card.why_weaker", { cause })] : [])].join("; ");
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
    told.textContent = say("page.copied");
  } catch {
    told.textContent = say("page.marked");
  }
}

function button(words, act) {
  const made = element("button", { type: "button" }, words);
  made.addEventListener("click", act);
  return made;
}

function card_actions(cell) {
  const holder = element("div", { class: "handed" });
  return [
    element("div", { class: "actions" },
      button(say("page.card.copy"), () => hand_over(card_text(cell), say("page.card.copy_label"), holder)),
      button(say("page.card.print"), () => print_place()),
      button(say("page.card.command"), () => hand_over(exact_command(cell), say("page.card.command_label"), holder))),
    holder,
  ];
}
