"""`covermap compare-antennas`: antennas of the catalogue over a map, read from the store."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyproj
from numpy.typing import NDArray

from covermap.catalogue import (
    AntennaCatalogue,
    Device,
    Installed,
    device_by_id,
    difference_ends,
    installed,
)
from covermap.constants import UNKNOWN_UINT8
from covermap.errors import InputError
from covermap.gis_layers.answer_styles import style_antennas
from covermap.grid.cluster import executor_of
from covermap.grid.store import Store
from covermap.inputs.preparation import Preparation
from covermap.inputs.prepare import prepare, store_folder
from covermap.jobs.installation_reception import brought, holding
from covermap.jobs.over_cells import all_cells
from covermap.jobs.path_stage import compute_paths
from covermap.jobs.run_session import RunSession
from covermap.planning.installation_comparison import (
    ComparedInstallation,
    InstallationComparison,
    by_neighbourhood,
    count_installation,
    difference,
)
from covermap.reception.tiers import Tier
from covermap.reports.brief.picture import Label
from covermap.reports.installation_comparison import (
    RECORD_FILE,
    raster_file,
    write_installation_comparison,
)
from covermap.result.result_folder import require_own_record, require_writable
from covermap.result.run_counts import RunCounts
from covermap.result.run_json import scenario_cautions
from covermap.scenario import read_scenario
from covermap.scenario.records import WantedList
from covermap.scenario.wanted import carriers_of, every_service
from covermap.wording.language import say, speaking
from covermap.wording.words import path_in_words

MOST_INSTALLATIONS = 7  # a service comes with a sum of bits, one an installation
DEFAULT_FOLDER = "antennas"

Progress = Callable[[str, float, str], bool]


def compare_installations(
    scenario_path: Path,
    antennas: Sequence[str],
    output: Path | None = None,
    *,
    amplifier: str | None = None,
    wanted: str | None = None,
    store: Path | None = None,
    workers: int | None = None,
    overwrite: bool = False,
    progress: Progress | None = None,
) -> str:
    """Write whom each of some installations brings a list, and what the others change; return it in words.

    antennas : ID, ID+ID, an azimuth behind either (ID:135) or @mount, of the scenario's catalogue; the others
        stand beside the first
    amplifier : id of the only one to be tried with each; default those worth trying
    wanted : default the first list
    output : default, a folder antennas beside the scenario's result

    Paths are those of the store; what it lacks is computed into it first.

    Raises InputError when an input is wrong or the output folder is not ours; nothing is written then.
    """
    scenario = read_scenario(scenario_path)
    folder = Path(output) if output is not None else scenario.path.parent / DEFAULT_FOLDER
    require_own_record(folder, RECORD_FILE, overwrite)
    prepared = prepare(scenario, store)
    put_up = installations_of(antennas, prepared, amplifier)
    chosen = _list(prepared, wanted)
    require_writable(folder)
    counts = RunCounts()
    kept = Store(store_folder(scenario, store))
    with executor_of(workers, None) as executor:
        compute_paths(
            RunSession(prepared, kept), executor, progress or (lambda stage, share, words: True), counts
        )
    found = compare(prepared, kept, put_up, chosen, workers)
    with speaking(prepared.scenario.settings.display.language):
        note = _paths_note(counts.computed)
        sentences = write_installation_comparison(
            found,
            folder,
            title=prepared.scenario.name,
            cautions=scenario_cautions(prepared.scenario),
            labels=_labels(prepared),
            notes=(note,),
            distance_unit=prepared.scenario.settings.display.distance,
        )
        style_antennas(
            folder / "antennas.gpkg",
            [folder / raster_file(found, place) for place in range(len(found.differences))],
        )
        page, layer = (path_in_words(folder / name) for name in ("antennas.html", "antennas.gpkg"))
        return "\n".join([*sentences, note, say("antennas.open", page=page, layer=layer)])


def _paths_note(computed: int) -> str:
    return say("antennas.some_paths", count=computed) if computed else say("antennas.no_paths")


def installations_of(
    antennas: Sequence[str], prepared: Preparation, amplifier: str | None
) -> tuple[Installed, ...]:
    """Return what is to be compared. Raises InputError for too few, too many or repeated ones."""
    if not 2 <= len(antennas) <= MOST_INSTALLATIONS:
        raise InputError(
            f"found {len(antennas)} antennas to compare. Name 2 to {MOST_INSTALLATIONS} of the catalogue's: "
            f"{', '.join(prepared.catalogue.antennas)}."
        )
    twice = next((key for key in antennas if antennas.count(key) > 1), None)
    if twice is not None:
        raise InputError(f'"{twice}" stands there twice. Name each antenna once.')
    used = amplifier_of(amplifier, prepared.catalogue)
    return tuple(installed(key, prepared.catalogue, prepared.tiers, amplifier=used) for key in antennas)


def amplifier_of(device_id: str | None, catalogue: AntennaCatalogue) -> Device | None:
    """Return the amplifier asked for, None where nobody asks: then all that are worth it are tried."""
    return None if device_id is None else device_by_id(device_id, "amplifier", catalogue)


def compare(
    prepared: Preparation,
    store: Store,
    put_up: Sequence[Installed],
    wanted: WantedList,
    workers: int | None = None,
) -> InstallationComparison:
    """Return installations compared over a run's cells; paths are read from the store."""
    cells = all_cells(prepared)
    ladders, own, against_first = _ladders(put_up)
    variant = holding(prepared, store, ladders, wanted, cells, workers)
    bits = brought(prepared, store, [one.plain for one in put_up], cells, workers)
    bits_amplified = bits.copy()
    for place in range(max(len(one.amplifiers) for one in put_up)):
        amplified = [one.tiers[min(1 + place, len(one.amplifiers))] for one in put_up]
        more = brought(prepared, store, amplified, cells, workers)
        bits_amplified |= np.where(more == UNKNOWN_UINT8, np.uint8(0), more)
    services = every_service(prepared.scenario.stations).services
    weight, inside, ground_m = _weight_inside_and_ground(prepared)
    counts = [
        count_installation(
            weight, variant[number], _of(variant, own.get(number)), number, bits, bits_amplified, services,
            len(one.amplifiers),
        )
        for number, one in enumerate(put_up)
    ]  # fmt: skip
    differences = [
        difference(
            weight, variant[0], variant[number], _of(variant, against_first.get(number)), (0, number), bits,
            services,
        )
        for number in range(1, len(put_up))
    ]  # fmt: skip
    areas = prepared.counted.neighbourhoods
    by_area = None
    if areas is not None:
        by_area = tuple(
            by_neighbourhood(areas, prepared.grid, weight, change.code, (0, number), bits, services)
            for number, change in enumerate(differences, start=1)
        )
    return InstallationComparison(
        grid=prepared.grid,
        counted="cells" if prepared.homes is None else "homes",
        list_name=wanted.name,
        list_services=wanted.services,
        needed=wanted.needed,
        confidence_percent=prepared.reception_options.confidence_percent,
        services=services,
        inside=inside,
        ground_m=ground_m,
        weight=weight,
        installations=tuple(_told(one, carriers_of(wanted, prepared.scenario.stations)) for one in put_up),
        counts=tuple(counts),
        differences=tuple(differences),
        areas=by_area,
    )


def _ladders(
    put_up: Sequence[Installed],
) -> tuple[list[tuple[Tier, ...]], dict[int, int], dict[int, int]]:
    """Return the ladders to be asked of every cell: each installation's variants, then those of its ranges.

    With them, by the number of an installation: the place of the ladder with all its gains at the low end, as
    they are and at the high end, and of that with the ends of its difference to the first.
    """
    ladders = [one.tiers for one in put_up]
    own: dict[int, int] = {}
    against_first: dict[int, int] = {}
    for number, one in enumerate(put_up):
        if one.has_range:
            own[number] = len(ladders)
            low, high = one.at_ends()
            ladders.append((low, one.plain, high))
        ends = difference_ends(put_up[0], one) if number else None
        if ends is not None:
            against_first[number] = len(ladders)
            ladders.append((ends[0], one.plain, ends[1]))
    return ladders, own, against_first


def _of(variant: NDArray[np.uint8], place: int | None) -> NDArray[np.uint8] | None:
    return None if place is None else variant[place]


def _told(one: Installed, carriers: Mapping[str, Sequence[float]]) -> ComparedInstallation:
    return ComparedInstallation(
        one.key,
        one.name,
        one.mount,
        tuple((device.name, device.price) for device in one.amplifiers),
        one.price(),
        bool(one.plain.turned_deg),
        one.unserved(carriers),
    )


def _list(prepared: Preparation, name: str | None) -> WantedList:
    lists = prepared.scenario.wanted
    found = next((one for one in lists if name in (None, one.name)), None)
    if found is None:
        raise InputError(
            f"The scenario has no wanted list {name!r}; it has {', '.join(one.name for one in lists)}."
        )
    return found


def _weight_inside_and_ground(
    prepared: Preparation,
) -> tuple[NDArray[np.float64], NDArray[np.bool_], NDArray[np.float32]]:
    """Return homes of each cell (1 each where homes are not known), what lies in the area, and the ground."""
    grid = prepared.grid
    weight, inside = np.zeros(grid.shape), np.zeros(grid.shape, dtype=bool)
    ground_m = np.full(grid.shape, np.nan, dtype=np.float32)
    for tile in grid.tiles():
        here = prepared.inside_area(tile)
        homes = np.ones(here.shape) if prepared.homes is None else prepared.homes.window(tile)
        weight[tile.window] = np.where(here, np.nan_to_num(homes), 0.0)
        inside[tile.window] = here
        longitude_deg, latitude_deg = (values.ravel() for values in grid.centres_lonlat(tile))
        ground_m[tile.window] = prepared.terrain.ground_m(longitude_deg, latitude_deg).reshape(here.shape)
    return weight, inside, ground_m


def _labels(prepared: Preparation) -> list[Label]:
    """Return masts and neighbourhoods, in the grid's CRS."""
    to_grid = pyproj.Transformer.from_crs("EPSG:4326", prepared.grid.crs, always_xy=True)
    masts = {s.mast: (s.longitude_deg, s.latitude_deg) for s in prepared.scenario.stations}
    labels = [Label(name, *to_grid.transform(*place), is_mast=True) for name, place in masts.items()]
    areas: gpd.GeoDataFrame | None = prepared.counted.neighbourhoods
    if areas is None:
        return labels
    points = areas.geometry.representative_point()
    named = zip(areas["neighbourhood_name"], points, strict=True)
    return [*labels, *(Label(str(name), point.x, point.y) for name, point in named)]
