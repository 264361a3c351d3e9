"""The sheet's drawings as inline SVG: the skyline with what stands on it, and the ground along one path."""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape

import numpy as np
from numpy.typing import NDArray

from covermap.addresses.report import AddressReport
from covermap.addresses.station_records import MastPath, Skyline, StationAtSite
from covermap.propagation import Profile, taut_string
from covermap.scenario.settings import DisplaySettings
from covermap.wording.language import say
from covermap.wording.words import FEET_PER_M, KM_PER_MILE, as_given, height

INK, ACCENT, LAND, LAND_FAR = "#15181C", "#0B4F8A", "#CFC8BA", "#5E6064"

SKY_WIDTH, SKY_FLOOR, SKY_TOP = 700.0, 104.0, 40.0  # the highest horizon reaches SKY_TOP
LEAST_SPAN_DEG = 3.0  # a flatter skyline is not stretched further
PROFILE_LEFT, PROFILE_RIGHT, PROFILE_TOP, PROFILE_FLOOR = 58.0, 686.0, 38.0, 150.0
LEAST_RELIEF_M = 60.0
MOST_POINTS = 420  # of a drawn profile
LINE_POINTS = 48
SAME_LABEL = 12.0  # pixels between two masts that share a label
LABEL_APART = 34.0  # pixels between two texts on one line
STEPS = (1.0, 2.0, 5.0)
TEXT_LOOKS = {"rn": (14, 600), "ax": (13, 400)}  # font size in px and weight


def skyline_svg(report: AddressReport) -> str:
    """Return the skyline strip: horizon, aim and its range, stations, sun; north at both ends."""
    parts = [
        f'<svg viewBox="0 -44 {SKY_WIDTH:g} 178" role="img" '
        f'aria-label="{escape(say("sheet.aims.skyline_label"), quote=True)}">',
    ]
    plan = report.stored_plan
    aimed = plan is not None and plan.directional
    for window in report.aim_ranges_deg if aimed else ():
        parts += _windows(window)
    parts.append(_horizon(report.skyline))
    parts += _suns(report)
    parts += _station_marks(report.stations)
    parts += _aim_marks(report.aims_deg if aimed else ())
    parts.append(f'<path d="M0 {SKY_FLOOR:g}H{SKY_WIDTH:g}" stroke="{INK}" stroke-width="1.5"/>')
    points = say("number.compass").split()
    for number, point in enumerate([*points, points[0]]):
        x = min(max(number * SKY_WIDTH / 8.0, 6.0), SKY_WIDTH - 6.0)
        weight = "700" if len(point) == 1 else "400"
        parts.append(_text(x, 130.0, point, weight=weight))
    return "".join([*parts, "</svg>"])


def _aim_marks(aims_deg: Sequence[float]) -> list[str]:
    """Return an arrow an antenna under the floor, with its number where there are two."""
    parts = []
    for number, aim in enumerate(aims_deg, start=1):
        x = _x(aim)
        parts.append(f'<path d="M{x:.1f} {SKY_FLOOR:g}l-7 12h14z" fill="{ACCENT}"/>')
        if len(aims_deg) > 1:
            parts.append(_text(_inside(x + 14.0, 5.0), SKY_FLOOR + 13.0, str(number), halo=True))
    return parts


def _x(azimuth_deg: float) -> float:
    return (azimuth_deg % 360.0) / 360.0 * SKY_WIDTH


def _windows(aim_range_deg: tuple[int, int] | None) -> list[str]:
    """Return the azimuths that keep the list as one rectangle, or two where they cross north."""
    if aim_range_deg is None:
        return []
    first, last = aim_range_deg
    spans = [(first, last)] if first <= last else [(first, 360), (0, last)]
    parts = []
    for start, end in spans:
        left, right = start / 360.0 * SKY_WIDTH, end / 360.0 * SKY_WIDTH
        parts.append(
            f'<rect x="{left:.1f}" y="0" width="{max(right - left, 1.0):.1f}" height="{SKY_FLOOR:g}" '
            f'fill="{ACCENT}" fill-opacity="0.2"/>'
        )
    edges = "".join(f"M{azimuth / 360.0 * SKY_WIDTH:.1f} 0V{SKY_FLOOR:g}" for azimuth in (first, last))
    parts.append(f'<path d="{edges}" stroke="{ACCENT}" stroke-width="1.5" fill="none"/>')
    return parts


def _horizon(skyline: Skyline) -> str:
    """Return the land as one filled shape; where nothing is known the land is left out."""
    angle_deg = skyline.elevation_deg
    if np.isnan(angle_deg).all():
        return ""
    lowest = min(0.0, float(np.nanmin(angle_deg)))
    span = max(float(np.nanmax(angle_deg)) - lowest, LEAST_SPAN_DEG)
    height = SKY_FLOOR - SKY_TOP
    levels = SKY_FLOOR - np.nan_to_num(angle_deg - lowest) / span * height
    places = [(_x(azimuth), y) for azimuth, y in zip(skyline.azimuth_deg, levels, strict=True)]
    places.append((SKY_WIDTH, float(levels[0])))
    line = "L".join(f"{x:.1f} {y:.1f}" for x, y in places)
    return f'<path d="M0 {SKY_FLOOR:g}L{line}V{SKY_FLOOR:g}Z" fill="{LAND_FAR}"/>'


def _suns(report: AddressReport) -> list[str]:
    parts = []
    for sun in report.sun:
        x = _x(sun.position.azimuth_deg)
        parts.append(
            f'<circle cx="{x:.1f}" cy="-14" r="5.5" fill="#fff" stroke="{INK}" stroke-width="1.5"/>'
            + _text(
                _inside(x, 28.0),
                -27.0,
                say("sheet.aims.sun_mark", time=f"{sun.moment.hour}:{sun.moment.minute:02d}"),
                kind="ax",
            )
        )
    return parts


def _station_marks(stations: Sequence[StationAtSite]) -> list[str]:
    """Return a line a mast with the letters of its stations; letters that would touch go one row up."""
    masts: dict[str, list[StationAtSite]] = {}
    for station in stations:
        masts.setdefault(station.mast, []).append(station)
    marks = sorted((_x(group[0].azimuth_deg), [s.letter for s in group]) for group in masts.values())
    parts, row_ends = [], [-math.inf, -math.inf]
    for places, letters in _joined(marks):
        label = " ".join(letters)
        half = 4.6 * len(label)
        middle = _inside(sum(places) / len(places), half)
        row = 0 if middle - half > row_ends[0] else 1
        row_ends[row] = middle + half + 4.0
        y = 13.0 - 15.0 * row
        lines = "".join(f"M{x:.1f} {y + 5:g}V{SKY_FLOOR:g}" for x in places)
        for colour, width in (("#fff", 4), (INK, 2)):
            parts.append(f'<path d="{lines}" stroke="{colour}" stroke-width="{width}"/>')
        parts.append(_text(middle, y, label, halo=True))
    return parts


def _joined(marks: list[tuple[float, list[str]]]) -> list[tuple[list[float], list[str]]]:
    """Return marks with those that stand almost in line under one label."""
    joined: list[tuple[list[float], list[str]]] = []
    for x, letters in marks:
        if joined and x - joined[-1][0][-1] < SAME_LABEL:
            joined[-1][0].append(x)
            joined[-1][1].extend(letters)
        else:
            joined.append(([x], list(letters)))
    return joined


def _inside(x: float, half_width: float) -> float:
    return min(max(x, half_width), SKY_WIDTH - half_width)


def profile_svg(path: MastPath, dn: float, display: DisplaySettings) -> str:
    """Return the ground between a mast and the point, mast at the left: the taut string, the straight line,
    the hills of the first station numbered from the mast's side as the table below it numbers them."""
    frame = _Frame(path, display)
    parts = [
        f'<svg viewBox="0 0 700 176" role="img" '
        f'aria-label="{escape(say("sheet.aims.path_label", mast=path.mast), quote=True)}">',
        frame.land(),
        *frame.levels(),
        *frame.lines(dn),
        *frame.ridges(),
        *frame.distances(),
        _text(
            62.0,
            14.0,
            say("sheet.aims.mast", mast=path.mast, height=height(path.tx_height_m, display.height)),
            anchor="start",
        ),
        _text(
            686.0,
            14.0,
            say("page.profile.here", height=height(path.rx_height_m, display.height)),
            anchor="end",
        ),
        "</svg>",
    ]
    return "".join(parts)


class _Frame:
    """Scales of one profile: kilometres to x, metres above sea level to y."""

    def __init__(self, path: MastPath, display: DisplaySettings) -> None:
        self.path = path
        self.display = display
        profile = path.profile
        self.tx_level_m = float(profile.ground_m[0]) + path.tx_height_m
        self.rx_level_m = float(profile.ground_m[-1]) + path.rx_height_m
        self.length_km = max(profile.length_km, 0.01)
        low = float(np.min(profile.ground_m))
        high = max(float(np.max(profile.ground_m)), self.tx_level_m, self.rx_level_m)
        self.low_m = low
        self.high_m = max(high, low + LEAST_RELIEF_M)

    def x(self, distance_km: float) -> float:
        return PROFILE_LEFT + distance_km / self.length_km * (PROFILE_RIGHT - PROFILE_LEFT)

    def y(self, level_m: float) -> float:
        share = (level_m - self.low_m) / (self.high_m - self.low_m)
        return PROFILE_FLOOR - share * (PROFILE_FLOOR - PROFILE_TOP)

    def points(self, distance_km: NDArray[np.float64], level_m: NDArray[np.float64]) -> str:
        return "L".join(f"{self.x(d):.1f} {self.y(m):.1f}" for d, m in zip(distance_km, level_m, strict=True))

    def land(self) -> str:
        """Return the ground; of several points that fall on one pixel the highest is kept."""
        profile = self.path.profile
        step = max(1, math.ceil(profile.distance_km.size / MOST_POINTS))
        starts = np.arange(0, profile.distance_km.size, step)
        ground_m = np.maximum.reduceat(profile.ground_m, starts)
        ground_m[[0, -1]] = profile.ground_m[[0, -1]]
        distance_km = profile.distance_km[starts]
        distance_km[-1] = profile.distance_km[-1]
        return (
            f'<path d="M{PROFILE_LEFT:g} {PROFILE_FLOOR:g}L{self.points(distance_km, ground_m)}'
            f'V{PROFILE_FLOOR:g}Z" fill="{LAND}" stroke="{INK}" stroke-width="1.2"/>'
        )

    def levels(self) -> list[str]:
        """Return lines and numbers of round heights."""
        parts = []
        per_m = FEET_PER_M if self.display.height == "ft" else 1.0
        for level in _round_steps(self.low_m * per_m, self.high_m * per_m, 3):
            y = self.y(level / per_m)
            parts.append(
                f'<path d="M{PROFILE_LEFT:g} {y:.1f}H{PROFILE_RIGHT:g}" stroke="#E0DDD6"/>'
                + _text(52.0, y + 4.0, f"{as_given(level)} {self.display.height}", anchor="end", kind="ax")
            )
        return parts

    def distances(self) -> list[str]:
        """Return ticks and numbers of round distances from the mast."""
        parts = []
        per_km = 1.0 / KM_PER_MILE if self.display.distance == "mi" else 1.0
        for distance in [0.0, *_round_steps(0.0, self.length_km * per_km, 6)]:
            x = self.x(distance / per_km)
            label = as_given(distance) if distance else f"0 {self.display.distance}"
            parts.append(
                f'<path d="M{x:.1f} {PROFILE_FLOOR:g}v5" stroke="{INK}"/>' + _text(x, 168.0, label, kind="ax")
            )
        return parts

    def lines(self, dn: float) -> list[str]:
        """Return the straight line (dashed) and the taut string, both sagging by the curve of the earth."""
        profile = self.path.profile
        direct_km = np.linspace(0.0, self.length_km, LINE_POINTS)
        direct_m = np.linspace(self.tx_level_m, self.rx_level_m, LINE_POINTS) - self.bulge_m(direct_km)
        string_km, string_m = direct_km, direct_m
        if profile.length_km > 0.0 and self.path.stations[0].status == "ok":
            string_km, string_m = self.string(dn)
        masts = (
            f"M{PROFILE_LEFT:g} {self.y(float(profile.ground_m[0])):.1f}V{self.y(self.tx_level_m):.1f}"
            f"M{PROFILE_RIGHT:g} {self.y(float(profile.ground_m[-1])):.1f}V{self.y(self.rx_level_m):.1f}"
        )
        return [
            f'<path d="M{self.points(direct_km, direct_m)}" fill="none" stroke="{ACCENT}" stroke-width="1.4" '
            'stroke-dasharray="6 4"/>',
            f'<path d="M{self.points(string_km, string_m)}" fill="none" stroke="{ACCENT}" stroke-width="2"/>',
            f'<path d="{masts}" stroke="{INK}" stroke-width="3" fill="none"/>',
        ]

    def string(self, dn: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return the taut string with points enough for the curve of the earth between its corners."""
        profile = self.path.profile
        corner_km, corner_m = taut_string(
            Profile(profile.distance_km, profile.ground_m),
            frequency_mhz=self.path.stations[0].frequency_mhz,
            tx_height_m=self.path.tx_height_m,
            rx_height_m=self.path.rx_height_m,
            dn=dn,
        )
        along_km = np.union1d(corner_km, np.linspace(0.0, self.length_km, LINE_POINTS))
        straight_m = np.interp(along_km, corner_km, corner_m + self.bulge_m(corner_km))
        return along_km, straight_m - self.bulge_m(along_km)

    def bulge_m(self, distance_km: NDArray[np.float64]) -> NDArray[np.float64]:
        return 500.0 * distance_km * (self.length_km - distance_km) / self.path.effective_radius_km

    def ridges(self) -> list[str]:
        """Return a numbered ring at every ridge, from the mast on."""
        parts, before = [], -math.inf
        ridges = self.path.stations[0].ridges
        for number, ridge in enumerate(reversed(ridges), start=1):
            x, y = self.x(self.length_km - ridge.distance_km), self.y(ridge.ground_m)
            lift = 10.0 if x - before > LABEL_APART / 2.0 else 24.0
            before = x
            parts.append(
                f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4.5" fill="#fff" stroke="{INK}" stroke-width="2"/>'
                + _text(x, y - lift, str(number), halo=True)
            )
        return parts


def _round_steps(low: float, high: float, most: int) -> list[float]:
    """Return round numbers above low and below high, at most about `most` of them."""
    rough = (high - low) / most
    power = 10.0 ** math.floor(math.log10(rough))
    step = next((power * s for s in STEPS if power * s >= rough), power * 10.0)
    first = math.floor(low / step + 1.0 + 1e-9)
    last = math.ceil(high / step - 1e-9) - 1
    return [round(step * number, 6) for number in range(first, last + 1)]


def _text(
    x: float,
    y: float,
    text: str,
    *,
    anchor: str = "middle",
    kind: str = "rn",
    weight: str = "",
    halo: bool = False,
) -> str:
    """Return a text: kind rn names, ax numbers an axis. Looks stand on it, as printers skip style sheets.

    With a halo it is drawn twice, as not every printer knows the order of paint.
    """
    size, own_weight = TEXT_LOOKS[kind]
    start = (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="{size}" '
        f'font-weight="{weight or own_weight}"'
    )
    plain = f">{escape(text)}</text>"
    return (
        f'{start} aria-hidden="true" stroke="#fff" stroke-width="4" stroke-linejoin="round"{plain}'
        if halo
        else ""
    ) + (start + plain)
