"""The map tool: a click asks the result what it says there."""

from qgis.gui import QgsMapToolEmitPoint
from qgis.PyQt.QtCore import Qt
from qgis.PyQt.QtGui import QCursor


class ClickTool(QgsMapToolEmitPoint):
    """Hands each place clicked on to `ask`, a QgsPointXY in the canvas's CRS."""

    def __init__(self, canvas, ask):
        super().__init__(canvas)
        self.ask = ask
        self.setCursor(QCursor(Qt.CursorShape.CrossCursor))

    def canvasReleaseEvent(self, event):
        """Ask for the place under the pointer."""
        if event.button() == Qt.MouseButton.LeftButton:
            self.ask(event.mapPoint())
