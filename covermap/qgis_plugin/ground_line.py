"""The ground between a place and a mast, from the result's own raster of the ground."""

import math

from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsCoordinateTransform,
    QgsDistanceArea,
    QgsPointXY,
    QgsProject,
    QgsVectorLayer,
)

EARTH_RADIUS_KM = 6371.0  # ITU-R P.1812-8 section 4.1
RECEIVER_M = 10.0  # the height that paths of a result end at
STEPS = 400
WGS84 = "EPSG:4326"


class GroundLine:
    """The ground from a mast (distance 0) to a place, with the earth's bulge on top.

    distance_km, ground_m : lists; ground_m is None where the result knows no ground, bulge included
    line_m : height of the straight line from the mast's antenna to the receiving antenna at each distance;
        empty where the ground at one of them is not known
    hills : (distance_km, how far above the line in m), the highest point of each stretch above the line
    unknown_km : how much of the way lies beyond the result's ground
    """

    def __init__(self, result, place_wgs84, station):
        """Sample the ground. station : one of stations_of()."""
        mast = QgsPointXY(station["longitude_deg"], station["latitude_deg"])
        measure = QgsDistanceArea()
        measure.setSourceCrs(QgsCoordinateReferenceSystem(WGS84), QgsProject.instance().transformContext())
        measure.setEllipsoid("EPSG:7030")
        self.length_km = measure.measureLine(mast, place_wgs84) / 1000.0
        self.azimuth_deg = math.degrees(measure.bearing(place_wgs84, mast)) % 360.0
        # radians, as computeSpheroidProject() takes it
        bearing = measure.bearing(mast, place_wgs84)
        to_result = QgsCoordinateTransform(
            QgsCoordinateReferenceSystem(WGS84), result.crs, QgsProject.instance().transformContext()
        )
        dn = result.run.get("options", {}).get("prediction", {}).get("dn", 45.0)
        radius_km = EARTH_RADIUS_KM * 157.0 / (157.0 - dn)  # ITU-R P.1812-8, effective earth radius
        self.distance_km, self.ground_m, self.line_m = [], [], []
        for step in range(STEPS + 1):
            distance = self.length_km * step / STEPS
            point = measure.computeSpheroidProject(mast, distance * 1000.0, bearing)
            ground = result.height(to_result.transform(point))
            # The earth is drawn flat with the bulge added to the ground: d1 d2 / 2a, both distances small
            # against a.
            bulge_m = 1000.0 * distance * (self.length_km - distance) / (2.0 * radius_km)
            self.distance_km.append(distance)
            self.ground_m.append(None if ground is None else ground + bulge_m)
        self._draw_line(station)
        self.hills = list(_above(self.distance_km, self.ground_m, self.line_m)) if self.line_m else []
        unknown = sum(ground is None for ground in self.ground_m)
        self.unknown_km = self.length_km * unknown / (STEPS + 1)

    def _draw_line(self, station):
        # What the run took for the ground at the mast, which may stand outside the raster.
        foot = station["ground_m"] if station["ground_m"] is not None else self.ground_m[0]
        if foot is None or self.ground_m[-1] is None:
            return
        first = foot + (station["antenna_height_m"] or 0.0)
        last = self.ground_m[-1] + RECEIVER_M
        self.line_m = [first + (last - first) * step / STEPS for step in range(STEPS + 1)]


def _above(distance_km, ground_m, line_m):
    """Yield the highest point of each stretch of ground above the line."""
    best = None
    # Without the ends: mast and place stand on the ground there, and are no hills of their own.
    for distance, ground, line in zip(distance_km[1:-1], ground_m[1:-1], line_m[1:-1]):
        over = None if ground is None else ground - line
        if over is not None and over > 0.0:
            best = max(best or (0.0, distance), (over, distance))
        elif best is not None:
            yield best[1], best[0]
            best = None
    if best is not None:
        yield best[1], best[0]


def stations_of(result):
    """Return the stations of a result, dicts with station_id, service, mast and what GroundLine needs."""
    layer = QgsVectorLayer(f"{result.folder / 'coverage.gpkg'}|layername=transmitters", "stations", "ogr")
    names = ("station_id", "service", "mast", "latitude_deg", "longitude_deg", "antenna_height_m")
    found = []
    for feature in layer.getFeatures():
        station = {name: _known(feature[name]) for name in names}
        station["ground_m"] = _known(feature["ground_terrain_m"])
        found.append(station)
    return found


def _known(value):
    """Return an attribute; None for the missing values of QGIS."""
    # By what it is, not by what it is not: a missing value is None, NULL or an empty variant by version of
    # QGIS.
    return value if isinstance(value, (int, float, str)) else None
