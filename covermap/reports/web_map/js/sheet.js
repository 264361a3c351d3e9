// The sheet at the foot of a narrow screen: it stands low, in the middle, or full; wide screens have a column.
"use strict";

const CARD_SHARE = 0.55; // of the screen's height, as in layout.css

// The order in which the grip steps; with a card open, its own height takes the middle's place.
function sheet_states() {
  return [document.body.classList.contains("with_card") ? "card" : "middle", "full", "low"];
}

function sheet_state() {
  return find("#sheet").dataset.state;
}

function set_sheet(state) {
  const sheet = find("#sheet");
  sheet.dataset.state = state;
  sheet.style.height = "";
  sheet.scrollTop = 0;
  find("#grip").setAttribute("aria-expanded", String(state === "full"));
  document.body.dataset.sheet = state;
}

function step_sheet() {
  const states = sheet_states();
  set_sheet(states[(states.indexOf(sheet_state()) + 1) % states.length]);
}

// The middle height: 276 px, or as much more as a wide font needs until the ladder shows.
function fit_middle() {
  const ladder = find("#ladder");
  const foot = ladder.offsetTop + ladder.offsetHeight + 10;
  const height = Math.min(window.innerHeight * 0.5, Math.max(276, foot));
  document.documentElement.style.setProperty("--middle", `${Math.round(height)}px`);
}

// Over the card the map moves so that the chosen square stays in sight.
function open_sheet_for_card() {
  if (is_wide()) {
    find("#sheet").scrollTop = 0;
    return;
  }
  if (sheet_state() !== "full") set_sheet("card");
  const { row, col } = page.chosen;
  const point = page.map.latLngToContainerPoint(place_of(row + 0.5, col + 0.5));
  const sheet_px = window.innerHeight * CARD_SHARE; // where it is going; it may still be moving
  const free = page.map.getSize().y - sheet_px;
  page.map.panBy([point.x - page.map.getSize().x / 2, point.y - Math.max(60, free / 2)], { animate: false });
}

function start_sheet() {
  const grip = find("#grip");
  let drag = null;
  grip.addEventListener("pointerdown", (event) => {
    drag = { y: event.clientY, height: find("#sheet").offsetHeight, moved: false };
    grip.setPointerCapture(event.pointerId);
  });
  grip.addEventListener("pointermove", (event) => {
    if (!drag) return;
    drag.moved ||= Math.abs(event.clientY - drag.y) > 6;
    if (drag.moved) find("#sheet").style.height = `${Math.max(96, drag.height + drag.y - event.clientY)}px`;
  });
  grip.addEventListener("pointerup", () => {
    if (drag && drag.moved) {
      const share = find("#sheet").offsetHeight / window.innerHeight;
      set_sheet(share > 0.65 ? "full" : share < 0.22 ? "low" : sheet_states()[0]);
    }
  });
  grip.addEventListener("click", () => {
    if (!drag || !drag.moved) step_sheet();
    drag = null;
  });
  set_sheet("middle");
}
