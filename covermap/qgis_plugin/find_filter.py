"""Finds neighbourhoods, stations and places of the loaded results from QGIS's own search bar."""

from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsCoordinateTransform,
    QgsLocatorFilter,
    QgsLocatorResult,
    QgsPointXY,
    QgsProject,
    QgsVectorLayer,
)

from .ground_line import stations_of
from .reading import LoadedResult, results_in
from .result_folder import ResultError
from .sheet_task import scenario_of

LEAST_LETTERS = 2
MOST_FOUND = 30
NAME_COLUMNS = ("name", "place", "label")  # of a file of places, in this order; else its first column
WGS84 = "EPSG:4326"


class FindFilter(QgsLocatorFilter):
    """Names of the results that are loaded. chosen : told the place (QgsPointXY in WGS 84) that was picked"""

    def __init__(self, chosen):
        super().__init__()
        self.chosen = chosen
        self.names = []

    def clone(self):
        """Return a copy for the search's own thread."""
        # QGIS searches with a copy in a thread of its own. It calls prepare() of the copy in the main thread
        # first: only there may layers of the project be read.
        return FindFilter(self.chosen)

    def name(self):
        """Return the id."""
        return "covermap_places"

    def displayName(self):
        """Return what people read."""
        return "covermap: neighbourhoods, stations and places"

    def prefix(self):
        """Return what limits a search to these names."""
        return "tv"

    def prepare(self, string, context):
        """Gather the names, in the main thread."""
        self.names = names_of_results(QgsProject.instance())
        return []

    def fetchResults(self, string, context, feedback):
        """Report what holds the text."""
        asked, found = string.strip().lower(), 0
        if len(asked) < LEAST_LETTERS:
            return
        for name, kind, point in self.names:
            if feedback.isCanceled() or found >= MOST_FOUND:
                return
            if asked in name.lower():
                result = QgsLocatorResult(self, name, (point.x(), point.y()))
                result.description = kind
                result.score = 1.0 if name.lower().startswith(asked) else 0.5
                self.resultFetched.emit(result)
                found += 1

    def triggerResult(self, result):
        """Show the place that was picked."""
        read = getattr(result, "getUserData", None)  # since 3.34; an attribute before
        self.chosen(QgsPointXY(*(result.userData if read is None else read())))


def names_of_results(project):
    """Return (name, what it is, QgsPointXY in WGS 84) of everything the loaded results have a name for."""
    found = []
    for folder in results_in(project):
        try:
            result = LoadedResult(folder)
        except ResultError:
            continue
        found += _of_layer(f"{folder / 'coverage.gpkg'}|layername=neighbourhoods", "neighbourhood", project)
        for station in stations_of(result):
            point = QgsPointXY(station["longitude_deg"], station["latitude_deg"])
            found.append((f"{station['service']}, {station['mast']}", "station", point))
        places, scenario = _places_file(result), scenario_of(result)
        if places and scenario is not None:
            found += _of_layer(str(scenario.parent / places), "place", project)
    once = {(name, kind, point.x(), point.y()): point for name, kind, point in found}  # lists repeat outlines
    return [(name, kind, point) for (name, kind, *_), point in once.items()]


def _places_file(result):
    return (result.run.get("options", {}).get("areas") or {}).get("places")


def _of_layer(source, kind, project):
    layer = QgsVectorLayer(source, kind, "ogr")
    if not layer.isValid() or not layer.fields().count():
        return
    columns = [name for name in layer.fields().names() if name not in ("fid", "ogc_fid")]
    wanted = ("neighbourhood_name",) if kind == "neighbourhood" else NAME_COLUMNS
    column = next((name for name in wanted if name in columns), columns[0])
    to_wgs84 = QgsCoordinateTransform(
        layer.crs(), QgsCoordinateReferenceSystem(WGS84), project.transformContext()
    )
    for feature in layer.getFeatures():
        # not the centroid, which may lie outside a bent outline
        inside = feature.geometry().pointOnSurface()
        if isinstance(feature[column], str) and not inside.isEmpty():
            yield feature[column], kind, to_wgs84.transform(inside.asPoint())
