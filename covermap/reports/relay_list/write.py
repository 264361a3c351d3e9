"""Writes relays.gpkg, relays.csv and relays.html."""

from __future__ import annotations

import base64
from pathlib import Path
from typing import Any

import geopandas as gpd
import pyogrio

from covermap.planning.relay_shortlist import RelayShortlist
from covermap.reports.relay_list.picture import fill_in_key, relay_picture
from covermap.reports.relay_list.words import count_words, relay_cautions, relays_in_words
from covermap.reports.templates import templates_beside
from covermap.result.coverage import Coverage
from covermap.result.csv_tables import write_csv
from covermap.result.whole_file import whole_file, write_text
from covermap.wording.language import say
from covermap.wording.retold import retold
from covermap.wording.words import height, margin

TEMPLATES = templates_beside(__file__)


def write_relays(
    found: RelayShortlist, coverage: Coverage, title: str, folder: Path, units: tuple[str, str] = ("km", "m")
) -> list[str]:
    """Write layer, table and page of a shortlist; return it in sentences.

    coverage : the result it was made from; units : of distances and heights as people read them
    """
    folder.mkdir(parents=True, exist_ok=True)
    sentences = relays_in_words(found)
    sites: gpd.GeoDataFrame = found.sites
    if len(sites):
        with whole_file(folder / "relays.gpkg") as temporary:
            pyogrio.write_dataframe(
                sites,
                temporary,
                layer="relays",
                driver="GPKG",
                dataset_options={"VERSION": "1.2"},
                layer_options={
                    "GEOMETRY_NAME": "geom",
                    "DESCRIPTION": " ".join([*sentences, *relay_cautions()]),
                },
            )
    write_csv(sites, folder / "relays.csv")
    facts = _facts(found, coverage, title, sentences, units)
    write_text(folder / "relays.html", TEMPLATES.get_template("relays.html").render(facts=facts))
    return sentences


def _facts(
    found: RelayShortlist, coverage: Coverage, title: str, sentences: list[str], units: tuple[str, str]
) -> dict[str, Any]:
    picture = relay_picture(found, coverage, units[0])
    chosen = int(found.sites["chosen"].sum()) if len(found.sites) else 0
    what = "homes" if found.of_homes else "land"
    counted = [f"{name}_{what}" for name in ("reached", "added", "harmed")]
    return {
        "title": title,
        "sentences": sentences,
        "picture": {
            "base64": base64.b64encode(picture.png).decode("ascii"),
            "width": picture.width_px,
            "fill": fill_in_key(),
        },
        "columns": [say(f"relay.{name}") for name in ("rank", "place", "ground", *counted, "donor")],
        "rows": [_row(found, row, units[1]) for _, row in found.sites.iterrows()],
        "chosen": say("relay.chosen_one") if chosen == 1 else say("relay.chosen", count=chosen),
        "relay_cautions": relay_cautions(),
        "cautions": retold(coverage.run.get("cautions", [])),
    }


def _row(found: RelayShortlist, row: Any, height_unit: str) -> dict[str, Any]:
    def of(what: str) -> str:
        return count_words(float(row[found.column(what)]), found.of_homes)

    return {
        "rank": str(row["rank"]),
        "chosen": bool(row["chosen"]),
        "place": f"{row['latitude_deg']:.5f}, {row['longitude_deg']:.5f}",
        "ground": height(row["ground_m"], height_unit),
        "reached": of("reached"),
        "added": of("added") if row["chosen"] else "",
        "harmed": of("harmed"),
        "donor": margin(row["donor_margin_db"]),
    }
