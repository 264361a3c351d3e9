"""The inputs of a prediction from layers: parameters, and the choices a scenario is written from."""

from pathlib import Path

from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsProcessing,
    QgsProcessingException,
    QgsProcessingParameterBoolean,
    QgsProcessingParameterEnum,
    QgsProcessingParameterExtent,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterField,
    QgsProcessingParameterFile,
    QgsProcessingParameterFolderDestination,
    QgsProcessingParameterMultipleLayers,
    QgsProcessingParameterNumber,
    QgsProcessingParameterRasterLayer,
    QgsProcessingParameterString,
)

from .layer_files import write_geopackage
from .scenario_text import services_of

# parameter -> column of a station file, what the field holds
STATION_FIELDS = {
    "FIELD_ID": ("station_id", "Key of each row: letters, digits, - and _."),
    "FIELD_SERVICE": ("service", "Name of the programme."),
    "FIELD_MAST": ("mast", "Name of the structure; stations of one mast share it."),
    "FIELD_RF_CHANNEL": ("rf_channel", "Channel the transmitter uses, a whole number; or use the frequency."),
    "FIELD_FREQUENCY": ("frequency_mhz", "Centre frequency in MHz; not needed with channel and plan."),
    "FIELD_ERP": ("erp_kw", "Effective radiated power in kW, re half-wave dipole."),
    "FIELD_HEIGHT": ("antenna_height_m", "Height of the antenna above ground, in metres."),
    "FIELD_POLARIZATION": ("polarization", "H, V, slant or circular."),
    "FIELD_AS_OF": ("as_of", "Date of the row."),
}
TIME_RULES = ("us_90_10", "gt_50_1")
ENVIRONMENTS = ("city", "residential", "rural", "quiet_rural")


def add_inputs(algorithm):
    """Add every parameter of a prediction beside the scenario file."""
    add = algorithm.add
    add(
        QgsProcessingParameterMultipleLayers(
            "ELEVATION", "Elevation", QgsProcessing.TypeRaster, optional=True
        ),
        "One or more rasters of bare-earth elevation; they must reach every mast.",
    )
    add(
        QgsProcessingParameterRasterLayer("LAND_COVER", "Land cover", optional=True),
        "Classes of land cover; without it trees and buildings are not included and the result is less sure.",
    )
    _add_stations(add)
    add(
        QgsProcessingParameterString("WANTED", "Services wanted", optional=True, multiLine=False),
        "Names, shown channels or RF channels, separated by semicolons.",
    )
    add(
        QgsProcessingParameterNumber("CELL_M", "Width of a square, m", defaultValue=100, minValue=5),
        "100 m is usual; a coarser grid is quicker.",
    )
    add(
        QgsProcessingParameterFeatureSource("AREA", "Area", [QgsProcessing.TypeVectorPolygon], optional=True),
        "Polygons in which squares are predicted; without them the extent below.",
    )
    add(
        QgsProcessingParameterExtent("EXTENT", "Extent", optional=True),
        "Where squares are predicted when no area is given; without both the extent of the elevation.",
    )
    add(
        QgsProcessingParameterNumber("CONFIDENCE", "How sure, %", defaultValue=90, minValue=1, maxValue=99),
        "The chance that all wanted services arrive, which the antenna must reach.",
    )
    _add_people(add)
    _add_run(add)


def _add_stations(add):
    add(
        QgsProcessingParameterFeatureSource(
            "STATIONS", "Stations", [QgsProcessing.TypeVectorPoint], optional=True
        ),
        "Points of transmitters. Fields called as in a station file need not be named below.",
    )
    for name, (column, text) in STATION_FIELDS.items():
        add(
            QgsProcessingParameterField(name, f"Field: {column}", None, "STATIONS", optional=True),
            f"{text} Empty: the field called {column}.",
            advanced=True,
        )
    add(
        QgsProcessingParameterString("CHANNEL_PLAN", "Channel plan", optional=True),
        "Name of the plan that turns RF channels into frequencies, such as us_6mhz.",
    )
    add(
        QgsProcessingParameterString("SYSTEM", "System", defaultValue="atsc1_8vsb", optional=True),
        "Transmission system of stations that do not name their own.",
        advanced=True,
    )
    add(
        QgsProcessingParameterFile("PATTERNS", "Antenna patterns", extension="csv", optional=True),
        "Table of transmitting patterns: pattern, plane, angle_deg, relative_field.",
        advanced=True,
    )


def _add_people(add):
    add(
        QgsProcessingParameterFeatureSource(
            "HOMES", "Homes", [QgsProcessing.TypeVectorPoint, QgsProcessing.TypeVectorPolygon], optional=True
        ),
        "Points or polygons with a number of homes; without them results are shares of land.",
    )
    add(
        QgsProcessingParameterField("HOMES_COUNT", "Field: number of homes", None, "HOMES", optional=True),
        "Field with the number of homes of each feature.",
    )
    add(
        QgsProcessingParameterFeatureSource(
            "NEIGHBOURHOODS", "Neighbourhoods", [QgsProcessing.TypeVectorPolygon], optional=True
        ),
        "Polygons that get a row each in the answer.",
    )
    for name, what in (("NEIGHBOURHOOD_KEY", "key"), ("NEIGHBOURHOOD_NAME", "name")):
        add(
            QgsProcessingParameterField(name, f"Field: {what}", None, "NEIGHBOURHOODS", optional=True),
            f"Field with the {what} of each neighbourhood.",
        )


def _add_run(add):
    add(
        QgsProcessingParameterEnum(
            "TIME_RULE", "Time rule", ["90 % wanted, 10 % interference", "50 % wanted, 1 % interference"],
            defaultValue=0,
        ),
        "For which part of the time a wanted signal must hold, against interference at which part.",
        advanced=True,
    )  # fmt: skip
    add(
        QgsProcessingParameterEnum("NOISE", "Noise environment", list(ENVIRONMENTS), defaultValue=1),
        "How much man-made noise a receiving antenna hears.",
        advanced=True,
    )
    add(
        QgsProcessingParameterNumber("WORKERS", "Threads", optional=True, minValue=1),
        "Threads that compute; empty: one a core.",
        advanced=True,
    )
    add(
        QgsProcessingParameterBoolean(
            "OVERWRITE", "Write into a folder that is not ours", defaultValue=False
        ),
        "Files that are not results stay as they are.",
        advanced=True,
    )
    add(
        QgsProcessingParameterBoolean("LOAD", "Load the result", defaultValue=True),
        "Adds the layers to this project, in groups.",
    )
    add(
        QgsProcessingParameterFolderDestination("OUTPUT", "Result folder"),
        "New, empty, or of an earlier result, which is then replaced.",
    )


def choices_of(algorithm, parameters, context, folder):
    """Write the layers to a folder and return the choices of a scenario, table -> key -> value.

    Raises QgsProcessingException when something that is needed was not given.
    """

    def text(name):
        return algorithm.parameterAsString(parameters, name, context).strip()

    elevation = [
        _raster_path(layer)
        for layer in algorithm.parameterAsLayerList(parameters, "ELEVATION", context) or []
    ]
    land_cover = algorithm.parameterAsRasterLayer(parameters, "LAND_COVER", context)
    stations = _layer_file(algorithm, parameters, context, "STATIONS", folder, _station_fields(text))
    missing = [
        label
        for label, given in (
            ("Elevation", elevation),
            ("Stations", stations),
            ("Services wanted", text("WANTED")),
        )
        if not given
    ]
    if missing:
        raise QgsProcessingException(
            f"Without a scenario file these are needed: {', '.join(missing)}. Give them, or a scenario file."
        )
    return {
        "": {"name": Path(text("OUTPUT")).name, "output": "."},
        "grid": {"cell_m": algorithm.parameterAsDouble(parameters, "CELL_M", context)}
        | _area(algorithm, parameters, context, folder),
        "terrain": {"elevation": elevation, "land_cover": _raster_path(land_cover) if land_cover else None},
        "transmitters": {
            "file": stations,
            "channel_plan": text("CHANNEL_PLAN"),
            "default_system": text("SYSTEM"),
            "patterns": Path(text("PATTERNS")) if text("PATTERNS") else None,
        },
        "wanted.main": {"services": services_of(text("WANTED"))},
        "prediction": {"time_rule": TIME_RULES[algorithm.parameterAsEnum(parameters, "TIME_RULE", context)]},
        "reception": {
            "confidence_percent": algorithm.parameterAsDouble(parameters, "CONFIDENCE", context),
            "noise_environment": ENVIRONMENTS[algorithm.parameterAsEnum(parameters, "NOISE", context)],
        },
        **_people(algorithm, parameters, context, folder, text),
    }


def _people(algorithm, parameters, context, folder, text):
    """Return the tables of homes and neighbourhoods."""
    homes = _layer_file(algorithm, parameters, context, "HOMES", folder)
    wards = _layer_file(algorithm, parameters, context, "NEIGHBOURHOODS", folder)
    return {
        "homes": {"file": homes, "count": text("HOMES_COUNT")} if homes else {},
        "areas": {
            "neighbourhoods": wards,
            "neighbourhood_key": text("NEIGHBOURHOOD_KEY"),
            "neighbourhood_name": text("NEIGHBOURHOOD_NAME"),
        }
        if wards
        else {},
    }


def _station_fields(text):
    return {column: text(name) for name, (column, _) in STATION_FIELDS.items() if text(name)}


def _layer_file(algorithm, parameters, context, name, folder, rename=None):
    """Write a layer parameter as a GeoPackage and return its path, None when it was not given."""
    if parameters.get(name) is None:
        return None
    source = algorithm.parameterAsSource(parameters, name, context)
    if source is None:
        raise QgsProcessingException(algorithm.invalidSourceError(parameters, name))
    path = folder / f"{name.lower()}.gpkg"
    write_geopackage(source, path, context.transformContext(), rename)
    return path


def _raster_path(layer):
    """Return the file of a raster layer; only files can be given to the command."""
    if layer.providerType() != "gdal":
        raise QgsProcessingException(
            f"{layer.name()} is no file but {layer.providerType()}. Save it as GeoTIFF and give that."
        )
    return Path(layer.source())


def _area(algorithm, parameters, context, folder):
    """Return the file of the area, or the four sides of the extent in degrees; none when neither is given."""
    area = _layer_file(algorithm, parameters, context, "AREA", folder)
    if area:
        return {"area": area}
    if not parameters.get("EXTENT"):
        return {}
    box = algorithm.parameterAsExtent(
        parameters, "EXTENT", context, QgsCoordinateReferenceSystem("EPSG:4326")
    )
    return {"west": box.xMinimum(), "south": box.yMinimum(), "east": box.xMaximum(), "north": box.yMaximum()}
