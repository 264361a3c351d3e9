"""A result as a notebook shows it: a small map of the first list, and land and homes by tier."""

from __future__ import annotations

import base64
import io
from html import escape

import numpy as np

from covermap.planning.tier_totals import tier_totals
from covermap.result.coarsened import coarsened
from covermap.result.coverage import Coverage
from covermap.wording.palette import TIERS, rgb

MAP_CELLS = 160 * 160  # squares of the small map at most, or pixels of it where there are fewer
SMALLEST_PX = 240


def coverage_html(coverage: Coverage) -> str:
    """Return the result as a piece of HTML: no script, no style sheet, nothing from the network."""
    first = coverage.lists[0]
    totals = tier_totals(coverage, coverage.tier_names)
    rows = totals[totals["wanted_list"] == first]
    of_homes = rows["homes"].notna().all()
    colours: dict[object, str] = {look.number: look.painted for look in TIERS}
    heads = ["", "Antenna needed", "Land, km²", *(["Homes"] if of_homes else [])]
    body = "".join(
        f'<tr><td style="background:{colours.get(row.tier, "transparent")}">&emsp;</td>'
        f'<td style="text-align:left">{escape(_label(row.tier, str(row.tier_name)))}</td>'
        f"<td>{row.area_km2:,.1f}</td>" + (f"<td>{row.homes:,.0f}</td>" if of_homes else "") + "</tr>"
        for row in rows.itertuples()
    )
    return (
        f"<div><p>{escape(repr(coverage))}</p>"
        f'<div style="display:flex;gap:1em;align-items:flex-start">{_picture(coverage, first)}'
        f"<table><caption>List {escape(first)}</caption><thead><tr>"
        f"{''.join(f'<th>{head}</th>' for head in heads)}</tr></thead><tbody>{body}</tbody></table></div>"
        f"<p>{escape(' '.join(coverage.run.get('cautions', [])[:1]))}</p></div>"
    )


def _picture(coverage: Coverage, list_name: str) -> str:
    """Return the map of the tier as an image of its own, a pixel or more a square."""
    from matplotlib.image import imsave

    tier = coarsened(coverage, MAP_CELLS).read(f"{list_name}/tier")
    colours = np.zeros((256, 4), dtype=np.uint8)
    for look in TIERS:
        colours[look.number] = (*rgb(look.painted), 255)
    # whole pixels a square, repeated: a browser would blur a small picture that it enlarges
    times = max(1, -(-SMALLEST_PX // max(tier.shape)))
    file = io.BytesIO()
    imsave(file, colours[tier.repeat(times, axis=0).repeat(times, axis=1)], format="png")
    data = base64.b64encode(file.getvalue()).decode("ascii")
    return f'<img alt="Antenna needed, north up" src="data:image/png;base64,{data}">'


def _label(tier: object, name: str) -> str:
    return name if name == "unknown" else f"{tier} {name}"
