"""Algorithm: the sheet for one place."""

from qgis.core import QgsCoordinateReferenceSystem, QgsProcessingParameterPoint

from .algorithm import CovermapAlgorithm, page_in


class PlaceSheet(CovermapAlgorithm):
    """`covermap address SCENARIO --at LAT,LON`."""

    NAME = "place_sheet"
    TITLE = "Sheet for a place"
    WHAT = (
        "Writes one page for a point on the map: which antenna, where to aim, what each station does there "
        "and why, from the exact path to each mast."
    )

    def initAlgorithm(self, config=None):
        """Declare parameters and outputs."""
        self.add_scenario()
        self.add(
            QgsProcessingParameterPoint("PLACE", "Place"),
            "Click on the map, or type x,y [EPSG:code]. Any CRS.",
        )
        self.add_folder("Folder for the sheet", "The sheet is written there.")
        self.add_page()

    def processAlgorithm(self, parameters, context, feedback):
        """Run the command."""
        place = self.parameterAsPoint(parameters, "PLACE", context, QgsCoordinateReferenceSystem("EPSG:4326"))
        folder = self.parameterAsString(parameters, "OUTPUT", context)
        scenario = self.parameterAsFile(parameters, "SCENARIO", context)
        # joined to --at by "=" below: a southern latitude begins with a minus and would pass for an option
        at = f"{place.y():.7f},{place.x():.7f}"
        summary = self.run_covermap(
            ["address", scenario, f"--at={at}", "--output", folder, "--progress", "json"], feedback
        )
        return {"OUTPUT": folder, "SUMMARY": summary, "PAGE": page_in(folder, "address_*.html")}
