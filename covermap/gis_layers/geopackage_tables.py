"""Tables of a GeoPackage that GDAL does not write: column aliases, QGIS styles and layer metadata."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

from covermap.gis_layers.layer_styles import LayerStyle
from covermap.wording.columns import alias, meaning
from covermap.wording.language import say

# OGC 12-128r14 (GeoPackage 1.2), annex F.9 "Schema" and table 33
_DATA_COLUMNS = """
CREATE TABLE IF NOT EXISTS gpkg_data_columns (
  table_name TEXT NOT NULL, column_name TEXT NOT NULL, name TEXT, title TEXT, description TEXT,
  mime_type TEXT, constraint_name TEXT,
  CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name),
  CONSTRAINT gdc_tn UNIQUE (table_name, name))
"""
_CONSTRAINTS = """
CREATE TABLE IF NOT EXISTS gpkg_data_column_constraints (
  constraint_name TEXT NOT NULL, constraint_type TEXT NOT NULL, value TEXT,
  min NUMERIC, min_is_inclusive BOOLEAN, max NUMERIC, max_is_inclusive BOOLEAN, description TEXT,
  CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type, value))
"""
_EXTENSIONS = """
CREATE TABLE IF NOT EXISTS gpkg_extensions (
  table_name TEXT, column_name TEXT, extension_name TEXT NOT NULL, definition TEXT NOT NULL,
  scope TEXT NOT NULL, CONSTRAINT ge_tce UNIQUE (table_name, column_name, extension_name))
"""
_LAYER_STYLES = """
CREATE TABLE layer_styles (
  id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, f_table_catalog TEXT(256), f_table_schema TEXT(256),
  f_table_name TEXT(256), f_geometry_column TEXT(256), styleName TEXT(30), styleQML TEXT, styleSLD TEXT,
  useAsDefault BOOLEAN, description TEXT, owner TEXT(30), ui TEXT(30), update_time DATETIME)
"""
# OGC 12-128r14, annex F.8 "Metadata"
_METADATA = """
CREATE TABLE gpkg_metadata (
  id INTEGER CONSTRAINT m_pk PRIMARY KEY ASC NOT NULL, md_scope TEXT NOT NULL DEFAULT 'dataset',
  md_standard_uri TEXT NOT NULL, mime_type TEXT NOT NULL DEFAULT 'text/xml',
  metadata TEXT NOT NULL DEFAULT '')
"""
_METADATA_REFERENCE = """
CREATE TABLE gpkg_metadata_reference (
  reference_scope TEXT NOT NULL, table_name TEXT, column_name TEXT, row_id_value INTEGER,
  timestamp DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')),
  md_file_id INTEGER NOT NULL, md_parent_id INTEGER,
  CONSTRAINT crmr_mfi_fk FOREIGN KEY (md_file_id) REFERENCES gpkg_metadata(id),
  CONSTRAINT crmr_mpi_fk FOREIGN KEY (md_parent_id) REFERENCES gpkg_metadata(id))
"""
METADATA_DEFINITION = "http://www.geopackage.org/spec121/#extension_metadata"
METADATA_STANDARD = "http://mrcc.com/qgis.dtd"  # the name under which QGIS looks for its layer metadata
SCHEMA_DEFINITION = "http://www.geopackage.org/spec121/#extension_schema"
GEOMETRY_COLUMN = "geom"
DATE_COLUMNS = frozenset({"as_of", "stations_as_of"})


def utc_timestamp(moment: datetime | None = None) -> str:
    """Return a moment (default now) as GeoPackage and QGIS read it: 2026-11-25T09:25:27.000Z."""
    return (moment or datetime.now(UTC)).astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.000Z")


def add_tables(
    path: Path,
    columns: Mapping[str, Sequence[str]],
    styles: Iterable[LayerStyle],
    metadata: Mapping[str, str],
    stamp: str,
) -> None:
    """Add aliases, styles and layer metadata to a GeoPackage, and set the time of all its contents.

    columns : layer -> its attribute columns in order; metadata : layer -> of layer_metadata();
    stamp : of utc_timestamp()
    """
    with closing(sqlite3.connect(path)) as database, database:
        _add_metadata(database, metadata, stamp)
        _add_aliases(database, columns)
        _add_styles(database, styles, stamp)
        database.execute("UPDATE gpkg_contents SET last_change = ?", (stamp,))
        _declare_dates(database, columns)


def _declare_dates(database: sqlite3.Connection, columns: Mapping[str, Sequence[str]]) -> None:
    """Declare columns of days as DATE, which a GeoPackage keeps as the same text (OGC 12-128r14, table 1).

    The library that wrote them knows moments and texts only; www.sqlite.org/lang_altertable.html, section 7,
    changes a declaration so where the content stays.
    """
    database.execute("PRAGMA writable_schema = ON")
    for layer, names in columns.items():
        for name in DATE_COLUMNS.intersection(names):
            database.execute(
                "UPDATE sqlite_master SET sql = replace(sql, ?, ?) WHERE type = 'table' AND name = ?",
                # as GDAL writes a column of text
                (f'"{name}" TEXT', f'"{name}" DATE', layer),
            )
    # RESET and not OFF: it also makes SQLite read the changed declarations again.
    database.execute("PRAGMA writable_schema = RESET")


def add_styles(path: Path, styles: Iterable[LayerStyle]) -> None:
    """Add the styles that QGIS opens layers with to a GeoPackage that has none yet."""
    with closing(sqlite3.connect(path)) as database, database:
        _add_styles(database, styles, utc_timestamp())


def _add_aliases(database: sqlite3.Connection, columns: Mapping[str, Sequence[str]]) -> None:
    for statement in (_EXTENSIONS, _DATA_COLUMNS, _CONSTRAINTS):
        database.execute(statement)
    for table in ("gpkg_data_columns", "gpkg_data_column_constraints"):
        database.execute(
            "INSERT OR IGNORE INTO gpkg_extensions VALUES (?, NULL, 'gpkg_schema', ?, 'read-write')",
            (table, SCHEMA_DEFINITION),
        )
    database.executemany(
        "INSERT OR REPLACE INTO gpkg_data_columns (table_name, column_name, name, title, description) "
        "VALUES (?, ?, ?, ?, ?)",
        [
            (layer, column, alias(column), alias(column), meaning(column))
            for layer, names in columns.items()
            for column in names
        ],
    )


def _add_metadata(database: sqlite3.Connection, metadata: Mapping[str, str], stamp: str) -> None:
    for statement in (_EXTENSIONS, _METADATA, _METADATA_REFERENCE):
        database.execute(statement)
    for table in ("gpkg_metadata", "gpkg_metadata_reference"):
        database.execute(
            "INSERT OR IGNORE INTO gpkg_extensions VALUES (?, NULL, 'gpkg_metadata', ?, 'read-write')",
            (table, METADATA_DEFINITION),
        )
    for number, (layer, text) in enumerate(metadata.items(), start=1):
        database.execute(
            "INSERT INTO gpkg_metadata VALUES (?, 'dataset', ?, 'text/xml', ?)",
            (number, METADATA_STANDARD, text),
        )
        database.execute(
            "INSERT INTO gpkg_metadata_reference VALUES ('table', ?, NULL, NULL, ?, ?, NULL)",
            (layer, stamp, number),
        )


def _add_styles(database: sqlite3.Connection, styles: Iterable[LayerStyle], stamp: str) -> None:
    database.execute(_LAYER_STYLES)
    database.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change, srs_id) "
        "VALUES ('layer_styles', 'attributes', 'layer_styles', ?, ?, 0)",
        (say("layer.styles"), stamp),
    )
    database.executemany(
        "INSERT INTO layer_styles (f_table_catalog, f_table_schema, f_table_name, f_geometry_column, "
        "styleName, styleQML, styleSLD, useAsDefault, description, owner, update_time) "
        "VALUES ('', '', ?, ?, ?, ?, '', ?, ?, '', ?)",
        [(s.table, GEOMETRY_COLUMN, s.name, s.qml, int(s.default), s.description, stamp) for s in styles],
    )
