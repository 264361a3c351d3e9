// What can be taken along of what is shown: the map as a picture, its numbers as a table.
"use strict";

const PICTURE_HEAD_PX = 64;
const PICTURE_ROW_PX = 26;

function file_name(ending) {
  const plain = `${page.facts.name} ${page.list.name}`.normalize("NFKD").replace(/[^A-Za-z0-9]+/g, "_").replace(/^_+|_+$/g, "");
  return `${plain || "map"}.${ending}`;
}

function save(blob, name) {
  const link = element("a", { download: name });
  link.href = URL.createObjectURL(blob);
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10000);
}

// The classes, or the key of the mode shown: pairs of fill and words.
function key_rows() {
  if (page.shows === "tier") {
    return page.facts.tiers.map((tier) => ({ fill: tier.painted, ink: tier.ink, mark: String(tier.tier), words: `${tier.name}  ${legend_count(tier.tier)}` }));
  }
  if (MODES[page.shows].layer) {
    return kinds_shown().map(({ mark, words }, kind) => ({ fill: page.facts.kind_tints[kind % page.facts.kind_tints.length], ink: INK, mark, words }));
  }
  return steps_of(page.shows).map(({ fill, words }) => ({ fill, ink: INK, mark: "", words }));
}

// The map as it stands, its title above it, its key and date below.
function picture_canvas() {
  page.cells.draw_now();
  const [source, rows] = [page.cells.canvas, key_rows()];
  const scale = source.width / page.map.getSize().x;
  const columns = Math.max(1, Math.floor(source.width / scale / 260));
  const foot = Math.ceil(rows.length / columns) * PICTURE_ROW_PX + 40;
  const canvas = element("canvas", { width: source.width, height: source.height + Math.round((PICTURE_HEAD_PX + foot) * scale) });
  const context = canvas.getContext("2d");
  context.fillStyle = "#FBF9F5";
  context.fillRect(0, 0, canvas.width, canvas.height);
  context.drawImage(source, 0, Math.round(PICTURE_HEAD_PX * scale));
  context.scale(scale, scale);
  context.fillStyle = INK;
  context.textBaseline = "middle";
  context.font = `700 22px ${FONT}`;
  context.fillText(page.facts.name, 16, 22);
  context.font = `400 14px ${FONT}`;
  context.fillText(`${say("page.wish", { list: page.list.words.subject, sure: sure_text() })} ${say(`page.mode.${page.shows}`)}.`, 16, 48);
  const top = PICTURE_HEAD_PX + source.height / scale + 18;
  rows.forEach(({ fill, ink, mark, words }, order) => {
    const [x, y] = [16 + (order % columns) * 260, top + Math.floor(order / columns) * PICTURE_ROW_PX];
    context.fillStyle = fill;
    context.fillRect(x, y - 10, 22, 20);
    context.fillStyle = ink;
    context.font = `700 13px ${FONT}`;
    context.textAlign = "center";
    context.fillText(mark.length > 2 ? "" : mark, x + 11, y + 1);
    context.fillStyle = INK;
    context.font = `400 14px ${FONT}`;
    context.textAlign = "left";
    context.fillText(words, x + 30, y, 222);
  });
  context.fillText(`${say("page.prediction")} ${stations_date()} ${find("#scale_text").textContent}`, 16, top + foot - 34);
  return canvas;
}

function save_picture() {
  picture_canvas().toBlob((blob) => save(blob, file_name("png")), "image/png");
}

// A cell as a spreadsheet reads it and does not run it.
function csv_cell(value) {
  const text = String(value ?? "");
  const safe = /^\s*[=+\-@\t]/.test(text) && Number.isNaN(Number(text)) ? `'${text}` : text;
  return /[",\n]/.test(safe) ? `"${safe.replaceAll('"', '""')}"` : safe;
}

function table_lines() {
  const { neighbourhoods } = page.list;
  const counts = page.list.homes || page.list.land;
  if (!neighbourhoods.length) {
    return [[say("page.table.class"), counted_words()], ...page.facts.tiers.map((tier) => [class_words(tier.tier), counts.by_tier[tier.tier - 1]])];
  }
  const names = page.facts.tiers.map((tier) => class_words(tier.tier));
  return [[say("page.table.neighbourhood"), counted_words(), ...names, say("page.unknown"), say("page.table.decided")],
    ...neighbourhoods.map((area) => [area.name, area.total ?? "", ...area.by_tier, area.unknown, area.deciding_service])];
}

function save_table() {
  const text = table_lines().map((row) => row.map(csv_cell).join(",")).join("\r\n");
  save(new Blob([`\ufeff${text}\r\n`], { type: "text/csv" }), file_name("csv"));
}
