"""A window with the ground on the way to a mast, the straight line over it, and the hills above the line."""

from qgis.PyQt.QtCore import QPointF, QRectF
from qgis.PyQt.QtGui import QColor, QFontMetrics, QPainter, QPen, QPolygonF
from qgis.PyQt.QtWidgets import QDialog, QLabel, QVBoxLayout, QWidget

GROUND, EDGE, LINE, PAPER, INK = "#C2B59B", "#6E6250", "#1F4F56", "#FFFFFF", "#111111"
MARGIN_LEFT, MARGIN_RIGHT, MARGIN_TOP, MARGIN_BOTTOM = 58, 16, 40, 34
MOST_HILLS = 4
LEFT, MIDDLE, RIGHT = range(3)  # where words stand beside their place


class PathPicture(QWidget):
    """The picture alone. line : GroundLine; from_name, to_name : what stands at its ends"""

    def __init__(self, line, from_name, to_name, parent=None):
        super().__init__(parent)
        self.line, self.from_name, self.to_name = line, from_name, to_name
        self.setMinimumSize(560, 260)

    def paintEvent(self, event):
        """Draw ground, line, hills and both ends."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), QColor(PAPER))
        self._scale()
        self._draw_ground(painter)
        self._draw_axes(painter)
        if self.line.line_m:
            self._draw_line(painter)
        self._draw_hills(painter)
        self._text(painter, self.box.left(), 18, self.from_name, LEFT)
        self._text(painter, self.box.right(), 18, self.to_name, RIGHT)
        painter.end()

    def _scale(self):
        known = [height for height in self.line.ground_m if height is not None] + self.line.line_m
        low, high = min(known, default=0.0), max(known, default=0.0)
        # + 1: flat ground with the mast on it still has a height to draw
        self.low_m, self.span_m = low - 0.08 * (high - low + 1), 1.25 * (high - low + 1)
        self.box = QRectF(
            MARGIN_LEFT, MARGIN_TOP, self.width() - MARGIN_LEFT - MARGIN_RIGHT,
            self.height() - MARGIN_TOP - MARGIN_BOTTOM,
        )  # fmt: skip

    def _x(self, distance_km):
        # 1e-6: a place clicked right on the mast
        return self.box.left() + self.box.width() * distance_km / max(self.line.length_km, 1e-6)

    def _y(self, height_m):
        return self.box.bottom() - self.box.height() * (height_m - self.low_m) / self.span_m

    def _draw_ground(self, painter):
        painter.setPen(QPen(QColor(EDGE), 1.0))
        painter.setBrush(QColor(GROUND))
        stretch = []
        # The last pair closes the last stretch; where no ground is known a gap stays.
        for distance, ground in [*zip(self.line.distance_km, self.line.ground_m), (None, None)]:
            if ground is not None:
                stretch.append(QPointF(self._x(distance), self._y(ground)))
            elif stretch:
                feet = [QPointF(stretch[k].x(), self.box.bottom()) for k in (-1, 0)]
                painter.drawPolygon(QPolygonF(stretch + feet))
                stretch = []

    def _draw_axes(self, painter):
        painter.setPen(QPen(QColor(INK), 1.0))
        painter.drawLine(self.box.bottomLeft(), self.box.bottomRight())
        for share in (0.0, 0.25, 0.5, 0.75, 1.0):
            distance = self.line.length_km * share
            words = f"{distance:.0f} km" if self.line.length_km >= 10 else f"{distance:.1f} km"
            self._text(painter, self._x(distance), self.box.bottom() + 18, words, MIDDLE)
        for height in _round_steps(self.low_m, self.low_m + self.span_m):
            self._text(
                painter,
                self.box.left() - 6,
                self._y(height) + 4,
                f"{height:.0f} m",
                RIGHT,
            )

    def _draw_line(self, painter):
        """Draw the straight line and the two masts that it hangs between."""
        painter.setPen(QPen(QColor(LINE), 1.6))
        ends = [QPointF(self._x(self.line.distance_km[k]), self._y(self.line.line_m[k])) for k in (0, -1)]
        painter.drawLine(*ends)
        painter.setPen(QPen(QColor(INK), 2.0))
        for point, distance in zip(ends, (0, -1)):
            ground = self.line.ground_m[distance]
            if ground is not None:
                painter.drawLine(point, QPointF(point.x(), self._y(ground)))

    def _draw_hills(self, painter):
        highest = sorted(self.line.hills, key=lambda hill: -hill[1])[:MOST_HILLS]
        for distance, over in highest:
            step, x = self.line.distance_km.index(distance), self._x(distance)
            top, line = self._y(self.line.ground_m[step]), self._y(self.line.line_m[step])
            painter.setPen(QPen(QColor(INK), 1.4))
            painter.drawLine(QPointF(x, top), QPointF(x, line))
            self._text(painter, x, top - 6, f"+{over:.0f} m", MIDDLE)

    def _text(self, painter, x, y, words, side):
        """Write words with a light edge, so that they read over ground and line."""
        width = QFontMetrics(painter.font()).horizontalAdvance(words)
        if side == MIDDLE:
            x -= width / 2
        elif side == RIGHT:
            x -= width
        x = min(max(x, 2), self.width() - width - 2)
        painter.setPen(QColor(PAPER))
        for dx, dy in ((-1, 0), (1, 0), (0, -1), (0, 1)):
            painter.drawText(QPointF(x + dx, y + dy), words)
        painter.setPen(QColor(INK))
        painter.drawText(QPointF(x, y), words)


class PathWindow(QDialog):
    """The picture with a sentence under it."""

    def __init__(self, line, station, parent=None):
        super().__init__(parent)
        self.setWindowTitle(f"Path to {station['mast'] or station['service']}")
        self.picture = PathPicture(line, f"{station['mast']} ({station['service']})", "This place", self)
        self.sentence = QLabel(sentence_of(line), self)
        self.sentence.setWordWrap(True)
        layout = QVBoxLayout(self)
        layout.addWidget(self.picture, 1)
        layout.addWidget(self.sentence)
        self.resize(760, 400)


def sentence_of(line):
    """Return what the picture shows in words."""
    words = f"{line.length_km:.0f} km, bearing {line.azimuth_deg:.0f}° from true north. "
    if not line.line_m:
        words += "The result does not hold the ground at both ends, so that no line can be drawn. "
    elif line.hills:
        count = len(line.hills)
        far, over = max(line.hills, key=lambda hill: hill[1])
        words += (
            f"{count} {'stretch' if count == 1 else 'stretches'} of ground above the straight line; the "
            f"highest is {over:.0f} m above it, {line.length_km - far:.1f} km from here. "
        )
    else:
        words += "No ground stands above the straight line. "
    if line.unknown_km > 0.01 * line.length_km:
        words += f"For {line.unknown_km:.0f} km the result holds no ground. "
    return words + (
        "Ground of the map's squares on the curve of the earth, antenna at 10 m; trees and houses are "
        "not drawn."
    )


def _round_steps(low, high):
    """Return round heights between two, three to six of them."""
    step = next(one for one in (5, 10, 20, 50, 100, 200, 500, 1000, 2000) if (high - low) / one <= 6)
    first = step * (int(low // step) + 1)
    return range(first, int(high), step)
