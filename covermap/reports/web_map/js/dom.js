// Elements of the page. Text goes in as text nodes only, so no name from an input can become markup.
"use strict";

function find(selector) {
  return document.querySelector(selector);
}

function element(tag, attributes, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes || {})) {
    if (value === true) made.setAttribute(name, "");
    else if (value !== false && value != null) made.setAttribute(name, value);
  }
  made.append(...children.flat().filter((child) => child != null && child !== ""));
  return made;
}

// A painted square with its number, as the map shows the class.
function tier_square(tier, large) {
  const text = tier === 8 ? element("u", {}, "8") : String(tier);
  return element("span", { class: `square tier_${tier}${large ? " large" : ""}`, "aria-hidden": "true" }, text);
}

function unknown_square(large) {
  return element("span", { class: `square unknown${large ? " large" : ""}`, "aria-hidden": "true" });
}

function tick(label, checked, on_change, square, detail, count) {
  const box = element("input", { type: "checkbox" });
  box.checked = checked;
  const row = element("label", { class: "row" }, box, square, element("span", {}, label, detail), count);
  box.addEventListener("change", () => on_change(box.checked, row));
  return row;
}

function choice(group, label, checked, on_choose, detail) {
  const button = element("input", { type: "radio", name: group });
  button.checked = checked;
  button.addEventListener("change", on_choose);
  return element("label", { class: "row" }, button, element("span", {}, label, detail));
}

function small(...text) {
  return element("small", {}, ...text);
}

function select(label, options, chosen, on_choose) {
  const list = element("select", { "aria-label": label });
  options.forEach((text, index) => list.append(element("option", { value: index }, text)));
  list.value = chosen;
  list.addEventListener("change", () => on_choose(Number(list.value)));
  return list;
}
