"""The inputs of a prediction from layers, as parameters."""

from qgis.core import (
    QgsProcessing,
    QgsProcessingParameterEnum,
    QgsProcessingParameterExtent,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterField,
    QgsProcessingParameterFile,
    QgsProcessingParameterMultipleLayers,
    QgsProcessingParameterNumber,
    QgsProcessingParameterRasterLayer,
    QgsProcessingParameterString,
)

from .choices import (
    CHANNEL_PLANS,
    ELEVATION_UNITS,
    ENVIRONMENTS,
    HEIGHT_UNITS,
    POWER_UNITS,
    SYSTEMS,
    TIME_RULES,
)

# parameter -> label, column of a station file, what the field holds
STATION_FIELDS = {
    "FIELD_SERVICE": ("Programme", "service", "Name of the programme."),
    "FIELD_ERP": ("Power", "erp_kw", "Radiated power, in the unit below."),
    "FIELD_HEIGHT": ("Height of the antenna", "antenna_height_m", "Above ground, in the unit below."),
    "FIELD_RF_CHANNEL": ("RF channel", "rf_channel", "Channel the transmitter uses, a whole number."),
    "FIELD_FREQUENCY": ("Frequency, MHz", "frequency_mhz", "Centre; not needed with channel and plan."),
    "FIELD_MAST": ("Mast", "mast", "Name of the structure; stations of one mast share it."),
    "FIELD_ID": ("Key of the station", "station_id", "Letters, digits, - and _."),
    "FIELD_POLARIZATION": ("Polarization", "polarization", "H, V, slant or circular."),
    "FIELD_AS_OF": ("Date of the row", "as_of", "When the row was true."),
}
POLYGONS = [QgsProcessing.SourceType.TypeVectorPolygon]
POINTS = [QgsProcessing.SourceType.TypeVectorPoint]
RASTERS = QgsProcessing.SourceType.TypeRaster


def add_inputs(algorithm):
    """Add every input of a prediction."""
    _add_terrain(algorithm.add)
    _add_stations(algorithm.add)
    _add_wanted(algorithm.add)
    _add_area(algorithm.add)
    _add_people(algorithm.add)
    _add_rules(algorithm.add)


def _choice(name, label, names, default=None, optional=False):
    # static strings: a stored model keeps the word, and not its place in a list that may grow
    return QgsProcessingParameterEnum(
        name, label, list(names), defaultValue=default, optional=optional, usesStaticStrings=True
    )


def _add_terrain(add):
    add(
        QgsProcessingParameterMultipleLayers("ELEVATION", "Elevation", RASTERS),
        "One or more rasters of elevation, the finest counts; they must reach every mast.",
    )
    add(
        _choice("ELEVATION_UNIT", "Unit of the elevation", ELEVATION_UNITS, next(iter(ELEVATION_UNITS))),
        "Only where the file does not say it itself.",
        advanced=True,
    )
    add(
        QgsProcessingParameterMultipleLayers("BARE_EARTH", "Bare earth", RASTERS, optional=True),
        "Where the elevation includes trees and roofs: the ground under them.",
        advanced=True,
    )
    add(
        QgsProcessingParameterRasterLayer("LAND_COVER", "Land cover", optional=True),
        "Classes of land cover; without it trees and buildings are not included and the result is less sure.",
    )
    add(
        QgsProcessingParameterFile(
            "LAND_COVER_TABLE", "Meaning of the classes", extension="csv", optional=True
        ),
        "Table of the land cover's classes with their heights; without it the built-in one.",
        advanced=True,
    )
    add(
        QgsProcessingParameterFeatureSource("SEA", "Sea", POLYGONS, optional=True),
        "Polygons of the sea; without them water of the land cover that reaches the edge of the data.",
        advanced=True,
    )


def _add_stations(add):
    add(
        QgsProcessingParameterFeatureSource("STATIONS", "Stations", POINTS),
        "Points of transmitters. Fields called as in a station file need not be named below.",
    )
    for name, (label, column, text) in STATION_FIELDS.items():
        add(
            QgsProcessingParameterField(name, label, None, "STATIONS", optional=True),
            f"{text} Empty: the field called {column}.",
            advanced=True,
        )
    add(
        _choice("POWER_UNIT", "Unit of the power", POWER_UNITS, "kW ERP"),
        "Of the field chosen for power. ERP is relative to a half-wave dipole, EIRP to an even radiator.",
        advanced=True,
    )
    add(
        _choice("HEIGHT_UNIT", "Unit of the height", HEIGHT_UNITS, "metres"),
        "Of the field chosen for height.",
        advanced=True,
    )
    add(
        _choice("CHANNEL_PLAN", "Channel plan", CHANNEL_PLANS, optional=True),
        "Turns RF channels into frequencies.",
    )
    add(
        _choice("SYSTEM", "System", SYSTEMS, "atsc1_8vsb"),
        "Transmission system of stations that do not name their own.",
        advanced=True,
    )
    add(
        QgsProcessingParameterFile("PATTERNS", "Antenna patterns", extension="csv", optional=True),
        "Table of transmitting patterns: pattern, plane, angle_deg, relative_field.",
        advanced=True,
    )


def _add_wanted(add):
    wanted = QgsProcessingParameterString("WANTED", "Services wanted")
    # By name, and loaded only for a dialog: qgis_process has no windows. __package__, since QGIS loads the
    # folder under another name.
    wanted.setMetadata({"widget_wrapper": {"class": f"{__package__}.services_widget.ServicesWrapper"}})
    add(
        wanted,
        "Names, shown channels or RF channels, separated by semicolons; the list offers the stations'.",
    )
    add(
        QgsProcessingParameterString("MORE_LISTS", "Further wanted lists", optional=True, multiLine=True),
        "One a line: its name, a colon, its services separated by semicolons.",
        advanced=True,
    )


def _add_area(add):
    add(
        QgsProcessingParameterNumber("CELL_M", "Width of a square, m", defaultValue=100, minValue=5),
        "100 m is usual; a coarser grid is quicker.",
    )
    add(
        QgsProcessingParameterFeatureSource("AREA", "Area", POLYGONS, optional=True),
        "Polygons in which squares are predicted; without them the extent below.",
    )
    add(
        QgsProcessingParameterExtent("EXTENT", "Extent", optional=True),
        "Where squares are predicted when no area is given; without both the extent of the elevation.",
    )


def _add_people(add):
    add(
        QgsProcessingParameterFeatureSource("HOMES", "Homes", [*POINTS, *POLYGONS], optional=True),
        "Points or polygons with a number of homes; without them results are shares of land.",
    )
    add(
        QgsProcessingParameterField("HOMES_COUNT", "Number of homes", None, "HOMES", optional=True),
        "Field with the number of homes of each feature.",
    )
    add(
        QgsProcessingParameterFeatureSource("NEIGHBOURHOODS", "Neighbourhoods", POLYGONS, optional=True),
        "Polygons that get a row each in the answer.",
    )
    for name, label in (
        ("NEIGHBOURHOOD_KEY", "Key of the neighbourhood"),
        ("NEIGHBOURHOOD_NAME", "Name of the neighbourhood"),
    ):
        add(
            QgsProcessingParameterField(name, label, None, "NEIGHBOURHOODS", optional=True),
            "A field of the neighbourhoods.",
        )


def _add_rules(add):
    add(
        QgsProcessingParameterNumber("CONFIDENCE", "How sure, %", defaultValue=90, minValue=1, maxValue=99),
        "The chance that all wanted services arrive, which the antenna must reach.",
    )
    add(
        QgsProcessingParameterEnum("TIME_RULE", "Time rule", list(TIME_RULES.values()), defaultValue=0),
        "For which part of the time a wanted signal must hold, against interference at which part.",
        advanced=True,
    )
    add(
        QgsProcessingParameterEnum("NOISE", "Noise environment", list(ENVIRONMENTS), defaultValue=1),
        "How much man-made noise a receiving antenna hears.",
        advanced=True,
    )
