"""Algorithm: compare two results."""

from qgis.core import (
    QgsProcessingOutputString,
    QgsProcessingParameterFile,
    QgsProcessingParameterFolderDestination,
)

from .algorithm import CovermapAlgorithm


class CompareResults(CovermapAlgorithm):
    """`covermap changes BEFORE AFTER --output DIR`."""

    NAME = "compare_results"
    TITLE = "Compare two results"
    WHAT = "Says who gains and who loses between two finished results, in cells and in homes."

    def initAlgorithm(self, config=None):
        """Declare parameters and outputs."""
        for name, label in (("BEFORE", "Result before"), ("AFTER", "Result after")):
            self.add(
                QgsProcessingParameterFile(name, label, behavior=QgsProcessingParameterFile.Folder),
                "A folder that a prediction wrote. Both must have the same grid.",
            )
        self.add(
            QgsProcessingParameterFolderDestination("OUTPUT", "Folder for the comparison"),
            "New, empty, or of an earlier comparison.",
        )
        self.addOutput(QgsProcessingOutputString("SUMMARY", "Summary"))

    def processAlgorithm(self, parameters, context, feedback):
        """Run the command."""
        before, after = (self.parameterAsFile(parameters, name, context) for name in ("BEFORE", "AFTER"))
        folder = self.parameterAsString(parameters, "OUTPUT", context)
        summary = self.run_covermap(["changes", before, after, "--output", folder], feedback)
        return {"OUTPUT": folder, "SUMMARY": summary}
