// The next dead zone: places where most likely none of the listed services can be had, most homes first.
"use strict";

let zone_order = -1; // of the zone shown last, in the list's zones

function zone_words(zone, order, count) {
  const kind = say(zone.kind === "dead" ? "page.zone.dead" : "page.zone.doubtful");
  const near = zone.near_name ? say("page.zone.near", { name: zone.near_name }) : "";
  const homes = zone.homes == null ? "" : `: ${say("page.homes", { count: few_or(zone.homes) })}`;
  return `${say("page.zone.of", { kind, number: order + 1, all: count })}${near}${homes}.`;
}

function next_zone() {
  const { zones } = page.list;
  if (!zones.length) return say_found(say("page.zone.none"));
  zone_order = (zone_order + 1) % zones.length;
  const zone = zones[zone_order];
  const words = zone_words(zone, zone_order, zones.length);
  return Promise.resolve(go_to(zone, `${words} ${say("page.find.outside_map")}`)).then(() => say_found(words));
}
