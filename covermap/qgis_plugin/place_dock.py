"""The dock: what the loaded result says of the place clicked, and what to do with it."""

from qgis.core import (
    QgsApplication,
    QgsCoordinateReferenceSystem,
    QgsCoordinateTransform,
    QgsDistanceArea,
    QgsPointXY,
    QgsProject,
)
from qgis.gui import QgsDockWidget
from qgis.PyQt.QtCore import Qt, QUrl
from qgis.PyQt.QtGui import QDesktopServices
from qgis.PyQt.QtWidgets import (
    QApplication,
    QComboBox,
    QFileDialog,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QMenu,
    QPushButton,
    QTreeWidget,
    QTreeWidgetItem,
    QVBoxLayout,
    QWidget,
)

from .aim_mark import AimMark
from .ground_line import GroundLine, stations_of
from .path_picture import PathWindow
from .reading import LoadedResult, results_in
from .result_folder import ResultError
from .sheet_task import SheetTask, scenario_of
from .words import all_around, as_html, as_text

WGS84 = "EPSG:4326"
NO_RESULT = "Open a result first: covermap, Open a result folder, in the Processing toolbox."
ASK = "Click a place on the map."


class PlaceDock(QgsDockWidget):
    """What a result says of one place. canvas : QgsMapCanvas, on which place and aims are drawn"""

    def __init__(self, canvas, parent=None):
        super().__init__("At this place", parent)
        # By this QGIS remembers where the dock stood.
        self.setObjectName("CovermapPlace")
        self.canvas = canvas
        self.mark = AimMark(canvas)
        self.results, self.place, self.answer, self.task, self.windows = [], None, None, None, []
        self.result_box, self.list_box = QComboBox(), QComboBox()
        self.result_box.currentIndexChanged.connect(self._result_changed)
        self.list_box.currentIndexChanged.connect(self._ask_again)
        self.said = QLabel(ASK)
        self.said.setWordWrap(True)
        self.said.setTextFormat(Qt.TextFormat.RichText)
        self.said.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.services = QTreeWidget()
        self.services.setHeaderLabels(["Service", "Chance", "One class lower", "Why it is weak"])
        self.services.setRootIsDecorated(False)
        self.services.header().setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        self.sheet, self.path, self.copy = (
            QPushButton(text) for text in ("Exact sheet", "Path to …", "Copy")
        )
        self.path_menu = QMenu(self)
        self.path.setMenu(self.path_menu)
        self.sheet.clicked.connect(self.write_sheet)
        self.copy.clicked.connect(self.copy_text)
        self.state = QLabel("")
        self.state.setWordWrap(True)
        self._lay_out()
        QgsProject.instance().layersAdded.connect(self.find_results)
        QgsProject.instance().layersRemoved.connect(self.find_results)
        self.find_results()

    def _lay_out(self):
        content, column, row = QWidget(), QVBoxLayout(), QHBoxLayout()
        for button in (self.sheet, self.path, self.copy):
            row.addWidget(button)
        for part in (self.result_box, self.list_box, self.said):
            column.addWidget(part)
        column.addWidget(self.services, 1)
        column.addLayout(row)
        column.addWidget(self.state)
        content.setLayout(column)
        self.setWidget(content)
        self._enable()

    def find_results(self, *_):
        """Find the results among the project's layers; keep the one that is shown where it is still there."""
        folders = results_in(QgsProject.instance())
        shown = self.result.folder if self.result is not None else None
        found = []
        for folder in folders:
            try:
                found.append(
                    # One that is known keeps its open rasters.
                    next((one for one in self.results if one.folder == folder), None) or LoadedResult(folder)
                )
            except ResultError as error:
                self.state.setText(str(error))
        self.results = found
        # Else each line put in would ask the place again, of a list half filled.
        self.result_box.blockSignals(True)
        self.result_box.clear()
        self.result_box.addItems([one.name for one in found])
        self.result_box.setCurrentIndex(next((k for k, one in enumerate(found) if one.folder == shown), 0))
        self.result_box.setVisible(len(found) > 1)
        self.result_box.blockSignals(False)
        self._result_changed()

    @property
    def result(self):
        """Return the result that is asked; None where none is loaded."""
        index = self.result_box.currentIndex()
        return self.results[index] if 0 <= index < len(self.results) else None

    @property
    def wanted_list(self):
        """Return the name of the wanted list that is asked."""
        return self.list_box.currentText()

    def _result_changed(self, *_):
        lists = self.result.lists if self.result is not None else []
        kept = self.wanted_list
        self.list_box.blockSignals(True)
        self.list_box.clear()
        self.list_box.addItems(lists)
        self.list_box.setCurrentIndex(lists.index(kept) if kept in lists else 0)
        self.list_box.setVisible(len(lists) > 1)
        self.list_box.blockSignals(False)
        self._ask_again()

    def ask(self, place_wgs84):
        """Show what the result says of a place. place_wgs84 : QgsPointXY, longitude and latitude"""
        self.place = place_wgs84
        self._ask_again()

    def ask_canvas(self, point):
        """Show what the result says of a point in the canvas's CRS."""
        self.ask(self._transform(self.canvas.mapSettings().destinationCrs(), WGS84).transform(point))

    def _ask_again(self, *_):
        self.services.clear()
        if self.result is None or self.place is None:
            self.answer = None
            self.said.setText(ASK if self.results else NO_RESULT)
            self.mark.clear()
        else:
            here = self._transform(WGS84, self.result.crs).transform(self.place)
            self.answer = self.result.at(here, self.wanted_list)
            self.said.setText(as_html(self.answer, self.wanted_list))
            for service, chance, _, lower, cause in self.answer.get("services", ()):
                columns = [_percent(chance), _percent(lower), cause]
                self.services.addTopLevelItem(QTreeWidgetItem([service, *columns]))
            self.mark.show(
                self.place, () if all_around(self.answer) else self.answer.get("aims_deg_true", ())
            )
        self._enable()

    def _enable(self):
        known = self.answer is not None
        for button in (self.sheet, self.path, self.copy):
            button.setEnabled(known)
        self.services.setVisible(self.services.topLevelItemCount() > 0)
        self.path_menu.clear()
        if known:
            for station in self._by_mast():
                action = self.path_menu.addAction(f"{station['mast']}, {station['km']:.0f} km")
                # station=station: a lambda sees the loop's last one otherwise. `checked` is what Qt hands
                # over first.
                action.triggered.connect(lambda checked=False, station=station: self.show_path(station))

    def _by_mast(self):
        """Return a station of each mast, the nearest first, with its distance in km."""
        measure, masts = QgsDistanceArea(), {}
        measure.setEllipsoid("EPSG:7030")
        measure.setSourceCrs(QgsCoordinateReferenceSystem(WGS84), QgsProject.instance().transformContext())
        for station in stations_of(self.result):
            mast = QgsPointXY(station["longitude_deg"], station["latitude_deg"])
            station["km"] = measure.measureLine(self.place, mast) / 1000.0
            masts.setdefault(station["mast"], station)
        return sorted(masts.values(), key=lambda station: station["km"])

    def show_path(self, station):
        """Draw the ground on the way to a station's mast; return the window."""
        window = PathWindow(GroundLine(self.result, self.place, station), station, self)
        # A window that nothing refers to is collected, and closes.
        self.windows.append(window)
        window.show()
        return window

    def copy_text(self):
        """Put everything the dock shows on the clipboard."""
        where = f"{self.place.y():.5f}, {self.place.x():.5f} (latitude, longitude)"
        QApplication.clipboard().setText(as_text(self.answer, self.wanted_list, where))
        self.state.setText("Copied.")

    def write_sheet(self):
        """Run the command for this place in the background and open its sheet."""
        scenario = scenario_of(self.result)
        if scenario is None:
            name, _ = QFileDialog.getOpenFileName(
                self, "Scenario of this result", str(self.result.folder), "*.toml"
            )
            if not name:
                return
            scenario = name
        self.sheet.setEnabled(False)
        self.state.setText("Computing the exact paths to this place …")
        # Kept in self: the task manager alone does not keep the Python part of a task alive.
        self.task = SheetTask(scenario, self.wanted_list, self.place, self._sheet_done)
        QgsApplication.taskManager().addTask(self.task)

    def _sheet_done(self, page, said):
        self.sheet.setEnabled(True)
        self.state.setText(said)
        if page is not None:
            QDesktopServices.openUrl(QUrl.fromLocalFile(str(page)))

    def _transform(self, source, target):
        ends = [
            QgsCoordinateReferenceSystem(one) if isinstance(one, str) else one for one in (source, target)
        ]
        return QgsCoordinateTransform(*ends, QgsProject.instance().transformContext())

    def close_all(self):
        """Let go of canvas and project, before the plugin is unloaded."""
        self.mark.close()
        # The project lives on without the plugin: its signals would call into what is gone.
        QgsProject.instance().layersAdded.disconnect(self.find_results)
        QgsProject.instance().layersRemoved.disconnect(self.find_results)
        for window in self.windows:
            window.close()


def _percent(value):
    return "" if value is None else f"{value:.0f} %"
