"""A large map as parts: each a folder of rasters of its own, and over them one virtual raster a layer.

GDAL's virtual format (VRT, an XML file) names the parts' files and where each lies; whoever opens it reads
one raster. So nothing that reads a result asks whether it has parts.
"""

from __future__ import annotations

import os
import xml.etree.ElementTree as ET
from collections.abc import Iterator, Mapping, Sequence
from copy import deepcopy
from pathlib import Path

import rasterio.shutil
from rasterio.io import MemoryFile

from covermap.grid.frame import Grid, Tile
from covermap.result.raster_catalogue import RASTERS_FOLDER, virtual_path
from covermap.result.whole_file import write_text

PART_CELLS = 4096  # on a side: a whole number of the groups of tiles that share paths
PARTS_FOLDER = "parts"
SMALLEST_OVERVIEW_CELLS = 512


def largest_whole_cells() -> int:
    """Return how many squares a map may have and not be made in parts."""
    return PART_CELLS**2


def parts_of(grid: Grid) -> list[Tile]:
    """Return the parts of a map, from north to south; a map with no more squares than one part is whole."""
    if grid.cells <= largest_whole_cells():
        return [grid.whole]
    return list(grid.tiles(PART_CELLS))


def part_folder(part: Tile) -> Path:
    """Return the folder of a part's rasters below the result's folder of rasters."""
    return Path(PARTS_FOLDER) / f"{part.row // PART_CELLS:03d}_{part.col // PART_CELLS:03d}"


def files_of_parts(result: Path, name: str) -> list[Path]:
    """Return the files of a raster's parts in a result folder, none where it is one file."""
    return sorted((Path(result) / RASTERS_FOLDER / PARTS_FOLDER).glob(f"*/{name}.tif"))


def join_parts(
    result: Path, grid: Grid, parts: Sequence[Tile], in_memory: Sequence[Mapping[str, MemoryFile]]
) -> dict[str, MemoryFile]:
    """Write the virtual raster of every layer that a part has; return those of what stands in memory.

    in_memory : of each part in turn, rasters by name that stand on no disk. They are returned too, under
        names that no raster of the map has, so that they last as long as those over them.
    """
    rasters = Path(result) / RASTERS_FOLDER
    for name in _names(rasters):
        files = {
            part: os.path.relpath(path, virtual_path(rasters, name).parent)
            for part in parts
            if (path := rasters / part_folder(part) / f"{name}.tif").is_file()
        }
        like = rasters / part_folder(next(iter(files))) / f"{name}.tif"
        write_text(virtual_path(rasters, name), _virtual(like, grid, files, relative=True))
    found = {
        f"{part_folder(part)}/{name}": file
        for part, held in zip(parts, in_memory, strict=True)
        for name, file in held.items()
    }
    for name in dict.fromkeys(name for held in in_memory for name in held):
        names = {part: one[name].name for part, one in zip(parts, in_memory, strict=True) if name in one}
        text = _virtual(next(iter(names.values())), grid, names, relative=False)
        found[name] = MemoryFile(text.encode("utf-8"), ext=".vrt")
    return found


def _names(rasters: Path) -> Iterator[str]:
    """Yield the names of the rasters that any part has, once each."""
    known = set()
    for folder in sorted((rasters / PARTS_FOLDER).iterdir()):
        for path in sorted(folder.rglob("*.tif")):
            name = path.relative_to(folder).with_suffix("").as_posix()
            if name not in known:
                known.add(name)
                yield name


def _virtual(like: Path | str, grid: Grid, files: Mapping[Tile, str], *, relative: bool) -> str:
    """Return the virtual raster of a whole map: bands, tags, units and colours as in the file of one part.

    Source: the format as GDAL documents it, https://gdal.org/en/stable/drivers/raster/vrt.html
    """
    with MemoryFile(ext=".vrt") as memory:
        # GDAL writes the pattern (bands, colours, tags, units) from one part's file; only sizes and sources
        # are set here.
        rasterio.shutil.copy(like, memory.name, driver="VRT")
        root = ET.fromstring(memory.read())
    root.set("rasterXSize", str(grid.cols))
    root.set("rasterYSize", str(grid.rows))
    transform = root.find("GeoTransform")
    if transform is not None:
        transform.text = ", ".join(f"{number:.16e}" for number in grid.transform.to_gdal())
    # of one part's size; the whole map's levels are written below
    for old in root.findall("OverviewList"):
        root.remove(old)
    for band in root.findall("VRTRasterBand"):
        source = band.find("SimpleSource")
        if source is None:
            source = band.find("ComplexSource")
        if source is None:
            continue
        band.remove(source)
        for part, file in files.items():
            band.append(_source(source, part, file, relative))
    levels = _overview_levels(grid)
    if levels:
        ET.SubElement(root, "OverviewList", resampling="nearest").text = " ".join(map(str, levels))
    return ET.tostring(root, encoding="unicode") + "\n"


def _source(pattern: ET.Element, part: Tile, file: str, relative: bool) -> ET.Element:
    """Return where one part's file lies in the whole map."""
    source = deepcopy(pattern)
    for element in source.iter("SourceFilename"):
        element.text = Path(file).as_posix() if relative else file
        # Relative, so that a result's folder can be moved; in memory there is no folder to be relative to.
        element.set("relativeToVRT", "1" if relative else "0")
    for element in source.iter("SourceProperties"):
        element.set("RasterXSize", str(part.cols))
        element.set("RasterYSize", str(part.rows))
    corners = {"SrcRect": (0, 0), "DstRect": (part.col, part.row)}
    for name, (col, row) in corners.items():
        for element in source.iter(name):
            for key, value in zip(
                ("xOff", "yOff", "xSize", "ySize"), (col, row, part.cols, part.rows), strict=True
            ):
                element.set(key, str(value))
    return source


def _overview_levels(grid: Grid) -> list[int]:
    """Return by which numbers cells are joined where a reader asks for less: those of the parts' files."""
    levels = []
    level = 2
    while max(grid.shape) // level >= SMALLEST_OVERVIEW_CELLS:
        levels.append(level)
        level *= 2
    return levels
