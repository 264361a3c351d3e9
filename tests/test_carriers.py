"""Which station carries a service: of many stations, in little memory."""

import tracemalloc

import numpy as np

from covermap.grid.frame import Tile
from covermap.planning.carriers import carrying_station

TILE = Tile(0, 0, 200, 500)
STATIONS = 60


class Fields:
    """A result of one service and STATIONS stations; fields are made when they are read."""

    def __init__(self, field_of):
        self.run = {"carriers": {"one": [{"station_id": str(number)} for number in range(STATIONS)]}}
        self.field_of = field_of

    def has(self, name):
        return name.startswith("field/")

    def read(self, name, tile):
        return self.field_of(int(name.removeprefix("field/"))).reshape(tile.rows, tile.cols)


def test_the_strongest_carries_the_first_of_equals_and_none_that_is_unknown():
    random = np.random.default_rng(4)
    fields_dbuvm = random.integers(20, 40, (STATIONS, TILE.rows * TILE.cols)).astype(np.float32)
    fields_dbuvm[random.random(fields_dbuvm.shape) < 0.4] = np.nan
    fields_dbuvm[:, :50] = np.nan  # known nowhere: the first stands for all
    fields_dbuvm[7, 50:90] = -np.inf
    found = carrying_station(Fields(lambda number: fields_dbuvm[number]), "one", TILE)
    for cell in range(0, found.size, 97):
        order = [(-value, number) for number, value in enumerate(fields_dbuvm[:, cell]) if value == value]
        assert found[cell] == min(order, default=(0, 0))[1]
    assert not found[:50].any()
    assert np.unique(found).size > 20


def test_memory_does_not_grow_with_the_stations_of_a_service():
    results = Fields(lambda number: np.full(TILE.rows * TILE.cols, number, np.float32))
    tracemalloc.start()
    carrying_station(results, "one", TILE)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 10 * 8 * TILE.rows * TILE.cols  # ten arrays of doubles; all fields at once are thirty
