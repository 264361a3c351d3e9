// Where the reader is: the place in the page's address, and the browser's own position where it tells it.
"use strict";

// The chosen square and what is shown, so that a link opens there: #44.01,-35.66/cause.
function write_link(cell) {
  const place = cell ? `${cell.latitude_deg.toFixed(5)},${cell.longitude_deg.toFixed(5)}` : "";
  const shown = page.shows === "tier" ? "" : `/${page.shows}`;
  try {
    history.replaceState(null, "", place || shown ? `#${place}${shown}` : location.pathname + location.search);
  } catch {
    // some browsers keep the address of a file as it is
  }
}

// What an address asks for: {place, shows}; null without.
function read_link(hash) {
  const found = /^#(-?\d+(?:\.\d+)?,-?\d+(?:\.\d+)?)?(?:\/(\w+))?$/.exec(hash);
  if (!found || (!found[1] && !found[2])) return null;
  const [latitude_deg, longitude_deg] = (found[1] || "").split(",").map(Number);
  return { place: found[1] ? { latitude_deg, longitude_deg } : null, shows: found[2] in MODES && is_mode_there(found[2]) ? found[2] : null };
}

function open_link() {
  const asked = read_link(location.hash);
  if (!asked) return;
  if (asked.shows) choose_shows(asked.shows);
  if (asked.place) go_to(asked.place, say("page.find.outside_map"));
}

function can_locate() {
  return "geolocation" in navigator && window.isSecureContext;
}

function locate() {
  say_found(say("page.where.asking"));
  navigator.geolocation.getCurrentPosition(({ coords }) => {
    const place = { latitude_deg: coords.latitude, longitude_deg: coords.longitude };
    Promise.resolve(go_to(place, say("page.where.outside", { position: position_text(place) })))
      .then(() => { if (pixel_at(L.latLng(place.latitude_deg, place.longitude_deg))) say_found(say("page.where.here", { position: position_text(place), metres: height_text(coords.accuracy) })); });
  }, () => say_found(say("page.where.refused")), { enableHighAccuracy: true, timeout: 15000 });
}

function start_where() {
  const own = find("#locate");
  own.hidden = !can_locate();
  own.addEventListener("click", locate);
  window.addEventListener("hashchange", open_link);
}
