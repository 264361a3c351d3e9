"""The Processing provider: its name, icon and algorithms."""

from pathlib import Path

from qgis.core import QgsProcessingProvider
from qgis.PyQt.QtGui import QIcon

from .antenna_for_points import AntennaForPoints
from .calibrate_readings import CalibrateReadings
from .check_inputs import CheckInputs, CheckLayers
from .compare_antennas import CompareAntennas
from .compare_results import CompareResults
from .open_result import OpenResult
from .place_sheet import PlaceSheet
from .predict_needs import PredictFromLayers, PredictNeeds
from .shortlist_relays import ShortlistRelays

ALGORITHMS = (
    CheckInputs,
    CheckLayers,
    PredictNeeds,
    PredictFromLayers,
    AntennaForPoints,
    PlaceSheet,
    CompareResults,
    CompareAntennas,
    ShortlistRelays,
    CalibrateReadings,
    OpenResult,
)


class CovermapProvider(QgsProcessingProvider):
    """The provider `covermap`."""

    def id(self):
        """Return the id, the first part of every algorithm's."""
        return "covermap"

    def name(self):
        """Return what people read."""
        return "covermap"

    def icon(self):
        """Return the icon."""
        return QIcon(str(Path(__file__).with_name("icon.svg")))

    def loadAlgorithms(self):
        """Add the algorithms."""
        for algorithm in ALGORITHMS:
            self.addAlgorithm(algorithm())
