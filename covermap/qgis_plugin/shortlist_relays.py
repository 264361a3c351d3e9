"""Algorithm: hilltops where a relay would serve most."""

from qgis.core import QgsProcessingOutputString, QgsProcessingParameterFolderDestination

from .algorithm import CovermapAlgorithm


class ShortlistRelays(CovermapAlgorithm):
    """`covermap relays SCENARIO --output DIR`."""

    NAME = "shortlist_relays"
    TITLE = "Shortlist relay hilltops"
    WHAT = (
        "Names the hilltops from which a relay would reach most homes of the dead zones. A shortlist to "
        "visit, not a plan."
    )

    def initAlgorithm(self, config=None):
        """Declare parameters and outputs."""
        self.add_scenario()
        self.add(
            QgsProcessingParameterFolderDestination("OUTPUT", "Folder for the shortlist"),
            "New, empty, or of an earlier shortlist.",
        )
        self.addOutput(QgsProcessingOutputString("SUMMARY", "Summary"))

    def processAlgorithm(self, parameters, context, feedback):
        """Run the command."""
        scenario = self.parameterAsFile(parameters, "SCENARIO", context)
        folder = self.parameterAsString(parameters, "OUTPUT", context)
        summary = self.run_covermap(["relays", scenario, "--output", folder], feedback)
        return {"OUTPUT": folder, "SUMMARY": summary}
