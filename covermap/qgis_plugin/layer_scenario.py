"""A scenario from the layers of a prediction: what is missing, the layers as files, and the text."""

from pathlib import Path

from qgis.core import QgsCoordinateReferenceSystem, QgsProcessingException

from .choices import ELEVATION_UNITS, ENVIRONMENTS, HEIGHT_UNITS, POWER_UNITS, TIME_RULES
from .layer_files import raster_file, write_geopackage
from .layer_inputs import STATION_FIELDS
from .scenario_text import lists_of, scenario_text, services_of

NEEDED_FIELDS = (("HOMES", "HOMES_COUNT", "Number of homes"), ("NEIGHBOURHOODS", "NEIGHBOURHOOD_KEY", "Key"))


def faults_of(algorithm, parameters, context):
    """Return (False, what is wrong) where a run could not begin; None where it could."""

    def text(name):
        return algorithm.parameterAsString(parameters, name, context).strip()

    faults = [
        f"{label} needs a layer or a value."
        for name, label in (
            ("ELEVATION", "Elevation"),
            ("STATIONS", "Stations"),
            ("WANTED", "Services wanted"),
        )
        if not parameters.get(name)
    ]
    for layer, field, label in NEEDED_FIELDS:
        if parameters.get(layer) and not text(field):
            faults.append(f"{layer.capitalize()} are given: choose the field of {label}.")
    if text("LAND_COVER_TABLE") and not parameters.get("LAND_COVER"):
        faults.append("The meaning of the classes is given without land cover.")
    for layer in algorithm.parameterAsLayerList(parameters, "ELEVATION", context) or []:
        if not layer.crs().isValid():
            faults.append(f"{layer.name()} has no CRS. Set the one it was made in.")
    faults += _service_fault(algorithm, parameters, context, text)
    try:
        lists_of(text("MORE_LISTS"))
    except ValueError as error:
        faults.append(str(error))
    return (False, " ".join(faults)) if faults else None


def _service_fault(algorithm, parameters, context, text):
    source = (
        algorithm.parameterAsSource(parameters, "STATIONS", context) if parameters.get("STATIONS") else None
    )
    if source is None or text("FIELD_SERVICE") or "service" in source.fields().names():
        return []
    return ["Stations have no field called service: choose the field of the programme."]


def write_scenario(algorithm, parameters, context, folder, name):
    """Write the layers and scenario.toml to a folder; return the scenario's path and its choices.

    Choices are table -> key -> value, files as Path.
    """
    choices = _choices(_Given(algorithm, parameters, context, folder), name)
    scenario = folder / "scenario.toml"
    scenario.write_text(scenario_text(choices, folder), encoding="utf-8")
    return scenario, choices


class _Given:
    """The parameters of a run, and its layers as files in a folder."""

    def __init__(self, algorithm, parameters, context, folder):
        self.algorithm, self.parameters, self.context, self.folder = algorithm, parameters, context, folder

    def text(self, name):
        return self.algorithm.parameterAsString(self.parameters, name, self.context).strip()

    def path(self, name):
        return Path(self.text(name)) if self.text(name) else None

    def number(self, name):
        return self.algorithm.parameterAsDouble(self.parameters, name, self.context)

    def index(self, name):
        return self.algorithm.parameterAsEnum(self.parameters, name, self.context)

    def choice(self, name):
        return self.algorithm.parameterAsEnumString(self.parameters, name, self.context)

    def rasters(self, name):
        layers = self.algorithm.parameterAsLayerList(self.parameters, name, self.context) or []
        return [raster_file(layer, self.folder) for layer in layers]

    def raster(self, name):
        layer = self.algorithm.parameterAsRasterLayer(self.parameters, name, self.context)
        return raster_file(layer, self.folder) if layer else None

    def vector(self, name, rename=None, single_points=False):
        if self.parameters.get(name) is None:
            return None
        source = self.algorithm.parameterAsSource(self.parameters, name, self.context)
        if source is None:
            raise QgsProcessingException(self.algorithm.invalidSourceError(self.parameters, name))
        # Always written anew: filters, selections and unsaved edits are only in QGIS, not in the layer's
        # file.
        path = self.folder / f"{name.lower()}.gpkg"
        write_geopackage(source, path, self.context.transformContext(), rename, single_points=single_points)
        return path


def _choices(given, name):
    bare_earth = given.rasters("BARE_EARTH")
    homes, wards = given.vector("HOMES"), given.vector("NEIGHBOURHOODS")
    return {
        # "" is the top of the file, which in TOML must come before every table.
        "": {"name": name, "output": "."},
        "grid": {"cell_m": given.number("CELL_M")} | _area(given),
        "terrain": {
            "elevation": given.rasters("ELEVATION"),
            "elevation_unit": ELEVATION_UNITS.get(given.choice("ELEVATION_UNIT")),
            "kind": "with_canopy" if bare_earth else None,
            "bare_earth": bare_earth,
            "land_cover": given.raster("LAND_COVER"),
            "land_cover_table": given.path("LAND_COVER_TABLE"),
            "sea": given.vector("SEA"),
        },
        "transmitters": {
            "file": given.vector("STATIONS", _station_columns(given), single_points=True),
            "channel_plan": given.choice("CHANNEL_PLAN"),
            "default_system": given.choice("SYSTEM"),
            "patterns": given.path("PATTERNS"),
        },
        "wanted.main": {"services": services_of(given.text("WANTED"))},
        **{
            f"wanted.{name}": {"services": services}
            for name, services in lists_of(given.text("MORE_LISTS")).items()
        },
        "prediction": {"time_rule": list(TIME_RULES)[given.index("TIME_RULE")]},
        "reception": {
            "confidence_percent": given.number("CONFIDENCE"),
            "noise_environment": ENVIRONMENTS[given.index("NOISE")],
        },
        "homes": {"file": homes, "count": given.text("HOMES_COUNT")} if homes else {},
        "areas": {
            "neighbourhoods": wards,
            "neighbourhood_key": given.text("NEIGHBOURHOOD_KEY"),
            "neighbourhood_name": given.text("NEIGHBOURHOOD_NAME"),
        }
        if wards
        else {},
    }


def _station_columns(given):
    """Return column of a station file -> field of the layer, in the units that were chosen."""
    units = {
        "FIELD_ERP": POWER_UNITS[given.choice("POWER_UNIT")],
        "FIELD_HEIGHT": HEIGHT_UNITS[given.choice("HEIGHT_UNIT")],
    }
    return {
        # A unit is told by the column's name, as in a file: the values themselves are never converted here.
        units.get(name, column): given.text(name)
        for name, (_, column, _) in STATION_FIELDS.items()
        if given.text(name)
    }


def _area(given):
    """Return the file of the area, or the four sides of the extent in degrees; none when neither is given."""
    area = given.vector("AREA")
    if area:
        return {"area": area}
    if not given.parameters.get("EXTENT"):
        return {}
    wgs84 = QgsCoordinateReferenceSystem("EPSG:4326")
    box = given.algorithm.parameterAsExtent(given.parameters, "EXTENT", given.context, wgs84)
    return {"west": box.xMinimum(), "south": box.yMinimum(), "east": box.xMaximum(), "north": box.yMaximum()}
