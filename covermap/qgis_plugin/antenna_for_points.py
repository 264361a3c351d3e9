"""Algorithm: the antenna each point of a layer needs, in columns of its own; also in place on a selection."""

import csv
import json
import tempfile
from pathlib import Path

from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsCoordinateTransform,
    QgsFeature,
    QgsFields,
    QgsProcessing,
    QgsProcessingException,
    QgsProcessingFeatureBasedAlgorithm,
    QgsProcessingParameterBoolean,
    QgsProcessingParameterFile,
    QgsProcessingParameterString,
    QgsVectorLayer,
    QgsWkbTypes,
)

from .algorithm import SharedParts
from .layer_files import one_point
from .reading import LoadedResult
from .result_folder import ResultError
from .sheet_task import scenario_of

WGS84 = "EPSG:4326"
COLUMNS = {
    "tier": "integer",
    "tier_name": "string",
    "chance_percent": "double",
    "aim_deg_true": "double",
    "second_aim_deg_true": "double",
    "deciding_service": "string",
    "main_cause": "string",
    "cost": "double",
    "status": "string",
}


class AntennaForPoints(SharedParts, QgsProcessingFeatureBasedAlgorithm):
    """Columns for points, from the rasters of a result, or by `covermap address --list`."""

    NAME = "antenna_for_points"
    TITLE = "Antenna for points"
    WHAT = (
        "Adds to each point of a layer the class of antenna it needs, how surely, where to aim, which "
        "service decides, why it is hard, and what the parts cost by the result's own prices."
    )
    NOTES = (
        "Values are those of the square a point lies in, read from the rasters at once and without the "
        "command; by exact paths they are computed for the point itself, some seconds each.",
        "A point outside the map has the status outside and no values. In place it fills columns of these "
        "names that the layer already has.",
    )

    def inputLayerTypes(self):
        """Return what it takes."""
        return [QgsProcessing.SourceType.TypeVectorPoint]

    def outputName(self):
        """Return what the new layer is called."""
        return "Points with antenna"

    def initAlgorithm(self, config=None):
        """Declare the layer in and out, and what is asked beside it."""
        super().initAlgorithm(config or {})
        for name, text in (
            ("INPUT", "Points of any CRS; columns stay."),
            ("OUTPUT", "The points with ours added."),
        ):
            self.parameterDefinition(name).setHelp(text)

    def initParameters(self, config=None):
        """Declare what is asked beside the layer."""
        folder = QgsProcessingParameterFile.Behavior.Folder
        self.add(
            QgsProcessingParameterFile("RESULT", "Result folder", behavior=folder),
            "The folder that holds run.json and coverage.gpkg.",
        )
        self.add(
            QgsProcessingParameterString("LIST", "Wanted list", optional=True),
            "Name of the wanted list; empty: the result's first.",
            advanced=True,
        )
        self.add(
            QgsProcessingParameterBoolean("EXACT", "By exact paths", defaultValue=False),
            "Computes every path to each point itself. Needs the command and the scenario of the result.",
        )
        self.add_scenario(optional=True)

    def supportInPlaceEdit(self, layer):
        """Return whether a layer's own columns can be filled: points with at least the column tier."""
        return (
            isinstance(layer, QgsVectorLayer)
            and QgsWkbTypes.geometryType(layer.wkbType()) == QgsWkbTypes.GeometryType.PointGeometry
            and layer.fields().lookupField("tier") >= 0
        )

    def outputFields(self, fields):
        """Return the layer's columns with ours; of equal names ours count."""
        ours = _our_fields()
        found = QgsFields()
        for field in [*(one for one in fields if one.name() not in COLUMNS), *ours]:
            found.append(field)
        return found

    def prepareAlgorithm(self, parameters, context, feedback):
        """Open the result, and note the points where exact paths are asked for."""
        source = self.parameterAsSource(parameters, "INPUT", context)
        if source is None:
            raise QgsProcessingException(self.invalidSourceError(parameters, "INPUT"))
        try:
            self.result = LoadedResult(self.parameterAsFile(parameters, "RESULT", context))
        except ResultError as error:
            raise QgsProcessingException(str(error)) from error
        self.list_name = self.parameterAsString(parameters, "LIST", context).strip() or self.result.lists[0]
        if self.list_name not in self.result.lists:
            lists = ", ".join(self.result.lists)
            raise QgsProcessingException(f"There is no wanted list {self.list_name!r}; there is {lists}.")
        self.fields = self.outputFields(source.fields())
        self.layer_name, transforms = source.sourceName(), context.transformContext()
        crs = source.sourceCrs()
        self.to_result = QgsCoordinateTransform(crs, self.result.crs, transforms)
        self.answers = None
        if self.parameterAsBool(parameters, "EXACT", context):
            to_wgs84 = QgsCoordinateTransform(crs, QgsCoordinateReferenceSystem(WGS84), transforms)
            self.scenario = self.parameterAsFile(parameters, "SCENARIO", context) or scenario_of(self.result)
            if not self.scenario:
                raise QgsProcessingException("The scenario of this result was not found: name its file.")
            # Here and not in processFeature(): the command takes all points at once, so that the paths of
            # inputs are read a single time.
            self.places = {
                feature.id(): to_wgs84.transform(one_point(feature, self.layer_name))
                for feature in source.getFeatures()
                if feature.hasGeometry()
            }
            self.answers = {}
        return True

    def processFeature(self, feature, context, feedback):
        """Return the point with its columns."""
        # On the first feature: preparing may run in the main thread of QGIS, where minutes of waiting would
        # freeze it.
        if self.answers == {} and self.places:
            self.answers = self._exact(feedback)
        found = QgsFeature(self.fields)
        found.setGeometry(feature.geometry())
        for field in feature.fields():
            # By name and not by place: ours may stand in the middle of the layer's own.
            if field.name() not in COLUMNS:
                found[field.name()] = feature[field.name()]
        for name, value in self._columns(feature).items():
            found[name] = value
        return [found]

    def _columns(self, feature):
        if not feature.hasGeometry():
            return {"status": "unknown"}
        if self.answers is not None:
            return self.answers.get(feature.id(), {"status": "unknown"})
        answer = self.result.at(self.to_result.transform(one_point(feature, self.layer_name)), self.list_name)
        return self._row(
            answer["status"], answer["tier"], answer.get("tier_name"), answer.get("chance_percent"),
            answer.get("aims_deg_true", []), answer.get("deciding_service"), answer.get("cause_code"),
        )  # fmt: skip

    def _row(self, status, tier, tier_name, chance_percent, aims, deciding_service, main_cause):
        if status != "ok" or tier is None:
            return {"status": status}
        return {
            "tier": tier,
            "tier_name": tier_name,
            "chance_percent": chance_percent,
            "aim_deg_true": aims[0] if aims else None,
            "second_aim_deg_true": aims[1] if len(aims) > 1 else None,
            "deciding_service": deciding_service or None,
            "main_cause": main_cause or None,
            "cost": self.result.price(self.list_name, tier, len(aims) > 1),
            "status": status,
        }

    def _exact(self, feedback):
        """Run the command on all points and return the columns of each, by feature id."""
        with tempfile.TemporaryDirectory() as temporary:
            table = Path(temporary) / "points.csv"
            with open(table, "w", encoding="utf-8", newline="") as file:
                writer = csv.writer(file)
                writer.writerow(["id", "latitude_deg", "longitude_deg", "label"])
                for key, place in self.places.items():
                    # 8 decimals: about a millimetre, so that no point moves into the next square
                    writer.writerow([key, f"{place.y():.8f}", f"{place.x():.8f}", ""])
            wanted = ["--wanted", self.list_name, "--json", "--progress", "json"]
            said = self.run_covermap(["address", str(self.scenario), "--list", str(table), *wanted], feedback)
        # The command may say something before the JSON begins.
        reports = json.loads(said[said.index("[") :])
        return {
            int(one["location"]["id"]): self._row(
                one["status"], one.get("tier"), _numbered(one), one.get("chance_percent"),
                one.get("aims_deg_true") or [], one.get("deciding_service"), one.get("main_cause"),
            )
            for one in reports
        }  # fmt: skip


def _numbered(report):
    return f"{report['tier']} {report['tier_name']}" if report.get("tier") else None


def _our_fields():
    """Return the columns, of a layer in memory: the classes of types differ between versions of QGIS."""
    columns = "&".join(f"field={name}:{kind}" for name, kind in COLUMNS.items())
    return QgsVectorLayer(f"None?{columns}", "columns", "memory").fields()
