"""What a result folder says at one place, from its rasters alone; needs no command.

Words and codes are never written here: each raster carries its own labels, in the style beside it.
"""

import csv
import math
from pathlib import Path

from osgeo import gdal
from qgis.core import QgsCoordinateReferenceSystem, QgsPointXY, QgsRasterLayer

from .result_folder import raster_file, read_result

NOT_PROMISED = 8
STOCK_FILE = "stock.csv"
SECOND_ANTENNA = "second_antenna"
OUTSIDE_BIT = 4  # of the raster `flags`
BY_INTERFERENCE = ("same_channel", "next_channel")  # causes with another station behind them


class LoadedResult:
    """A result folder, asked place by place.

    folder : the folder; run : its run.json; crs : that of its rasters; lists : its wanted lists
    """

    def __init__(self, folder):
        self.folder = Path(folder)
        self.run = read_result(folder)
        self.crs = QgsCoordinateReferenceSystem.fromWkt(self.run["grid"]["crs_wkt"])
        self.lists = list(self.run["wanted"])
        self._rasters = {}
        self._prices = None

    @property
    def name(self):
        """Return what people call it."""
        return self.run.get("name") or self.folder.name

    def services(self, list_name):
        """Return the services of a list in order."""
        return list(self.run["wanted"][list_name]["services"])

    def value(self, raster, place, band=1):
        """Return the value of a raster (a name such as "main/tier") at a place; None where it has none."""
        layer = self._raster(raster)
        if layer is None or band > layer.bandCount():
            return None
        found, known = layer.dataProvider().sample(place, band)
        return found if known else None

    def height(self, place):
        """Return the ground at a place in m, bilinear between the middles of squares; None where unknown."""
        layer = self._raster("ground")
        if layer is None:
            return None
        cell, box = layer.rasterUnitsPerPixelX(), layer.extent()
        col, row = (place.x() - box.xMinimum()) / cell - 0.5, (place.y() - box.yMinimum()) / cell - 0.5
        right, up = col - math.floor(col), row - math.floor(row)
        found = weights = 0.0
        for dx, share_x in ((0, 1.0 - right), (1, right)):
            for dy, share_y in ((0, 1.0 - up), (1, up)):
                x = box.xMinimum() + (math.floor(col) + dx + 0.5) * cell
                y = box.yMinimum() + (math.floor(row) + dy + 0.5) * cell
                ground = self.value("ground", QgsPointXY(x, y))
                if ground is not None:
                    found += share_x * share_y * ground
                    weights += share_x * share_y
        # At an edge of the ground the known corners count, as long as they hold half of the weight.
        return found / weights if weights >= 0.5 else None

    def covers(self, place):
        """Return whether a place lies within the edges of the rasters."""
        layer = self._raster("flags")
        return layer is not None and layer.extent().contains(place)

    def bands(self, raster):
        """Return how many bands a raster has; 0 where there is none of that name."""
        layer = self._raster(raster)
        return 0 if layer is None else layer.bandCount()

    def label(self, raster, value):
        """Return what the raster's own legend calls a value; "" where it has no word for it."""
        layer = self._raster(raster)
        if layer is None or value is None:
            return ""
        renderer = layer.renderer()
        if renderer.type() == "paletted":
            return next((one.label for one in renderer.classes() if one.value == value), "")
        if renderer.type() == "singlebandpseudocolor":
            steps = renderer.shader().rasterShaderFunction().colorRampItemList()
            # each step includes its upper end, as the style was written
            return next((step.label for step in steps if value <= step.value), "")
        return ""

    def code(self, raster, tag, value):
        """Return the code that a value stands for by a tag of its raster, such as CAUSES; None without."""
        layer = self._raster(raster)
        if layer is None or value is None:
            return None
        codes = (gdal.Open(layer.source()).GetMetadataItem(tag) or "").split("|")
        return codes[value] if value < len(codes) else None

    def at(self, place, list_name):
        """Return what a list needs at a place, a dict; see answer_at().

        place : QgsPointXY in the result's CRS
        """
        return answer_at(self, place, list_name)

    def price(self, list_name, tier, second_antenna):
        """Return what the parts of a class cost by the result's own prices; None without prices."""
        if self._prices is None:
            self._prices = _read_prices(self.folder / STOCK_FILE)
        prices = self._prices.get(list_name, {})
        items = [f"antenna_tier_{tier}", *self.run.get("parts_of_tiers", {}).get(str(tier), [])]
        if second_antenna:
            items.append(SECOND_ANTENNA)
        found = [prices.get(item) for item in items]
        # One part without a price makes the sum no price.
        return None if None in found else sum(found)

    def _raster(self, name):
        if name not in self._rasters:
            path = raster_file(self.folder, name)
            layer = QgsRasterLayer(str(path), name) if path.is_file() else None
            # None is kept too: rasters a result lacks are asked for at every click.
            self._rasters[name] = layer if layer is not None and layer.isValid() else None
        return self._rasters[name]


def answer_at(result, place, list_name):
    """Return what the wanted list needs at a place of a result.

    Returns
    -------
    dict: status (ok | unknown | outside), tier, tier_name, chance_percent, chance_words,
        aims_deg_true, aim_range_deg (first and last that keep the list, None where unknown),
        deciding_service, limiting_service, main_cause (words), cause_code, amplifier, remarks, price,
        services [(service, chance, words, chance one class lower, cause)],
        services_by_class [(class, how many services)]
    """

    def value(kind, band=1):
        found = result.value(f"{list_name}/{kind}", place, band)
        return None if found is None else int(found)

    def word(kind, band=1):
        return result.label(f"{list_name}/{kind}", value(kind, band))

    tier = value("tier")
    answer = {"status": "ok", "tier": tier}
    if tier is None:
        # Without a class a square is outside the asked area or unknown; the remarks tell which.
        flags = result.value("flags", place)
        beyond = not result.covers(place) or (flags is not None and int(flags) & OUTSIDE_BIT)
        answer["status"] = "outside" if beyond else "unknown"
        return answer
    chance = value("two_antennas_chance")  # where the answer has two, theirs; else that of the class
    chance = value("tier_chance", min(tier, NOT_PROMISED - 1)) if chance is None else chance
    cause = result.code(f"{list_name}/main_cause", "CAUSES", value("main_cause"))
    behind = word("interferer") if cause in BY_INTERFERENCE else ""
    aims = [one for one in (value("aim"), value("second_aim")) if one is not None and one >= 0]
    reach = value("aim_from"), value("aim_to")
    return {
        **answer,
        "tier_name": word("tier") or str(tier),
        "chance_percent": chance,
        "chance_words": _after_comma(result.label(f"{list_name}/tier_chance", chance)),
        "aims_deg_true": aims,
        "aim_range_deg": None if None in reach else reach,
        "deciding_service": word("deciding_service"),
        "limiting_service": word("limiting_service"),
        "main_cause": ", ".join(part for part in (word("main_cause"), behind) if part),
        "cause_code": cause,
        "amplifier": word("amplifier"),
        "remarks": _remarks(result, place, list_name),
        "price": result.price(list_name, tier, len(aims) > 1),
        "services": _services(result, place, list_name),
        "services_by_class": _by_class(result, place),
    }


def _services(result, place, list_name):
    found = []
    for band, service in enumerate(result.services(list_name), start=1):
        chance, lower, cause = (
            result.value(f"{list_name}/{kind}", place, band)
            for kind in ("service_chance", "service_chance_one_lower", "service_cause")
        )
        words = _after_comma(result.label(f"{list_name}/service_chance", chance))
        found.append((service, chance, words, lower, result.label(f"{list_name}/service_cause", cause)))
    return found


def _by_class(result, place):
    """Return class and number of services, listed or not, where the result counts them class by class."""
    names, raster = result.run.get("tier_names", []), "services_count"
    counts = [result.value(raster, place, band) for band in range(1, result.bands(raster) + 1)]
    return [(f"{index} {name}", int(count)) for index, (name, count) in enumerate(zip(names, counts), start=1)
            if count is not None]  # fmt: skip


def _remarks(result, place, list_name):
    remarks = []
    for raster in (f"{list_name}/plan_flags", "flags"):
        flags = result.value(raster, place)
        if flags:
            remarks.append(result.label(raster, flags))
    return [remark for remark in remarks if remark]


def _after_comma(label):
    """Return the words of a step such as "70 to 89 %, likely"."""
    return label.split(", ", 1)[1] if ", " in label else label


def _read_prices(path):
    """Return list -> item -> price of one, from the stock table of a result; empty without prices."""
    found = {}
    if path.is_file():
        with open(path, encoding="utf-8", newline="") as file:
            for row in csv.DictReader(file):
                if row.get("price_each"):
                    found.setdefault(row["wanted_list"], {})[row["item"]] = float(row["price_each"])
    return found


def results_in(project):
    """Return the result folders whose layers a project holds, in the order of its layer tree."""
    found = []
    for node in project.layerTreeRoot().findLayers():
        layer = node.layer()
        path = Path(layer.source().split("|")[0]) if layer is not None else None
        for folder in () if path is None else path.parents:
            if (folder / "run.json").is_file() and (folder / "coverage.gpkg").is_file():
                if folder not in found:
                    found.append(folder)
                break
    return found
