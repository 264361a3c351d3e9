"""Algorithm: read and cross-check a scenario."""

from qgis.core import QgsProcessingOutputString

from .algorithm import CovermapAlgorithm


class CheckInputs(CovermapAlgorithm):
    """`covermap check SCENARIO`."""

    NAME = "check_inputs"
    TITLE = "Check inputs"
    WHAT = (
        "Reads everything a scenario names, says what was understood and what looks wrong, and what a "
        "prediction will cost in time, memory and disk. It computes and writes nothing."
    )

    def initAlgorithm(self, config=None):
        """Declare parameters and outputs."""
        self.add_scenario()
        self.addOutput(QgsProcessingOutputString("REPORT", "Report"))

    def processAlgorithm(self, parameters, context, feedback):
        """Run the command."""
        scenario = self.parameterAsFile(parameters, "SCENARIO", context)
        return {"REPORT": self.run_covermap(["check", scenario], feedback)}
