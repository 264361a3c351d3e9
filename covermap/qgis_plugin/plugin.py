"""The plugin as QGIS loads it: the provider, and in the desktop a dock, a map tool, a search and options."""

from pathlib import Path

from qgis.core import QgsApplication
from qgis.PyQt.QtCore import Qt
from qgis.PyQt.QtGui import QIcon

from .provider import CovermapProvider

MENU = "covermap"
ASK = "Ask a place"


class CovermapPlugin:
    """Registers the provider, and in the desktop all that needs a canvas.

    iface : QgisInterface in the desktop, None in qgis_process
    """

    def __init__(self, iface):
        self.iface = iface
        self.provider = None
        self.options = self.dock = self.tool = self.search = self.menu = self.action = None

    def initProcessing(self):
        """Register the provider; qgis_process calls only this."""
        self.provider = CovermapProvider()
        QgsApplication.processingRegistry().addProvider(self.provider)

    def initGui(self):
        """Register everything in the desktop."""
        # Imported here: qgis_process has no windows.
        from qgis.PyQt.QtWidgets import QMenu

        from .click_tool import ClickTool
        from .find_filter import FindFilter
        from .options_page import OptionsFactory
        from .place_dock import PlaceDock

        self.initProcessing()
        self.options = OptionsFactory()
        self.iface.registerOptionsWidgetFactory(self.options)
        canvas = self.iface.mapCanvas()
        self.dock = PlaceDock(canvas, self.iface.mainWindow())
        self.iface.addDockWidget(Qt.DockWidgetArea.RightDockWidgetArea, self.dock)
        self.dock.hide()
        self.menu = QMenu(self.iface.mainWindow())  # makes the action: Qt 5 and 6 keep its class apart
        self.action = self.menu.addAction(QIcon(str(Path(__file__).with_name("ask.svg"))), ASK)
        self.action.setCheckable(True)
        self.action.setToolTip("Click a place: which antenna it needs, by the result that is loaded")
        self.action.triggered.connect(self.start_asking)
        self.tool = ClickTool(canvas, self.ask_canvas)
        self.tool.setAction(self.action)
        self.iface.addToolBarIcon(self.action)
        self.iface.addPluginToMenu(MENU, self.action)
        self.search = FindFilter(self.show_place)
        self.iface.registerLocatorFilter(self.search)

    def start_asking(self, *_):
        """Take the map tool in hand and show the dock."""
        self.iface.mapCanvas().setMapTool(self.tool)
        self._show_dock()

    def ask_canvas(self, point):
        """Show what the result says of a point in the canvas's CRS."""
        self._show_dock()
        self.dock.ask_canvas(point)

    def show_place(self, place_wgs84):
        """Centre the map on a place that was searched for, and ask it."""
        from qgis.core import QgsCoordinateReferenceSystem, QgsCoordinateTransform, QgsProject

        canvas = self.iface.mapCanvas()
        to_canvas = QgsCoordinateTransform(
            QgsCoordinateReferenceSystem("EPSG:4326"),
            canvas.mapSettings().destinationCrs(),
            QgsProject.instance(),
        )
        canvas.setCenter(to_canvas.transform(place_wgs84))
        canvas.refresh()
        self._show_dock()
        self.dock.ask(place_wgs84)

    def _show_dock(self):
        # not show(): a dock behind another's tab would stay behind it
        self.dock.setUserVisible(True)

    def unload(self):
        """Take everything away again."""
        # Everything backwards; what QGIS still held would call into modules that are gone when the plugin is
        # loaded again.
        if self.dock is not None:
            self.iface.mapCanvas().unsetMapTool(self.tool)
            self.iface.removePluginMenu(MENU, self.action)
            self.iface.removeToolBarIcon(self.action)
            self.iface.deregisterLocatorFilter(self.search)
            self.dock.close_all()
            self.iface.removeDockWidget(self.dock)
            self.dock.deleteLater()
            self.menu.deleteLater()
            self.dock = self.tool = self.search = self.menu = self.action = None
        if self.options is not None:
            self.iface.unregisterOptionsWidgetFactory(self.options)
            self.options = None
        if self.provider is not None:
            QgsApplication.processingRegistry().removeProvider(self.provider)
            self.provider = None
