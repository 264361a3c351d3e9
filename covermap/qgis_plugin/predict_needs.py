"""Algorithm: predict which antenna every place needs, from a scenario or from layers."""

import shutil
import tempfile
from pathlib import Path

from qgis.core import QgsProcessingException, QgsProcessingOutputString

from .algorithm import CovermapAlgorithm
from .predict_inputs import add_inputs, choices_of
from .scenario_text import scenario_text

STORE = ".covermap_store"


class PredictNeeds(CovermapAlgorithm):
    """`covermap map SCENARIO --output DIR`."""

    NAME = "predict_needs"
    TITLE = "Predict antenna needs"
    WHAT = (
        "Predicts for every square which class of receiving antenna brings all wanted services, how surely, "
        "which station decides and where to aim; writes a map, layers, rasters and tables, and loads them."
    )
    NOTES = (
        "Give a scenario file; or leave it empty and give elevation, stations and the services wanted. "
        "Filters, selections and unsaved edits of layers count. The scenario assembled from layers is kept "
        "in the result folder, with the layers as files, and can be changed and run again.",
    )

    def initAlgorithm(self, config=None):
        """Declare parameters and outputs."""
        self.add_scenario(optional=True)
        add_inputs(self)
        self.addOutput(QgsProcessingOutputString("SUMMARY", "Summary"))

    def processAlgorithm(self, parameters, context, feedback):
        """Run the command on the scenario given, or on one assembled from layers."""
        folder = Path(self.parameterAsString(parameters, "OUTPUT", context))
        options = self._options(parameters, context, folder)
        scenario = self.parameterAsFile(parameters, "SCENARIO", context)
        if scenario:
            summary = self.run_covermap(["map", scenario, *options], feedback)
        else:
            options += ["--store", str(folder.parent / STORE)]
            summary = self._run_assembled(parameters, context, feedback, folder, options)
        self._folder = folder if self.parameterAsBool(parameters, "LOAD", context) else None
        return {"OUTPUT": str(folder), "SUMMARY": summary}

    def postProcessAlgorithm(self, context, feedback):
        """Load the result; this runs in the main thread."""
        if getattr(self, "_folder", None) is not None:
            feedback.pushInfo(f"{self.load(self._folder, context)} layers loaded.")
        return {}

    def _options(self, parameters, context, folder):
        options = ["--output", str(folder), "--progress", "json"]
        if parameters.get("WORKERS"):
            options += ["--workers", str(self.parameterAsInt(parameters, "WORKERS", context))]
        if self.parameterAsBool(parameters, "OVERWRITE", context):
            options.append("--overwrite")
        return options

    def _run_assembled(self, parameters, context, feedback, folder, options):
        """Write layers and scenario to a temporary folder, run, and keep both in the result folder."""
        with tempfile.TemporaryDirectory() as temporary:
            inputs = Path(temporary)
            choices = choices_of(self, parameters, context, inputs)
            scenario = inputs / "scenario.toml"
            scenario.write_text(scenario_text(choices, inputs), encoding="utf-8")
            summary = self.run_covermap(["map", str(scenario), *options], feedback)
            try:
                _keep(inputs, choices, folder)
            except OSError as error:
                raise QgsProcessingException(
                    f"The scenario could not be kept in {folder}: {error}"
                ) from error
        return summary


def _keep(inputs, choices, folder):
    """Keep the files of layers and a scenario that finds them in the result folder."""
    for path in inputs.glob("*.gpkg"):
        shutil.copyfile(path, folder / path.name)
    kept = {
        table: {
            key: folder / value.name if isinstance(value, Path) and value.parent == inputs else value
            for key, value in values.items()
        }
        for table, values in choices.items()
    }
    (folder / "scenario.toml").write_text(scenario_text(kept, folder), encoding="utf-8")
