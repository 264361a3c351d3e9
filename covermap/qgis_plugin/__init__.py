"""qgis_plugin: a Processing provider that starts the covermap command; stand-alone.

QGIS loads this folder under another name, so modules import each other relatively, and only Python's own
library, PyQt through qgis.PyQt, and QGIS. It runs in QGIS 3.22 with Python 3.9.
"""


def classFactory(iface):
    """Return the plugin; QGIS calls this when it loads the folder."""
    from .plugin import CovermapPlugin

    return CovermapPlugin(iface)
