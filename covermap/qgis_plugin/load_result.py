"""Loads a result folder into the open project: its groups, layers and styles. Pure QGIS."""

from pathlib import Path

from qgis.core import QgsLayerTreeGroup, QgsLayerTreeLayer, QgsProject, QgsVectorLayer

from .result_folder import PROJECT_FILE, ResultError, read_result

GROUP_PROPERTY = "covermap/group"  # as covermap/gis_layers/project_groups.py writes it
DRAWN_FIRST = ("stations", "relief", "why", "needed", "cells")
"""Keys of the groups from the topmost down; inside another project the tree is also the drawing order.

The relief is multiplied over what lies under it.
"""


def load_result(folder, project):
    """Add the layers of a result folder to a project, in one group of its name; return the layers.

    Raises ResultError when the folder holds no result of our format, or a layer of it is broken.
    """
    run = read_result(folder)
    # A project of its own: read into the open one it would replace it.
    source = QgsProject()
    if not source.read(str(Path(folder) / PROJECT_FILE)):
        raise ResultError(f"{Path(folder) / PROJECT_FILE} cannot be read: {source.error()}")
    broken = [layer.name() for layer in source.mapLayers().values() if not layer.isValid()]
    # Before anything is added, so that a broken result leaves the project as it was.
    if broken:
        raise ResultError(f"{folder}: these layers cannot be opened: {', '.join(sorted(broken))}.")
    group = project.layerTreeRoot().insertGroup(0, run.get("name") or Path(folder).name)
    added = []
    for child in sorted(source.layerTreeRoot().children(), key=_place):
        added += _copy_group(child, group, project)
    return added


def load_layer(source, title, project):
    """Add one layer to a project in the style its file holds; return it, None where there is none."""
    layer = QgsVectorLayer(source, title, "ogr") if source else None
    if layer is None or not layer.isValid():
        return None
    project.addMapLayer(layer)
    return layer


def _place(group):
    """Return where a group is drawn; groups of an older result have no key and stay in their order."""
    key = group.customProperty(GROUP_PROPERTY)
    return DRAWN_FIRST.index(key) if key in DRAWN_FIRST else len(DRAWN_FIRST)


def _copy_group(source, parent, project):
    """Copy a group with its layers, what is ticked and what is unfolded; return the new layers."""
    copy = parent.addGroup(source.name())
    added = []
    for child in source.children():
        if isinstance(child, QgsLayerTreeGroup):
            added += _copy_group(child, copy, project)
        elif isinstance(child, QgsLayerTreeLayer) and child.layer() is not None:
            # a clone, since the project it stands in goes when this function ends
            layer = child.layer().clone()
            # False: not at the top of the tree, it goes into its group
            project.addMapLayer(layer, False)
            node = copy.addLayer(layer)
            node.setItemVisibilityChecked(child.itemVisibilityChecked())
            node.setExpanded(child.isExpanded())
            # among them the order of the legend's lines
            for key in child.customProperties():
                node.setCustomProperty(key, child.customProperty(key))
            added.append(layer)
    copy.setItemVisibilityChecked(source.itemVisibilityChecked())
    copy.setExpanded(source.isExpanded())
    return added
