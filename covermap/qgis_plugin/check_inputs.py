"""Algorithms: read and cross-check a scenario, or layers as one."""

import tempfile
from pathlib import Path

from qgis.core import QgsProcessingOutputString

from .algorithm import CovermapAlgorithm
from .layer_inputs import add_inputs
from .layer_scenario import faults_of, write_scenario
from .predict_needs import STORE

NOTES = ("It computes and writes nothing.",)


class CheckInputs(CovermapAlgorithm):
    """`covermap check SCENARIO`."""

    NAME = "check_inputs"
    TITLE = "Check a scenario"
    WHAT = (
        "Reads everything a scenario names, says what was understood and what looks wrong, and what a "
        "prediction will cost in time, memory and disk."
    )
    NOTES = NOTES

    def initAlgorithm(self, config=None):
        """Declare parameters and outputs."""
        self.add_scenario()
        self.addOutput(QgsProcessingOutputString("REPORT", "Report"))

    def processAlgorithm(self, parameters, context, feedback):
        """Run the command."""
        scenario = self.parameterAsFile(parameters, "SCENARIO", context)
        return {"REPORT": self.run_covermap(["check", scenario], feedback)}


class CheckLayers(CovermapAlgorithm):
    """`covermap check` on a scenario assembled from layers."""

    NAME = "check_layers"
    TITLE = "Check layers"
    WHAT = (
        "Reads layers as a prediction would, says what was understood and what looks wrong, and what the "
        "prediction will cost in time, memory and disk."
    )
    NOTES = NOTES

    def initAlgorithm(self, config=None):
        """Declare parameters and outputs."""
        add_inputs(self)
        self.addOutput(QgsProcessingOutputString("REPORT", "Report"))

    def checkParameterValues(self, parameters, context):
        """Return whether a check can begin, and what is missing."""
        return faults_of(self, parameters, context) or super().checkParameterValues(parameters, context)

    def processAlgorithm(self, parameters, context, feedback):
        """Write the layers and a scenario to a temporary folder and run the command there."""
        with tempfile.TemporaryDirectory() as temporary:
            scenario, _ = write_scenario(self, parameters, context, Path(temporary), "check")
            store = ["--store", str(Path(temporary) / STORE)]
            return {"REPORT": self.run_covermap(["check", str(scenario), *store], feedback)}
