"""Pictures of fieldwork: paired differences of an antenna test, residuals of a calibration."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from typing import Any

import matplotlib

matplotlib.use("Agg")
import matplotlib.pyplot as plt
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from covermap.constants import BANDS
from covermap.measurements.antenna_test import AntennaTest
from covermap.measurements.band_result import BandResult
from covermap.measurements.calibrate import CalibrationReport
from covermap.measurements.paired import PairedDifference
from covermap.measurements.residuals import Residual
from covermap.wording.language import say
from covermap.wording.lists import band_words
from covermap.wording.words import as_given

INK, TEAL, SAND, GREY = "#111111", "#1F4F56", "#9C8068", "#767676"
# One a session or band. None points up or down as the arrows of bounds do, none is the cross of what is out.
MARKS = ("o", "s", "D", "p", "h", "8", "*", "P")
LETTERS_AN_INCH = 14.0  # of a legend, at most
STYLE: dict[Any, Any] = {
    "svg.hashsalt": "covermap", "svg.fonttype": "path", "font.size": 10, "axes.edgecolor": GREY,
    "axes.spines.top": False, "axes.spines.right": False,
}  # fmt: skip


def antenna_picture(test: AntennaTest, candidate: str, device: str, kind: str) -> Figure:
    """Return the paired differences of one figure's stations, bands side by side.

    Filled marks are known; a hollow mark with an arrow is a bound (a lost picture or a saturated reading),
    crossed-out pairs are left out of the estimate. The bar is the mean of the band with its 95 % interval.
    """
    pairs = [
        p for p in (*test.pairs.differences, *test.pairs.ordinal)
        if (p.candidate, p.device, p.kind) == (candidate, device, kind) and not p.says_nothing
    ]  # fmt: skip
    results = [b for b in test.bands if (b.candidate, b.device, b.kind) == (candidate, device, kind)]
    bands = [b for b in BANDS if any(p.band == b for p in pairs)]
    sessions = list(dict.fromkeys(p.session for p in pairs))
    in_points = any(r.ordinal is not None for r in results)
    with plt.rc_context(STYLE):
        widths = [len({p.station for p in pairs if p.band == band}) + 1.5 for band in bands]
        figure, row = plt.subplots(
            1, len(bands), sharey=True, squeeze=False, width_ratios=widths,
            figsize=(max(6.4, 0.42 * sum(widths) + 1.4), 4.0), layout="constrained",
        )  # fmt: skip
        for axes, band in zip(row[0], bands, strict=True):
            mine = [p for p in pairs if p.band == band]
            _draw_band(axes, mine, sessions, next(r for r in results if r.band == band))
        unit = say("bench.page.points") if in_points else "dB"
        both = {"candidate": candidate, "reference": test.reference}
        row[0][0].set_ylabel(say("bench.page.minus", unit=unit, **both))
        _session_legend(figure, row[0][-1], sessions, pairs)
    return figure


def _draw_band(
    axes: Axes, pairs: Sequence[PairedDifference], sessions: Sequence[str], result: BandResult
) -> None:
    stations = list(dict.fromkeys(p.station for p in pairs))
    axes.axhline(0.0, color=INK, linewidth=1.0)
    for pair in pairs:
        shift = 0.5 * ((sessions.index(pair.session) + 0.5) / len(sessions) - 0.5)
        x = stations.index(pair.station) + shift
        mark = MARKS[sessions.index(pair.session) % len(MARKS)]
        _draw_pair(axes, x, pair, mark)
    mean = result.mean
    if mean is not None:
        x = len(stations)
        axes.errorbar(
            [x], [mean.mean_db], yerr=[[mean.mean_db - mean.low_db], [mean.high_db - mean.mean_db]],
            color=INK, marker="_", markersize=16, capsize=5, linewidth=2.2,
        )  # fmt: skip
    mean_tick = [say("bench.page.mean_tick")] if mean is not None else []
    ticks = [*range(len(stations)), *([len(stations)] if mean is not None else [])]
    axes.set_xticks(ticks, [*stations, *mean_tick], rotation=60, ha="right")
    axes.set_xlim(-0.7, len(ticks) - 0.3)
    axes.set_title(band_words(result.band), fontsize=11)
    axes.margins(y=0.14)  # room for the arrows of bounds
    axes.yaxis.set_major_formatter(_tick)
    axes.grid(axis="y", color="#DDDDDD", linewidth=0.6)
    axes.set_axisbelow(True)


def _draw_pair(axes: Axes, x: float, pair: PairedDifference, mark: str) -> None:
    if pair.is_exact:
        axes.plot([x], [pair.low_db], mark, color=TEAL, markersize=6)
        if pair.left_out:
            axes.plot([x], [pair.low_db], "x", color=SAND, markersize=11, markeredgewidth=2)
        return
    _draw_bound(axes, x, pair.low_db, pair.high_db, mark)


def _draw_bound(axes: Axes, x: float, low_db: float, high_db: float, mark: str) -> None:
    """Draw what is known from one side: a hollow mark with an arrow, up for at least, down for at most."""
    up = math.isfinite(low_db)
    bound_db = low_db if up else high_db
    axes.plot([x], [bound_db], mark, markerfacecolor="white", markeredgecolor=TEAL, markersize=6)
    axes.annotate(
        "",
        xy=(x, bound_db),
        xytext=(0.0, 14.0 if up else -14.0),
        textcoords="offset points",
        arrowprops={"arrowstyle": "<-", "color": TEAL, "linewidth": 1.3},
    )


def _session_legend(
    figure: Figure, axes: Axes, sessions: Sequence[str], pairs: Sequence[PairedDifference]
) -> None:
    """Name the marks of the sessions, and those of bounds and of what is left out where there are any."""
    handles = [
        axes.plot([], [], MARKS[i % len(MARKS)], color=TEAL, label=session)[0]
        for i, session in enumerate(sessions)
    ]
    labels = list(sessions)
    if not all(pair.is_exact for pair in pairs):
        handles += axes.plot([], [], "o", markerfacecolor="white", markeredgecolor=TEAL)
        labels.append(say("bench.page.bound"))
    if any(pair.left_out for pair in pairs):
        handles += axes.plot([], [], "x", color=SAND, markersize=9, markeredgewidth=2)
        labels.append(say("bench.page.left_out"))
    columns = max(1, int(LETTERS_AN_INCH * figure.get_figwidth() / (max(map(len, labels)) + 6)))
    figure.legend(
        handles,
        labels,
        loc="outside lower center",
        ncols=min(len(labels), columns),
        frameon=False,
        fontsize=9,
    )


def residual_picture(report: CalibrationReport, public: bool = False) -> Figure:
    """Return measured minus predicted against distance, a panel a mast, offsets as lines.

    public : in order of size instead of distance, as distances from several masts are a place
    """
    masts = list(dict.fromkeys(r.reading.station.mast for r in report.residuals))
    with plt.rc_context(STYLE):
        figure, row = plt.subplots(
            1, len(masts), sharey=True, squeeze=False, figsize=(max(6.4, 2.6 * len(masts)), 3.6),
            layout="constrained",
        )  # fmt: skip
        for axes, mast in zip(row[0], masts, strict=True):
            axes.axhline(0.0, color=INK, linewidth=1.0)
            mine = [r for r in report.residuals if r.reading.station.mast == mast]
            for x, residual in _across(mine, public):
                mark = MARKS[BANDS.index(residual.reading.station.band)]
                if residual.is_exact:
                    axes.plot([x], [residual.low_db], mark, color=TEAL, markersize=5)
                elif math.isfinite(residual.low_db) or math.isfinite(residual.high_db):
                    _draw_bound(axes, x, residual.low_db, residual.high_db, mark)
            for offset in (o for o in report.offsets if o.mast == mast):
                axes.axhline(offset.offset_db, color=TEAL, linestyle="--", linewidth=1.4)
            axes.set_title(mast.replace("$", r"\$"), fontsize=10)
            axes.margins(y=0.14)
            axes.xaxis.set_major_formatter(_tick)
            axes.yaxis.set_major_formatter(_tick)
            axes.set_xlabel(say("calibration.in_order" if public else "calibration.from_mast"))
            axes.grid(axis="y", color="#DDDDDD", linewidth=0.6)
        row[0][0].set_ylabel(say("calibration.difference"))
        _band_legend(figure, row[0][-1], report)
    return figure


def _tick(value: float, _: float) -> str:
    """Return the number beside a tick, in the language."""
    return as_given(round(value, 6)).replace("-", "−")


def _band_legend(figure: Figure, axes: Axes, report: CalibrationReport) -> None:
    """Name the marks of the bands, of bounds where there are any, and of the offset."""
    read = {residual.reading.station.band for residual in report.residuals}
    handles = [
        axes.plot([], [], MARKS[number], color=TEAL, linestyle="none", label=band_words(band))[0]
        for number, band in enumerate(BANDS)
        if band in read
    ]
    if not all(residual.is_exact for residual in report.residuals):
        handles += axes.plot(
            [], [], "o", label=say("calibration.bound"),
            markerfacecolor="white", markeredgecolor=TEAL, linestyle="none",
        )  # fmt: skip
    if report.offsets:
        handles += axes.plot(
            [], [], color=TEAL, linestyle="--", linewidth=1.4, label=say("calibration.the_offset")
        )
    figure.legend(handles=handles, loc="outside lower center", ncols=5, frameon=False, fontsize=9)


def _across(residuals: Sequence[Residual], public: bool) -> list[tuple[float, Residual]]:
    if not public:
        return [(r.distance_km, r) for r in residuals]
    ordered = sorted(residuals, key=lambda r: r.low_db if math.isfinite(r.low_db) else r.high_db)
    return [(float(rank), r) for rank, r in enumerate(ordered, start=1)]


def as_svg(figure: Figure) -> str:
    """Return a figure as SVG text to stand in a page, and close it."""
    text = io.StringIO()
    with plt.rc_context(STYLE):  # the salt of its ids is read on writing
        figure.savefig(text, format="svg", metadata={"Date": None, "Creator": None})
    plt.close(figure)
    svg = text.getvalue()
    return svg[svg.index("<svg") :]


def as_png(figure: Figure) -> bytes:
    """Return a figure as PNG, without closing it."""
    data = io.BytesIO()
    figure.savefig(data, format="png", dpi=150, metadata={"Software": None})
    return data.getvalue()
