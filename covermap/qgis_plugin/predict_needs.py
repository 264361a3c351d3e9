"""Algorithms: predict which antenna every place needs, from a scenario file or from layers."""

import shutil
import tempfile
from pathlib import Path

from qgis.core import (
    QgsProcessing,
    QgsProcessingException,
    QgsProcessingOutputRasterLayer,
    QgsProcessingOutputVectorLayer,
    QgsProcessingParameterBoolean,
    QgsProcessingParameterNumber,
)

from .algorithm import CovermapAlgorithm, layer_in, page_in
from .layer_inputs import add_inputs
from .layer_scenario import faults_of, write_scenario
from .result_folder import ResultError, raster_file, read_result
from .scenario_text import scenario_text

STORE = ".covermap_store"
WHAT = (
    "Predicts for every square which class of receiving antenna brings all wanted services, how surely, "
    "which station decides and where to aim; writes a map, layers, rasters and tables, and loads them."
)
CHAINS = (
    "Tier areas, neighbourhoods and the raster of tiers of the first wanted list can be taken up by other "
    "algorithms in a model."
)


class Prediction(CovermapAlgorithm):
    """What both predictions share: options of the run, and outputs that other algorithms take up."""

    WHAT = WHAT
    PICTURE = "help.png"

    def add_run(self):
        """Declare how it runs, and what comes of it."""
        self.add(
            QgsProcessingParameterNumber("WORKERS", "Threads", optional=True, minValue=1),
            "Threads that compute; empty: one a core.",
            advanced=True,
        )
        self.add(
            QgsProcessingParameterBoolean(
                "OVERWRITE", "Write into a folder that is not ours", defaultValue=False
            ),
            "Files that are not results stay as they are.",
            advanced=True,
        )
        self.add(
            QgsProcessingParameterBoolean("LOAD", "Load the result", defaultValue=True),
            "Adds the layers to this project, in groups.",
        )
        self.add_folder("Result folder", "New, empty, or of an earlier result, which is then replaced.")
        polygons = QgsProcessing.SourceType.TypeVectorPolygon
        self.addOutput(QgsProcessingOutputVectorLayer("TIER_AREAS", "Antenna needed", polygons))
        self.addOutput(QgsProcessingOutputVectorLayer("NEIGHBOURHOOD_TABLE", "Neighbourhoods", polygons))
        self.addOutput(QgsProcessingOutputRasterLayer("TIER", "Antenna needed, cell by cell"))
        self.add_page()

    def options(self, parameters, context, folder):
        """Return the options of the command."""
        options = ["--output", str(folder), "--progress", "json"]
        if parameters.get("WORKERS"):
            options += ["--workers", str(self.parameterAsInt(parameters, "WORKERS", context))]
        if self.parameterAsBool(parameters, "OVERWRITE", context):
            options.append("--overwrite")
        return options

    def results(self, folder, summary, parameters, context):
        """Return what was written, and remember whether to load it."""
        self._folder = folder if self.parameterAsBool(parameters, "LOAD", context) else None
        try:
            first = next(iter(read_result(folder)["wanted"]))
        except ResultError as error:
            raise QgsProcessingException(str(error)) from error
        found = {
            "OUTPUT": str(folder),
            "SUMMARY": summary,
            "TIER_AREAS": layer_in(folder, "coverage.gpkg", "tier_areas"),
            "NEIGHBOURHOOD_TABLE": layer_in(folder, "coverage.gpkg", "neighbourhoods"),
            "TIER": str(raster_file(folder, f"{first}/tier")),
            "PAGE": page_in(folder, "brief.html"),
        }
        # An output without a layer behind it would break the model that takes it up.
        if not (folder / "neighbourhoods.csv").is_file():
            del found["NEIGHBOURHOOD_TABLE"]
        return found

    def postProcessAlgorithm(self, context, feedback):
        """Load the result; this runs in the main thread."""
        if getattr(self, "_folder", None) is not None:
            feedback.pushInfo(f"{self.load(self._folder, context)} layers loaded.")
        return {}


class PredictNeeds(Prediction):
    """`covermap map SCENARIO --output DIR`."""

    NAME = "predict_needs"
    TITLE = "Predict antenna needs from a scenario"
    NOTES = (
        "Everything is as the scenario file says; for layers of this project take the other one.",
        CHAINS,
    )

    def initAlgorithm(self, config=None):
        """Declare parameters and outputs."""
        self.add_scenario()
        self.add_run()

    def processAlgorithm(self, parameters, context, feedback):
        """Run the command."""
        folder = Path(self.parameterAsString(parameters, "OUTPUT", context))
        scenario = self.parameterAsFile(parameters, "SCENARIO", context)
        summary = self.run_covermap(["map", scenario, *self.options(parameters, context, folder)], feedback)
        return self.results(folder, summary, parameters, context)


class PredictFromLayers(Prediction):
    """`covermap map` on a scenario assembled from layers."""

    NAME = "predict_from_layers"
    TITLE = "Predict antenna needs from layers"
    NOTES = (
        "Filters, selections and unsaved edits of layers count. The scenario assembled from layers is kept "
        "in the result folder, with the layers as files, and can be changed and run again.",
        f"Computed paths are kept in a folder {STORE} beside the result folder, so that the next run is "
        "quicker; it may be deleted.",
        CHAINS,
    )

    def initAlgorithm(self, config=None):
        """Declare parameters and outputs."""
        add_inputs(self)
        self.add_run()

    def checkParameterValues(self, parameters, context):
        """Return whether a prediction can begin, and what is missing."""
        return faults_of(self, parameters, context) or super().checkParameterValues(parameters, context)

    def processAlgorithm(self, parameters, context, feedback):
        """Write layers and scenario to a temporary folder, run, and keep both in the result folder."""
        folder = Path(self.parameterAsString(parameters, "OUTPUT", context))
        # Beside the result, not in it: the folder is replaced whole by the next run.
        store = folder.parent / STORE
        options = [*self.options(parameters, context, folder), "--store", str(store)]
        # Not at once in the result folder, which must be new, empty, or of an earlier result.
        with tempfile.TemporaryDirectory() as temporary:
            inputs = Path(temporary)
            scenario, choices = write_scenario(self, parameters, context, inputs, folder.name)
            summary = self.run_covermap(["map", str(scenario), *options], feedback)
            try:
                _keep(inputs, choices, folder)
            except OSError as error:
                raise QgsProcessingException(
                    f"The scenario could not be kept in {folder}: {error}"
                ) from error
        feedback.pushInfo(f"Computed paths are kept in {store} for the next run; it may be deleted.")
        return self.results(folder, summary, parameters, context)


def _keep(inputs, choices, folder):
    """Keep the files of layers and a scenario that finds them in the result folder."""
    for path in (*inputs.glob("*.gpkg"), *inputs.glob("*.tif")):
        shutil.copyfile(path, folder / path.name)

    def moved(value):
        if isinstance(value, (list, tuple)):
            return [moved(one) for one in value]
        return folder / value.name if isinstance(value, Path) and value.parent == inputs else value

    kept = {table: {key: moved(value) for key, value in values.items()} for table, values in choices.items()}
    # Written anew and not copied: its paths are relative to the folder it stands in.
    (folder / "scenario.toml").write_text(scenario_text(kept, folder), encoding="utf-8")
