"""Algorithm: hilltops where a relay would serve most."""

from qgis.core import QgsProcessing

from .algorithm import CovermapAlgorithm, layer_in, page_in


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
        self.add_layer("RELAYS", "Hilltops for a relay", QgsProcessing.SourceType.TypeVectorPoint)
        self.add_folder("Folder for the shortlist", "New, empty, or of an earlier shortlist.")
        self.add_page()

    def processAlgorithm(self, parameters, context, feedback):
        """Run the command."""
        scenario = self.parameterAsFile(parameters, "SCENARIO", context)
        folder = self.parameterAsString(parameters, "OUTPUT", context)
        summary = self.run_covermap(["relays", scenario, "--output", folder], feedback)
        self._layer = layer_in(folder, "relays.gpkg", "relays")
        self._load = self.parameterAsBool(parameters, "LOAD", context)
        found = {"OUTPUT": folder, "SUMMARY": summary, "PAGE": page_in(folder)}
        if self._layer:
            found["RELAYS"] = self._layer
        return found

    def postProcessAlgorithm(self, context, feedback):
        """Load the layer; this runs in the main thread."""
        if self._load:
            self.load_one(self._layer, "Hilltops for a relay", context)
        return {}
