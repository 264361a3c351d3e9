"""Writes layers as files the command reads: what is filtered, selected, edited or only in memory counts."""

import csv
from pathlib import Path

from qgis.core import (
    NULL,
    QgsCoordinateReferenceSystem,
    QgsCoordinateTransform,
    QgsField,
    QgsFields,
    QgsGeometry,
    QgsProcessingException,
    QgsVectorFileWriter,
    QgsWkbTypes,
)

WGS84 = "EPSG:4326"


def raster_file(layer, folder):
    """Return the file of a raster layer; one inside another file is copied to a GeoTIFF in a folder.

    Raises QgsProcessingException when the layer is no raster that GDAL reads, or cannot be copied.
    """
    if layer.providerType() != "gdal":
        raise QgsProcessingException(
            f"{layer.name()} is no file but {layer.providerType()}. Save it as GeoTIFF and give that."
        )
    source = layer.source()
    # A plain file, or one that GDAL reads inside an archive: the command opens it itself. What is left are
    # sub-datasets, such as a raster of a GeoPackage, whose names only GDAL knows.
    if Path(source).is_file() or source.startswith("/vsi"):
        return Path(source)
    from osgeo import gdal

    plain = "".join(letter if letter.isalnum() else "_" for letter in layer.name())
    path, number = folder / f"{plain}.tif", 1
    while path.exists():
        number += 1
        path = folder / f"{plain}_{number}.tif"
    gdal.UseExceptions()
    try:
        gdal.Translate(
            str(path), source, creationOptions=["COMPRESS=DEFLATE", "TILED=YES", "BIGTIFF=IF_SAFER"]
        )
    except RuntimeError as error:
        raise QgsProcessingException(
            f"{layer.name()} cannot be copied out of {source}: {error}. Save it as GeoTIFF and give that."
        ) from error
    return path


def write_geopackage(source, path, context, rename=None, *, single_points=False):
    """Write a feature source as a GeoPackage in its own CRS.

    source : QgsProcessingFeatureSource; path : of the new file; context : QgsCoordinateTransformContext
    rename : new name -> field of the source. A field in the way of a new name steps aside.
    single_points : multipoints of one part are written as points; more parts are refused

    Raises QgsProcessingException when a field is not there or the file cannot be written.
    """
    new_names = _renamed([field.name() for field in source.fields()], rename or {})
    fields = QgsFields()
    for index, name in enumerate(new_names):
        copy = QgsField(source.fields().at(index))
        copy.setName(name)
        fields.append(copy)
    options = QgsVectorFileWriter.SaveVectorOptions()
    options.driverName = "GPKG"
    options.layerName = path.stem
    # A layer may have a field "fid" of its own, which the GeoPackage's key of that name would collide with.
    options.layerOptions = ["FID=covermap_fid"]
    kind = QgsWkbTypes.singleType(source.wkbType()) if single_points else source.wkbType()
    writer = QgsVectorFileWriter.create(str(path), fields, kind, source.sourceCrs(), context, options)
    if writer.hasError() != QgsVectorFileWriter.WriterError.NoError:
        raise QgsProcessingException(f"{path.name} cannot be written: {writer.errorMessage()}")
    for feature in source.getFeatures():
        if single_points and feature.hasGeometry():
            feature.setGeometry(QgsGeometry.fromPointXY(one_point(feature, source.sourceName())))
        if not writer.addFeature(feature):
            raise QgsProcessingException(f"{path.name} cannot be written: {writer.errorMessage()}")
    del writer  # closes the file


def one_point(feature, layer_name):
    """Return the point of a feature, also of a multipoint of one part. Raises QgsProcessingException."""
    geometry = feature.geometry()
    parts = geometry.asMultiPoint() if geometry.isMultipart() else [geometry.asPoint()]
    if len(parts) != 1:
        raise QgsProcessingException(
            f"{layer_name}, feature {feature.id()}: it has {len(parts)} points and must have one. "
            "Split it, with Multipart to singleparts, and give the rows keys of their own."
        )
    return parts[0]


def _renamed(names, rename):
    """Return the names in order after renaming; a name of ours that stood on another field steps aside."""
    missing = [field for field in rename.values() if field not in names]
    if missing:
        raise QgsProcessingException(f"There is no field {missing[0]!r}; there are {', '.join(names)}.")
    new_of = {field: new for new, field in rename.items()}
    taken = set(rename)
    result = []
    for name in names:
        if name in new_of:
            result.append(new_of[name])
        else:
            # Kept under another name: two columns of one name would be refused, and its values may still be
            # wanted.
            result.append(f"{name}_of_the_layer" if name in taken else name)
    return result


def write_readings(source, path, context):
    """Write a feature source as CSV, with the position of points where columns lack it."""
    names = [field.name() for field in source.fields()]
    located = {"latitude_deg", "longitude_deg"} <= set(names)
    of_points = QgsWkbTypes.geometryType(source.wkbType()) == QgsWkbTypes.GeometryType.PointGeometry
    points = of_points and not located
    to_wgs84 = QgsCoordinateTransform(source.sourceCrs(), QgsCoordinateReferenceSystem(WGS84), context)
    with open(path, "w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow([*names, "latitude_deg", "longitude_deg"] if points else names)
        for feature in source.getFeatures():
            row = [_text(value) for value in feature.attributes()]
            if points:
                place = to_wgs84.transform(one_point(feature, source.sourceName()))
                row += [f"{place.y():.8f}", f"{place.x():.8f}"]
            writer.writerow(row)


def _text(value):
    """Return an attribute as a person would type it."""
    if value is None or value == NULL:
        return ""
    if hasattr(value, "toString"):  # dates and times of Qt, in ISO 8601
        from qgis.PyQt.QtCore import Qt

        return value.toString(Qt.DateFormat.ISODate)
    return str(value)
