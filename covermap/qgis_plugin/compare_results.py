"""Algorithm: compare two results."""

from qgis.core import QgsProcessing, QgsProcessingParameterFile

from .algorithm import CovermapAlgorithm, layer_in, page_in


class CompareResults(CovermapAlgorithm):
    """`covermap changes BEFORE AFTER --output DIR`."""

    NAME = "compare_results"
    TITLE = "Compare two results"
    WHAT = "Says who gains and who loses between two finished results, in cells and in homes."

    def initAlgorithm(self, config=None):
        """Declare parameters and outputs."""
        for name, label in (("BEFORE", "Result before"), ("AFTER", "Result after")):
            folder = QgsProcessingParameterFile.Behavior.Folder
            self.add(
                QgsProcessingParameterFile(name, label, behavior=folder),
                "A folder that a prediction wrote.",
            )
        self.add_layer("CHANGES", "Changes", QgsProcessing.SourceType.TypeVectorPolygon)
        self.add_folder("Folder for the comparison", "New, empty, or of an earlier comparison.")
        self.add_page()

    def processAlgorithm(self, parameters, context, feedback):
        """Run the command."""
        before, after = (self.parameterAsFile(parameters, name, context) for name in ("BEFORE", "AFTER"))
        folder = self.parameterAsString(parameters, "OUTPUT", context)
        summary = self.run_covermap(["changes", before, after, "--output", folder], feedback)
        self._layer = layer_in(folder, "changes.gpkg", "changes")
        self._load = self.parameterAsBool(parameters, "LOAD", context)
        found = {"OUTPUT": folder, "SUMMARY": summary, "PAGE": page_in(folder)}
        if self._layer:
            found["CHANGES"] = self._layer
        return found

    def postProcessAlgorithm(self, context, feedback):
        """Load the layer; this runs in the main thread."""
        if self._load:
            self.load_one(self._layer, "Changes", context)
        return {}
