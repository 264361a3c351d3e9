"""Connected patches of cells of one kind over a map of any size, found a block at a time and joined."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import rasterio.features
import shapely
from numpy.typing import NDArray
from scipy import ndimage

from covermap.grid.frame import Grid, Tile

BLOCK_CELLS = 2048  # on a side: what is looked at at once

KindsOf = Callable[[Tile], NDArray[np.uint8]]
"""Return the kind of each cell of a tile, shape (rows, cols); 0 is none."""


@dataclass(frozen=True, eq=False)
class PatchCells:
    """The cells of some patches in one block: cell (N,), its place in the block; patch (N,), from 0.

    block : the block's number, in the order of the map
    """

    block: int
    tile: Tile
    cell: NDArray[np.int64]
    patch: NDArray[np.int64]


class Patches:
    """The connected patches of a map, cells touching along edges; a patch may cross the edges of blocks.

    Memory holds one block, the rims of a row of blocks and a few numbers a patch. What is asked of the cells
    is worked out anew for each block.

    Parameters
    ----------
    grid : of the map
    kinds_of : of a tile of the grid
    """

    def __init__(self, grid: Grid, kinds_of: KindsOf) -> None:
        self.grid = grid
        self._kinds_of = kinds_of
        self._blocks = list(grid.tiles(BLOCK_CELLS))
        self._first: list[int] = []  # of each block, before its first label
        kinds: list[NDArray[np.uint8]] = []
        pairs: list[NDArray[np.int64]] = []
        above = np.zeros((2, grid.cols), dtype=np.int64)  # kind and label of the row over the blocks
        beside = np.zeros((2, 0), dtype=np.int64)
        found = 0
        for tile in self._blocks:
            kind, label, of_label = self._labelled(tile)
            label = np.where(label > 0, label + found, 0)
            self._first.append(found)
            found += of_label.size
            kinds.append(of_label)
            _, cols = tile.window
            if tile.row > 0:
                pairs.append(_touching(above[:, cols], np.stack([kind[0], label[0]])))
            if tile.col > 0:
                pairs.append(_touching(beside, np.stack([kind[:, 0], label[:, 0]])))
            beside = np.stack([kind[:, -1], label[:, -1]]).astype(np.int64)
            above[:, cols] = np.stack([kind[-1], label[-1]])
        self._patch = _joined(found, pairs)
        self.count = int(self._patch.max()) + 1 if found else 0
        self.kind = np.zeros(self.count, dtype=np.uint8)
        self.kind[self._patch] = np.concatenate(kinds) if kinds else np.zeros(0, dtype=np.uint8)

    @property
    def blocks(self) -> int:
        """Return how many blocks the map has."""
        return len(self._blocks)

    def cells(self, first: int = 0, last: int | None = None) -> Iterator[PatchCells]:
        """Yield the cells of all patches, block by block; of some blocks, from a first to a last one."""
        for number in range(first, len(self._blocks) if last is None else last + 1):
            begin = self._first[number]
            end = self._first[number + 1] if number + 1 < len(self._first) else self._patch.size
            if end > begin:
                tile = self._blocks[number]
                # Labelled again instead of kept: the labels of a whole map would be its size in memory.
                _, label, _ = self._labelled(tile)
                cell = np.flatnonzero(label)
                yield PatchCells(number, tile, cell, self._patch[begin + label.ravel()[cell] - 1])

    def outlines(self, number: NDArray[np.int64], count: int) -> NDArray[Any]:
        """Return the outlines of some patches in the grid's CRS, shape (count,).

        number : (self.count,), the place of each patch among the outlines, -1 for one that is left out
        """
        pieces: list[list[shapely.Polygon]] = [[] for _ in range(count)]
        for part in self.cells():
            wanted = np.zeros((part.tile.rows, part.tile.cols), dtype=np.int32)
            wanted.ravel()[part.cell] = number[part.patch] + 1
            transform = self.grid.part(part.tile).transform
            # 4-connected, as the patches are: with 8 two patches that touch at a corner would become one
            # outline.
            shapes = rasterio.features.shapes(wanted, mask=wanted > 0, connectivity=4, transform=transform)
            for shape, value in shapes:
                ring, *holes = shape["coordinates"]
                pieces[int(value) - 1].append(shapely.Polygon(ring, holes))
        outlines = np.empty(count, dtype=object)
        outlines[:] = [_one(parts) for parts in pieces]
        return outlines

    def _labelled(self, tile: Tile) -> tuple[NDArray[np.uint8], NDArray[np.int64], NDArray[np.uint8]]:
        """Return each cell's kind, its label from 1 within the block, 0 none, and the kind of each label."""
        kind = self._kinds_of(tile)
        label = np.zeros(kind.shape, dtype=np.int64)
        of_label: list[NDArray[np.uint8]] = []
        count = 0
        for number in np.unique(kind[kind > 0]):
            found, patches = ndimage.label(kind == number)
            label[found > 0] = found[found > 0] + count
            of_label.append(np.full(patches, number, dtype=np.uint8))
            count += patches
        return kind, label, np.concatenate(of_label) if of_label else np.zeros(0, dtype=np.uint8)


class Votes:
    """Sums of weight by patch and choice, of which few occur; memory follows those that do."""

    def __init__(self, patches: int, choices: int) -> None:
        self._patches, self._choices = patches, choices
        self._key: list[NDArray[np.int64]] = []
        self._weight: list[NDArray[np.float64]] = []

    def add(self, patch: NDArray[np.int64], choice: NDArray, weight: NDArray[np.float64]) -> None:
        """Add the weight of cells; choices beyond those there are do not count."""
        known = choice < self._choices
        key, place = np.unique(
            patch[known] * self._choices + choice[known].astype(np.int64), return_inverse=True
        )
        self._key.append(key)
        sums = np.bincount(place.ravel(), weight[known], minlength=key.size)
        self._weight.append(sums.astype(np.float64))

    def most(self) -> NDArray[np.int64]:
        """Return the choice with most weight of each patch, the first of equal ones; -1 where none counts."""
        found = np.full(self._patches, -1, dtype=np.int64)
        if not self._key:
            return found
        key, place = np.unique(np.concatenate(self._key), return_inverse=True)
        weight = np.bincount(place.ravel(), np.concatenate(self._weight), minlength=key.size)
        patch, choice = key // self._choices, key % self._choices
        order = np.lexsort((choice, -weight, patch))
        first = order[np.unique(patch[order], return_index=True)[1]]
        counts = weight[first] > 0
        found[patch[first][counts]] = choice[first][counts]
        return found


def _touching(one: NDArray[np.int64], other: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the pairs of labels of one kind along two rims (kind and label each), shape (P, 2)."""
    same = (one[0] > 0) & (one[0] == other[0])
    return np.unique(np.stack([one[1][same], other[1][same]], axis=1), axis=0)


def _joined(labels: int, pairs: Sequence[NDArray[np.int64]]) -> NDArray[np.int64]:
    """Return the patch of each label from 1, in the order of their first labels; shape (labels,)."""
    root = np.arange(labels + 1)

    def find(label: int) -> int:
        while root[label] != label:
            # path halving: chains stay short whatever the order of the joins
            root[label] = root[root[label]]
            label = int(root[label])
        return label

    for one, other in np.concatenate(pairs).tolist() if pairs else ():
        # the lower label becomes the root, so that patches keep the order of their first cells
        first, second = sorted((find(one), find(other)))
        root[second] = first
    while True:
        shorter = root[root]
        if np.array_equal(shorter, root):
            break
        root = shorter
    return np.unique(root[1:], return_inverse=True)[1].ravel()


def _one(pieces: list[shapely.Polygon]) -> shapely.Geometry:
    """Return a patch's outline from its pieces in several blocks, without points along straight edges."""
    if len(pieces) == 1:
        return pieces[0]
    return shapely.simplify(shapely.union_all([shapely.make_valid(piece) for piece in pieces]), 0.0)
