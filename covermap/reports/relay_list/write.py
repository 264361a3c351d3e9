"""Writes relays.gpkg, relays.csv and relays.html."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import pyogrio

from covermap.planning.relay_shortlist import RelayShortlist
from covermap.reports.templates import templates_beside
from covermap.result.csv_tables import write_csv
from covermap.result.whole_file import whole_file, write_text
from covermap.wording.words import homes_number, join, margin, plural

RELAY_CAUTIONS = (
    "This is a shortlist to visit, not a design.",
    "Every relay is a licensed transmitter; the regulator decides whether, where and on which channel.",
    "The channels here are assumed: free in this station list says nothing of stations beyond it.",
    "Measure the donor signal on the site: its margin here is a prediction, its quality counts too.",
    "Power, an access road, the owner's consent and money for years of upkeep decide more than the terrain.",
)
TEMPLATES = templates_beside(__file__)


def relays_in_words(found: RelayShortlist) -> list[str]:
    """Return the shortlist in sentences."""
    sites = found.sites
    first = f'{found.candidates} hilltops tried for list "{found.list_name}": about '
    first += f"{homes_number(found.homes_sought)} homes need more than a rooftop antenna now."
    chosen = sites[sites["chosen"]] if len(sites) else sites
    if len(chosen) == 0:
        return [first, "No relay would bring more homes to a rooftop antenna than it harms."]
    total = homes_number(float(chosen["homes_added"].sum()))
    best = chosen.iloc[0]
    return [
        first,
        f"{_sites_in_words(len(chosen))} would bring {total} of them to a rooftop antenna; the first, at "
        f"{best.latitude_deg:.5f}, {best.longitude_deg:.5f}, {homes_number(best.homes_reached)} alone.",
        f"Assumed: 10 W ERP at 20 m, all directions alike, channels {', '.join(found.channels)} "
        f"({_others_in_words(found.same_channel, found.beside)}).",
    ]


def _sites_in_words(count: int) -> str:
    return "One site" if count == 1 else f"{count} sites together"


def _others_in_words(same_channel: int, beside: int) -> str:
    """Return what the station list says of the assumed channels."""
    if not same_channel and not beside:
        return "free in this station list, and the channels beside them too"
    parts = []
    if same_channel:
        parts.append(f"{plural(same_channel, 'station')} on them")
    if beside:
        parts.append(f"{plural(beside, 'station')} on a channel beside them")
    first = "" if same_channel else "free in this station list; "
    return f"{first}{join(parts)}: the homes that would lose one are counted as harmed"


def write_relays(found: RelayShortlist, cautions: list[str], title: str, folder: Path) -> list[str]:
    """Write layer, table and page of a shortlist; return it in sentences.

    cautions : those of the run
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
                    "DESCRIPTION": " ".join([*sentences, *RELAY_CAUTIONS]),
                },
            )
    write_csv(sites, folder / "relays.csv")
    rows = [
        {
            "rank": str(row.rank),
            "chosen": bool(row.chosen),
            "place": f"{row.latitude_deg:.5f}, {row.longitude_deg:.5f}",
            "ground": f"{row.ground_m:.0f} m",
            "reached": homes_number(row.homes_reached),
            "added": homes_number(row.homes_added) if row.chosen else "",
            "harmed": homes_number(row.homes_harmed),
            "donor": margin(row.donor_margin_db),
        }
        for row in sites.itertuples()
    ]
    facts = {
        "title": title, "sentences": sentences, "rows": rows, "relay_cautions": RELAY_CAUTIONS,
        "chosen": int(sites["chosen"].sum()) if len(sites) else 0,
        "cautions": cautions,
    }  # fmt: skip
    write_text(folder / "relays.html", TEMPLATES.get_template("relays.html").render(facts=facts))
    return sentences
