"""The place asked, drawn on the canvas with an arrow along each aim."""

import math

from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsCoordinateTransform,
    QgsDistanceArea,
    QgsGeometry,
    QgsPointXY,
    QgsProject,
    QgsWkbTypes,
)
from qgis.gui import QgsRubberBand
from qgis.PyQt.QtCore import Qt
from qgis.PyQt.QtGui import QColor

# pixels of the screen: the arrow tells a direction, no distance, and has one length at every scale
ARROW_PX, HEAD_PX, HEAD_DEG = 90.0, 16.0, 152.0
INK, CASING = "#111111", "#FFFFFF"
STEP_M = 200.0  # far enough to tell a direction on the canvas, near enough for it to be straight


class AimMark:
    """A cross at a place and an arrow of one length on the screen along each aim; light under dark."""

    def __init__(self, canvas):
        self.canvas = canvas
        self.place = None
        self.aims = ()
        self.bands = []
        # Pixels in map units change with every zoom: the mark is drawn anew.
        canvas.extentsChanged.connect(self.draw)
        canvas.destinationCrsChanged.connect(self.draw)

    def show(self, place_wgs84, aims_deg_true):
        """Draw a place and its aims, in place of the last."""
        self.place, self.aims = place_wgs84, tuple(aims_deg_true)
        self.draw()

    def clear(self):
        """Take the mark off the canvas."""
        self.place = None
        self.draw()

    def close(self):
        """Take the mark away for good."""
        self.clear()
        self.canvas.extentsChanged.disconnect(self.draw)
        self.canvas.destinationCrsChanged.disconnect(self.draw)

    def draw(self):
        """Draw the mark anew at the canvas's scale."""
        for band in self.bands:
            self.canvas.scene().removeItem(band)
        self.bands = []
        if self.place is None:
            return
        lines = self.lines()
        # All casings before all ink, so that no casing cuts another line where two cross.
        for colour, width in ((CASING, 6), (INK, 2.5)):
            for line in lines:
                self._add(line, colour, width)
        self.canvas.update()

    def lines(self):
        """Return the lines of the mark, lists of points in the canvas's CRS."""
        to_canvas = QgsCoordinateTransform(
            QgsCoordinateReferenceSystem("EPSG:4326"),
            self.canvas.mapSettings().destinationCrs(),
            QgsProject.instance().transformContext(),
        )
        here, pixel = to_canvas.transform(self.place), self.canvas.mapUnitsPerPixel()
        cross = HEAD_PX / 2 * pixel
        lines = [
            [QgsPointXY(here.x() - cross, here.y()), QgsPointXY(here.x() + cross, here.y())],
            [QgsPointXY(here.x(), here.y() - cross), QgsPointXY(here.x(), here.y() + cross)],
        ]
        for aim in self.aims:
            # Through a place on the ellipsoid, not by the angle itself: the canvas's north is not true north.
            on = to_canvas.transform(_along(self.place, aim, STEP_M))
            angle = math.atan2(on.y() - here.y(), on.x() - here.x())
            tip = _from(here, angle, ARROW_PX * pixel)
            lines.append([here, tip])
            head = math.radians(HEAD_DEG)
            lines.append(
                [_from(tip, angle + head, HEAD_PX * pixel), tip, _from(tip, angle - head, HEAD_PX * pixel)]
            )
        return lines

    def _add(self, line, colour, width):
        band = QgsRubberBand(self.canvas, QgsWkbTypes.GeometryType.LineGeometry)
        band.setColor(QColor(colour))
        band.setWidth(round(width))
        band.setLineStyle(Qt.PenStyle.SolidLine)
        band.setToGeometry(QgsGeometry.fromPolylineXY(line), None)
        self.bands.append(band)


def _along(place, azimuth_deg, distance_m):
    """Return the place so far along a bearing from true north, on the WGS 84 ellipsoid."""
    measure = QgsDistanceArea()
    measure.setSourceCrs(QgsCoordinateReferenceSystem("EPSG:4326"), QgsProject.instance().transformContext())
    # Without an ellipsoid QGIS measures on the plane of the degrees.
    measure.setEllipsoid("EPSG:7030")
    return measure.computeSpheroidProject(place, distance_m, math.radians(azimuth_deg))


def _from(point, angle, length):
    return QgsPointXY(point.x() + length * math.cos(angle), point.y() + length * math.sin(angle))
