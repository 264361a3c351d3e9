"""A result as an xarray Dataset, described as the CF conventions ask, that can be written to netCDF."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from covermap.constants import TIER_COUNT, TIER_NOT_PROMISED, UNKNOWN_UINT8
from covermap.errors import InputError
from covermap.result.coverage import Coverage
from covermap.result.raster_catalogue import OF_STATION, Layer, layer_of
from covermap.result.rasters import CAUSES_TAG, OF_CAUSES, OF_STATIONS, STATIONS_TAG

if TYPE_CHECKING:
    import xarray

    from covermap.result.lazy_raster import Part

GRID_MAPPING = "spatial_ref"
TIER_NEEDED = "tier_needed"  # the raster `tier`: `tier` itself is the dimension of what each tier would do
OF_SERVICES = ("limiting_service", "deciding_service")
BY_TIER = ("tier_chance", "services_count")
UNKNOWN_BIT = 128  # set in 255 alone: sums of remarks stay below


def to_xarray(coverage: Coverage, names: Sequence[str] | None = None) -> xarray.Dataset:
    """Return rasters of a result as one Dataset.

    Parameters
    ----------
    coverage : the result
    names : of rasters, such as 'main/tier'; default all of them

    Returns
    -------
    xarray.Dataset with one variable a kind of raster (that of `tier` is called tier_needed) along the
    dimensions it has of list (wanted lists), station, tier (1 to 7) and service (of all the lists), then y
    and x, the centres of cells in the grid's CRS, in metres. Numbers are float32, NaN where unknown; codes
    are int16, 255 where unknown, with flag_values and flag_meanings (sums of remarks: flag_masks), after the
    CF conventions 1.8, sections 3.5 and 5.6. The CRS stands in the coordinate spatial_ref. Values are read
    when they are asked for, and only the rows and columns asked for: select first, then compute.

    Raises
    ------
    InputError
        If a raster is not in the result, or xarray is not installed.
    """
    try:
        import xarray
    except ImportError as error:
        raise InputError("xarray is not installed. Run: pip install 'covermap[xarray]'.") from error
    chosen = _by_kind(coverage, coverage.raster_names() if names is None else names)
    lists = [name for name in coverage.lists if any(name in parts for parts in chosen.values())]
    stations = sorted({part for kind in OF_STATION for part in chosen.get(kind, {})})
    in_order = [coverage.services(name) for name in lists]
    in_order += [coverage.tag_values(name, "SERVICES") for name in chosen.get("service_tiers", {}).values()]
    services = list(dict.fromkeys(service for names in in_order for service in names))
    x, y = coverage.coordinates()
    coordinates: dict[str, Any] = {
        "x": ("x", x, {"standard_name": "projection_x_coordinate", "units": "m"}),
        "y": ("y", y, {"standard_name": "projection_y_coordinate", "units": "m"}),
        GRID_MAPPING: ((), np.int32(0), _grid_mapping(coverage)),
    }
    axes = {"list": lists, "station": stations, "service": services}
    variables = {}
    for kind, parts in chosen.items():
        variable = _variable(coverage, kind, parts, axes)
        variables[TIER_NEEDED if kind == "tier" else kind] = variable
        if "tier" in variable.dims:
            names_of_tiers = {"long_name": "tier", "comment": "; ".join(coverage.tier_names[:TIER_COUNT])}
            coordinates["tier"] = ("tier", np.arange(1, TIER_COUNT + 1, dtype=np.int16), names_of_tiers)
        coordinates |= {axis: (axis, axes[axis]) for axis in variable.dims if axis in axes}
    about = {
        "Conventions": "CF-1.8",
        "title": coverage.run.get("name", ""),
        "comment": " ".join(coverage.run.get("cautions", [])),
    }
    return xarray.Dataset(variables, coordinates, about)


def _by_kind(coverage: Coverage, names: Sequence[str]) -> dict[str, dict[str, str]]:
    """Return kind -> list, station or '' -> name of its raster. Raises InputError where there is none."""
    kinds: dict[str, dict[str, str]] = {}
    for name in names:
        kind = layer_of(name).kind
        if not coverage.has(name):
            raise InputError(f"{coverage.folder}: there is no raster {name!r} in this result.")
        first, _, last = name.rpartition("/")
        kinds.setdefault(kind, {})[last if kind in OF_STATION else first] = name
    return kinds


def _variable(
    coverage: Coverage, kind: str, parts: dict[str, str], axes: dict[str, list[str]]
) -> xarray.Variable:
    """Return the rasters of a kind as one variable."""
    import xarray

    from covermap.result.lazy_raster import lazy_stack

    layer = layer_of(next(iter(parts.values())))
    along = "list" if layer.of_list else "station" if kind in OF_STATION else ""
    places = axes[along] if along else [""]
    stack = [_part(coverage, layer, name, parts.get(name), axes["service"]) for name in places]
    dims, sizes = ([along], [len(places)]) if along else ([], [])
    if layer.stacked:
        dims.append("tier" if kind in BY_TIER else "service")
        sizes.append(TIER_COUNT if kind in BY_TIER else len(axes["service"]))
    meanings = _meanings(coverage, layer, next(iter(parts.values())), axes["service"])
    data = lazy_stack(coverage, stack, (*sizes, *coverage.grid.shape), code=bool(meanings))
    attributes = {"long_name": layer.meaning, "units": layer.unit or "1", "grid_mapping": GRID_MAPPING}
    return xarray.Variable((*dims, "y", "x"), data, attributes | _flags(layer, meanings))


def _part(coverage: Coverage, layer: Layer, list_name: str, name: str | None, services: list[str]) -> Part:
    """Return one raster with its bands and codes as all lists together have them."""
    from covermap.result.lazy_raster import Part

    bands = codes = None
    own = list(coverage.tag_values(name, "SERVICES")) if name is not None else []
    if layer.kind in BY_TIER:
        bands = np.arange(TIER_COUNT)
    elif layer.stacked:
        bands = np.array([own.index(service) if service in own else -1 for service in services])
    if layer.kind in OF_SERVICES:
        codes = np.full(UNKNOWN_UINT8 + 1, UNKNOWN_UINT8, dtype=np.int16)
        # Each list counts its own services; in one array a code must mean the same along the whole axis.
        codes[: len(own)] = [services.index(service) for service in own]
    return Part(name, bands, codes)


def _meanings(coverage: Coverage, layer: Layer, name: str, services: list[str]) -> dict[int, str]:
    """Return what each code stands for; none for numbers."""
    if layer.codes:
        return dict(layer.codes)
    if layer.kind.startswith("tier") and layer.kind not in BY_TIER:
        return dict(zip(range(1, TIER_NOT_PROMISED + 1), coverage.tier_names, strict=True))
    if layer.kind in OF_SERVICES:
        return dict(enumerate(services))
    tags = {CAUSES_TAG: OF_CAUSES, STATIONS_TAG: OF_STATIONS}
    tag = next((tag for tag, kinds in tags.items() if layer.kind in kinds), None)
    return {} if tag is None else dict(enumerate(coverage.tag_values(name, tag)))


def _flags(layer: Layer, meanings: dict[int, str]) -> dict[str, Any]:
    """Return the attributes that tell what codes stand for: one word each, after CF section 3.5."""
    if not meanings:
        return {}
    unknown = {UNKNOWN_BIT if layer.is_sum else UNKNOWN_UINT8: "unknown"}
    # CF parts meanings by blanks, so a word may hold none.
    words = {value: re.sub(r"[^\w.+@-]+", "_", word) or "_" for value, word in (meanings | unknown).items()}
    values: NDArray[np.int16] = np.array(list(words), dtype=np.int16)
    told = {"flag_values": values, "flag_meanings": " ".join(words.values())}
    return told | ({"flag_masks": values} if layer.is_sum else {})


def _grid_mapping(coverage: Coverage) -> dict[str, Any]:
    transform = coverage.grid.transform
    geo = (transform.c, transform.a, transform.b, transform.f, transform.d, transform.e)
    return {
        **coverage.grid.crs.to_cf(),
        "crs_wkt": coverage.grid.crs_wkt,
        "GeoTransform": " ".join(f"{part:.10g}" for part in geo),
    }
