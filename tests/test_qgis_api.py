"""What the plugin asks of QGIS: names the installed one has, and none that newer ones dropped."""

import ast
from pathlib import Path

import pytest
from qgis_session import QgisSession, require_qgis

PLUGIN = Path(__file__).resolve().parents[1] / "covermap" / "qgis_plugin"
# from memory: deprecated or gone in QGIS 3.40 or in its builds with Qt 6
OLD = {
    "QVariant", "exec_", "writeAsVectorFormat", "writeAsVectorFormatV2", "setCrsTransform",
    "mapLayerRegistry", "QgsMapLayerRegistry", "QgsCRSCache", "setDestCRS", "pyqtConfigure", "QRegExp",
    "QDesktopWidget",
}  # fmt: skip


def names_used():
    """Return (module.name imported, Class.attribute, every attribute) of the plugin's files."""
    imported, attributes, every = set(), set(), set()
    for path in PLUGIN.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if (
                isinstance(node, ast.ImportFrom)
                and node.level == 0
                and (node.module or "").startswith("qgis")
            ):
                imported |= {f"{node.module}.{name.name}" for name in node.names}
            if isinstance(node, ast.Attribute):
                every.add(node.attr)
                if isinstance(node.value, ast.Name) and node.value.id.startswith("Qgs"):
                    attributes.add(f"{node.value.id}.{node.attr}")
    return imported, attributes, every


def test_no_name_is_used_that_newer_versions_dropped():
    imported, attributes, every = names_used()
    assert len(imported) > 20
    assert len(attributes) > 10
    last = {name.rsplit(".", 1)[-1] for name in imported}
    assert not OLD & (last | every)
    modules = {name.rsplit(".", 1)[0] for name in imported}
    assert modules <= {"qgis.core", "qgis.gui", "qgis.PyQt.QtCore", "qgis.PyQt.QtGui", "qgis.PyQt.QtWidgets"}


def test_enumerations_of_qt_are_written_with_their_scope():
    for path in PLUGIN.glob("*.py"):
        tree = ast.parse(path.read_text("utf-8"))
        inner = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Attribute)}
        bare = [
            node.attr
            for node in ast.walk(tree)
            if isinstance(node, ast.Attribute)
            and isinstance(node.value, ast.Name)
            and node.value.id == "Qt"
            and id(node) not in inner
        ]
        assert bare == [], path.name  # Qt.DateFormat.ISODate, not Qt.ISODate: Qt 6 has only the first


RESOLVE = """
import importlib
missing = []
for name in given["imported"]:
    module, member = name.rsplit(".", 1)
    if not hasattr(importlib.import_module(module), member):
        missing.append(name)
import qgis.core, qgis.gui
for name in given["attributes"]:
    owner, member = name.split(".")
    found = getattr(qgis.core, owner, None) or getattr(qgis.gui, owner, None)
    if not hasattr(found, member):
        missing.append(name)
answer["missing"] = missing
answer["version"] = Qgis.QGIS_VERSION_INT
"""


@pytest.mark.qgis
def test_every_name_is_there_in_the_installed_qgis(tmp_path):
    require_qgis()
    imported, attributes, _ = names_used()
    given = {"imported": sorted(imported), "attributes": sorted(attributes)}
    answer = QgisSession(tmp_path).script(RESOLVE, given)
    assert answer["missing"] == []
    assert answer["version"] >= 32200
