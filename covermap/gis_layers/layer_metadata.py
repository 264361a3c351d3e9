"""What a layer is, when it was made, from what and with what cautions, as QGIS layer metadata."""

from __future__ import annotations

from typing import Any
from xml.sax.saxutils import escape

import pyproj

from covermap.gis_layers.tier_areas import SMALLEST_PATCH_CELLS
from covermap.planning.dead_zones import SMALLEST_CELLS as SMALLEST_ZONE_CELLS
from covermap.wording.language import ENGLISH, messages, say, spoken
from covermap.wording.retold import retold
from covermap.wording.run_facts import dates_of_stations

_SMALLEST_CELLS = {"tier_areas": SMALLEST_PATCH_CELLS, "dead_zones": SMALLEST_ZONE_CELLS}


def description_of(layer: str) -> str:
    """Return what a layer of coverage.gpkg holds; empty for a table that says it of itself."""
    key = f"layer.{layer}"
    return say(key, smallest=_SMALLEST_CELLS.get(layer)) if key in messages(ENGLISH) else ""


def layer_metadata(run: dict[str, Any], title: str, description: str, crs_wkt: str) -> str:
    """Return the metadata of a layer as QGIS keeps it.

    run : content of run.json; description : what the layer holds, in one sentence or two
    """
    return (
        "<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>\n"
        f'<qgis version="3.22.0">\n{metadata_body(run, title, description, crs_wkt)}</qgis>\n'
    )


def metadata_body(run: dict[str, Any], title: str, description: str, crs_wkt: str) -> str:
    """Return the inner elements of a layer's metadata; also those of a project."""
    cautions = "".join(
        f'<constraints type="caution">{escape(text)}</constraints>\n'
        for text in retold(run.get("cautions", []))
    )
    history = "".join(f"<history>{escape(text)}</history>\n" for text in history_of(run))
    crs = pyproj.CRS.from_wkt(crs_wkt)
    # None for a grid of its own, which no authority knows: the WKT then stands alone.
    authority = ":".join(crs.to_authority() or ())
    return (
        f"<identifier>{escape(run.get('run_id', ''))}</identifier>\n<parentidentifier></parentidentifier>\n"
        f"<language>{spoken()}</language>\n<type>dataset</type>\n<title>{escape(title)}</title>\n"
        f"<abstract>{escape(abstract_of(run, description))}</abstract>\n"
        '<keywords vocabulary="gmd:topicCategory"><keyword>utilitiesCommunication</keyword></keywords>\n'
        f"{cautions}<encoding></encoding>\n"
        f"<crs><spatialrefsys><wkt>{escape(crs_wkt)}</wkt><authid>{authority}</authid>"
        f"<description>{escape(crs.name)}</description></spatialrefsys></crs>\n<extent></extent>\n{history}"
    )


def abstract_of(run: dict[str, Any], description: str) -> str:
    """Return what the layer holds, of which run, and every caution."""
    heading = say("layer.of", name=run.get("name") or say("run.unnamed"), what=description)
    return "\n".join([heading, *history_of(run), *retold(run.get("cautions", []))])


def history_of(run: dict[str, Any]) -> list[str]:
    """Return when a run was made, by what, and from which editions, one sentence each."""
    models = run.get("models", {})
    chosen = models.get(models.get("chosen", ""), "")
    others = [
        text for key, text in models.items() if key in ("clutter_at_the_terminal", "building_entry", "noise")
    ]
    sentences = []
    if run.get("finished"):
        sentences.append(say("layer.made", moment=run["finished"]))
    if run.get("versions"):
        versions = run["versions"]
        made_by = {"version": versions.get("covermap", ""), "physics": versions.get("physics", "")}
        sentences.append(say("layer.versions", **made_by))
    if chosen:
        sentences.append(say("layer.path_loss", model=chosen, others=", ".join(others)))
    if run.get("stations_as_of"):
        sentences.append(say("page.as_of", date=dates_of_stations(run)))
    return [*sentences, say("layer.run", run_id=run.get("run_id", ""))]
