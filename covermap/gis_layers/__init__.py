"""gis_layers: a result as layers, styles and a project that a GIS opens."""
