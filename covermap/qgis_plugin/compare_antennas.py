"""Algorithm: antennas of the catalogue over a map."""

from qgis.core import QgsProcessing, QgsProcessingParameterString

from .algorithm import CovermapAlgorithm, layer_in, page_in


class CompareAntennas(CovermapAlgorithm):
    """`covermap compare-antennas SCENARIO ID ID --output DIR`."""

    NAME = "compare_antennas"
    TITLE = "Compare antennas"
    WHAT = (
        "Says for whom each of some antennas of the scenario's catalogue holds the list, and where one in "
        "place of the first makes the difference."
    )

    def initAlgorithm(self, config=None):
        """Declare parameters and outputs."""
        self.add_scenario()
        self.add(
            QgsProcessingParameterString("ANTENNAS", "Antennas"),
            "Ids of the catalogue, a blank between; "
            "ID+ID are two behind a diplexer, ID:135 is turned to 135 degrees, ID@loft goes there.",
        )
        self.add_layer("DIFFERENCE", "Antennas", QgsProcessing.SourceType.TypeVectorPolygon)
        self.add_folder("Folder for the comparison", "New, empty, or of an earlier comparison of antennas.")
        self.add_page()

    def processAlgorithm(self, parameters, context, feedback):
        """Run the command."""
        scenario = self.parameterAsFile(parameters, "SCENARIO", context)
        antennas = self.parameterAsString(parameters, "ANTENNAS", context).replace(",", " ").split()
        folder = self.parameterAsString(parameters, "OUTPUT", context)
        words = ["compare-antennas", scenario, *antennas, "--output", folder]
        summary = self.run_covermap(words, feedback)
        self._layer = layer_in(folder, "antennas.gpkg", "antenna_difference")
        self._load = self.parameterAsBool(parameters, "LOAD", context)
        found = {"OUTPUT": folder, "SUMMARY": summary, "PAGE": page_in(folder)}
        if self._layer:
            found["DIFFERENCE"] = self._layer
        return found

    def postProcessAlgorithm(self, context, feedback):
        """Load the layer; this runs in the main thread."""
        if self._load:
            self.load_one(self._layer, "Antennas", context)
        return {}
