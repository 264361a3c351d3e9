"""The attribute table of a coded raster, as GDAL and QGIS read it from a file beside the raster."""

from __future__ import annotations

from collections.abc import Sequence
from xml.sax.saxutils import escape

from covermap.wording.language import say
from covermap.wording.palette import TIERS
from covermap.wording.tier_names import mounting_words

Entry = tuple[int, str, str]  # value, label, colour
# GDAL's raster attribute tables: types 0 whole number, 2 text; usages 5 the value, 2 its name, 0 anything
WHOLE, TEXT = 0, 2
VALUE, NAME, OTHER = 5, 2, 0
LAST_INDOORS = 3  # tier


def tier_attributes(tier_names: Sequence[str], bands: int = 1) -> str:
    """Return the file of a tier raster: category names, and a table with the mountings."""
    indoors = say("raster.columns.yes"), say("raster.columns.no")
    rows = [
        (look.number, name, mounting_words(look.number), indoors[look.number > LAST_INDOORS])
        for look, name in zip(TIERS, tier_names, strict=True)
    ]
    categories = {look.number: f"{look.number} {name}" for look, name in zip(TIERS, tier_names, strict=True)}
    columns = [("TIER_NAME", TEXT, NAME), ("MOUNTING", TEXT, OTHER), ("INDOORS", TEXT, OTHER)]
    return _document(categories, columns, rows, bands)


def code_attributes(entries: Sequence[Entry], bands: int = 1) -> str:
    """Return the file of any other coded raster: category names, and a table of values and their names."""
    categories = {value: label for value, label, _ in entries}
    return _document(categories, [("MEANING", TEXT, NAME)], list(categories.items()), bands)


def _document(
    categories: dict[int, str],
    columns: Sequence[tuple[str, int, int]],
    rows: Sequence[tuple[int | str, ...]],
    bands: int,
) -> str:
    """Return the XML, the same for each band. GDAL counts category names from 0, so gaps are empty names."""
    names = [categories.get(value, "") for value in range(max(categories, default=-1) + 1)]
    listed = "".join(f"      <Category>{escape(name)}</Category>\n" for name in names)
    fields = "".join(
        f'      <FieldDefn index="{index}"><Name>{name}</Name><Type>{kind}</Type>'
        f"<Usage>{usage}</Usage></FieldDefn>\n"
        for index, (name, kind, usage) in enumerate([("VALUE", WHOLE, VALUE), *columns])
    )
    values = "".join(
        f'      <Row index="{index}">{"".join(f"<F>{escape(str(cell))}</F>" for cell in row)}</Row>\n'
        for index, row in enumerate(rows)
    )
    table = (
        f"    <CategoryNames>\n{listed}    </CategoryNames>\n"
        f'    <GDALRasterAttributeTable tableType="thematic">\n{fields}{values}'
        "    </GDALRasterAttributeTable>\n"
    )
    parts = "".join(
        f'  <PAMRasterBand band="{band}">\n{table}  </PAMRasterBand>\n' for band in range(1, bands + 1)
    )
    return f"<PAMDataset>\n{parts}</PAMDataset>\n"
