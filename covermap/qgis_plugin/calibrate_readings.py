"""Algorithm: readings against the prediction."""

import tempfile
from pathlib import Path

from qgis.core import QgsProcessing, QgsProcessingParameterFeatureSource

from .algorithm import CovermapAlgorithm, page_in
from .layer_files import write_readings


class CalibrateReadings(CovermapAlgorithm):
    """`covermap calibrate SCENARIO READINGS.csv --output DIR`."""

    NAME = "calibrate_readings"
    TITLE = "Calibrate from readings"
    WHAT = (
        "Sets readings of field strength against the prediction and says how far to trust the difference; "
        "where it is to be trusted, it writes offsets that a scenario can use."
    )

    def initAlgorithm(self, config=None):
        """Declare parameters and outputs."""
        self.add_scenario()
        self.add(
            QgsProcessingParameterFeatureSource(
                "READINGS",
                "Readings",
                # TypeVector also takes tables without geometry, which readings with columns of their position
                # may be.
                [QgsProcessing.SourceType.TypeVectorAnyGeometry, QgsProcessing.SourceType.TypeVector],
            ),
            "A layer or table with the columns of a readings file; the selection, filters and unsaved edits "
            "count. Points without latitude_deg and longitude_deg columns give their position.",
        )
        self.add_folder("Folder for the calibration", "New, empty, or of an earlier calibration.")
        self.add_page()

    def processAlgorithm(self, parameters, context, feedback):
        """Write the readings as a file and run the command."""
        scenario = self.parameterAsFile(parameters, "SCENARIO", context)
        source = self.parameterAsSource(parameters, "READINGS", context)
        folder = self.parameterAsString(parameters, "OUTPUT", context)
        with tempfile.TemporaryDirectory() as temporary:
            readings = Path(temporary) / "readings.csv"
            write_readings(source, readings, context.transformContext())
            summary = self.run_covermap(["calibrate", scenario, str(readings), "--output", folder], feedback)
        return {"OUTPUT": folder, "SUMMARY": summary, "PAGE": page_in(folder)}
