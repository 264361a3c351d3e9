"""Algorithm: load a result folder; it needs no command."""

from qgis.core import QgsProcessingAlgorithm, QgsProcessingOutputNumber, QgsProcessingParameterFile

from .algorithm import CovermapAlgorithm


class OpenResult(CovermapAlgorithm):
    """Loads the groups, layers and styles of a result folder in QGIS alone."""

    NAME = "open_result"
    TITLE = "Open a result folder"
    WHAT = (
        "Adds the layers of a finished result to this project, in groups: what is needed, why, stations, "
        "cells and rasters, relief. It works without the covermap command."
    )

    def flags(self):
        """Return the flags: layers join a project in the main thread only."""
        return super().flags() | QgsProcessingAlgorithm.Flag.FlagNoThreading

    def initAlgorithm(self, config=None):
        """Declare parameters and outputs."""
        self.add(
            QgsProcessingParameterFile(
                "RESULT", "Result folder", behavior=QgsProcessingParameterFile.Behavior.Folder
            ),
            "The folder that holds run.json and coverage.gpkg.",
        )
        self.addOutput(QgsProcessingOutputNumber("LAYERS", "Layers loaded"))

    def processAlgorithm(self, parameters, context, feedback):
        """Load the layers."""
        return {"LAYERS": self.load(self.parameterAsFile(parameters, "RESULT", context), context)}
