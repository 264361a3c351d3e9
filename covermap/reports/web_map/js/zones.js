// The next dead zone: places where most likely none of the listed services can be had, most homes first.
"use strict";

let zone_order = -1; // of the zone shown last, in the list's zones

function zone_words(zone, order, count) {
  const kind = zone.kind === "dead" ? "Dead zone" : "Doubtful zone";
  const near = zone.near_name ? `, near ${zone.near_name}` : "";
  const homes = zone.homes == null ? "" : `: ${few_or(zone.homes)} homes`;
  return `${kind} ${order + 1} of ${count}${near}${homes}.`;
}

function next_zone() {
  const { zones } = page.list;
  if (!zones.length) return say_found("There is no dead zone: everywhere that is known, a tall mast brings at least one listed service with some chance.");
  zone_order = (zone_order + 1) % zones.length;
  const zone = zones[zone_order];
  const words = zone_words(zone, zone_order, zones.length);
  return Promise.resolve(go_to(zone, `${words} It is outside the map.`)).then(() => say_found(words));
}
