"""What the brief says: every number and sentence of it, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import geopandas as gpd
import pandas as pd

from covermap.constants import TIER_NOT_PROMISED
from covermap.planning.areas import HOMES_PREFIX, LAND_PREFIX, WholeSummary
from covermap.planning.not_promised import NotPromised
from covermap.reports.brief.lists import count_text, lists_table, wanted_of
from covermap.result.coverage import Coverage
from covermap.wording import palette
from covermap.wording.causes import cause_words
from covermap.wording.homes_words import environment_words
from covermap.wording.language import say
from covermap.wording.lists import capital, list_words
from covermap.wording.local_doubts import local_doubts_in_words
from covermap.wording.retold import retold
from covermap.wording.run_facts import outside_in_words
from covermap.wording.second_opinion import second_opinion_in_words
from covermap.wording.tier_names import spoken_tier_names
from covermap.wording.words import (
    SMALL_COUNT,
    days_text,
    decimal,
    homes_number,
    homes_range,
    join,
    percent_whole,
    range_text,
    two_figures,
)

BARS = (("3db_weaker", "weaker"), ("predicted", "predicted"), ("3db_stronger", "stronger"))
BAR_WIDTH, BAR_START, BAR_STEP = 372.0, 104.0, 35.0
NUMBER_FROM = 10.0  # a bar's part this wide holds its number
MOST_NAMES = 4


def brief_facts(
    coverage: Coverage,
    list_name: str,
    summaries: Mapping[str, WholeSummary],
    behind: NotPromised,
    areas: gpd.GeoDataFrame | None,
    zones: gpd.GeoDataFrame | None,
    names: Mapping[str, str] | None = None,
) -> dict[str, Any]:
    """Return everything the page shows, as texts and numbers for its template.

    list_name : the list that map, numbers and bars are of; of the others in `summaries` there is a table
    names : service -> as pages write it, with the letters of its stations
    """
    run, summary = coverage.run, summaries[list_name]
    of_homes = f"{HOMES_PREFIX}total" in summary.columns
    tier_names = spoken_tier_names(coverage.tier_names)
    lists = lists_table(run, summaries, zones, tier_names)
    return {
        "name": run.get("name") or say("brief.this_area"),
        "subtitle": _subtitle(run, list_name, summary.columns, of_homes, several=lists is not None),
        "square": f"{decimal(run['grid']['cell_m'])} m",
        "three": _three(summary.columns, of_homes),
        "tiers_heading": say("page.area.homes_by_class" if of_homes else "page.area.land_by_class"),
        "tiers": _tiers(tier_names, summary.columns, of_homes),
        "lists": lists,
        "bars": _bars(summary.bars),
        "behind": _behind(run, list_name, summary.columns, of_homes, behind, areas, zones, names or {}),
        "local": local_doubts_in_words(run, list_name),
        "basis": [*basis_in_words(run, of_homes), *second_opinion_in_words(run, list_name)],
        "cautions": retold(run.get("cautions", [])),
        "warnings": _warnings(len(run.get("warnings", []))),
    }


def _subtitle(
    run: Mapping[str, Any], list_name: str, columns: pd.Series, of_homes: bool, *, several: bool
) -> list[str]:
    sure = {"sure": f"{run.get('confidence_percent', 90):g} %", "nominal": say("chance.nominal")}
    words = list_words(*wanted_of(run, list_name))
    words = say("brief.lists.first", name=list_name, words=words) if several else capital(words)
    parts = [say("brief.list", list=words, **sure)]
    dates = (run.get("stations_as_of_oldest") or "", run.get("stations_as_of") or "")
    parts.append(say("brief.as_of", date=days_text([date for date in dates if date])))
    if of_homes:
        year = (run.get("homes") or {}).get("year")
        key = "brief.homes_of" if year else "brief.homes"
        parts.append(say(key, count=homes_number(columns["homes_total"]), year=year))
    else:
        parts.append(say("brief.no_homes"))
    return parts


def _three(columns: pd.Series, of_homes: bool) -> list[dict[str, str]]:
    """Return the three numbers: small word before, number, sentence, range."""
    prefix, what = (HOMES_PREFIX, "homes") if of_homes else (LAND_PREFIX, "land")
    unknown = float(columns[f"{prefix}unknown"])
    unknown_words = say(f"page.three.{what}_unknown")
    return [
        _number(columns, f"{prefix}without", of_homes)
        | {
            "words": say(f"brief.without_{what}"),
            "range": _range_of_without(columns, prefix, of_homes),
        },
        _number(columns, f"{prefix}rooftop_or_more", of_homes)
        | {
            "words": say(f"brief.roof_{what}"),
            "range": _range_of_shift(columns, f"{prefix}rooftop_or_more", of_homes),
        },
        (_number(columns, f"{prefix}unknown", of_homes) if unknown > 0 else {"before": "", "number": "0"})
        | {
            "words": say("brief.gap", unknown=unknown_words) if unknown > 0 else unknown_words,
            "range": "",
        },
    ]


def _number(columns: pd.Series, name: str, of_homes: bool) -> dict[str, str]:
    text = count_text(columns, name, of_homes)
    before, _, number = text.partition(" ")  # "under" stands small before its number
    is_under = number[:1].isdigit() and not before[:1].isdigit()
    return {"before": before, "number": number} if is_under else {"before": "", "number": text}


def _range_of_without(columns: pd.Series, prefix: str, of_homes: bool) -> str:
    low, high = columns.get(f"{prefix}without_low"), columns.get(f"{prefix}without_high")
    if not of_homes or low is None or high is None or pd.isna(low):
        return ""
    if high < SMALL_COUNT:
        return ""
    return say("brief.in_8_of_10", range=range_text(two_figures(low), two_figures(high)))


def _range_of_shift(columns: pd.Series, name: str, of_homes: bool) -> str:
    few, many = columns.get(f"{name}_3db_stronger"), columns.get(f"{name}_3db_weaker")
    if few is None or pd.isna(few) or pd.isna(many):
        return ""
    number = homes_number if of_homes else percent_whole
    return say("brief.shifted", stronger=number(few), weaker=number(many))


def _tiers(tier_names: Sequence[str], columns: pd.Series, of_homes: bool) -> list[dict[str, str]]:
    prefix = HOMES_PREFIX if of_homes else LAND_PREFIX
    number = homes_number if of_homes else percent_whole
    rows = []
    for look, name in zip(palette.TIERS, tier_names, strict=True):
        ink = palette.INK_LIGHT if look.number == TIER_NOT_PROMISED else look.ink
        value = number(float(columns[f"{prefix}tier_{look.number}"]))
        rows.append(
            {"number": str(look.number), "name": name, "painted": look.painted, "ink": ink, "value": value}
        )
    rows.append(
        {"number": "", "name": say("page.unknown"), "value": number(float(columns[f"{prefix}unknown"]))}
    )
    return rows


def _bars(bars: Mapping[str, list[float]]) -> list[dict[str, Any]]:
    """Return the three bars with the places of their parts; none where the shifts are not known."""
    if not all(name in bars for name, _ in BARS):
        return []
    drawn = []
    for row, (name, key) in enumerate(BARS):
        total = sum(bars[name]) or 1.0
        parts, x = [], BAR_START
        for number in [*range(1, TIER_NOT_PROMISED + 1), 0]:
            width = (BAR_WIDTH - BAR_START) * bars[name][number] / total
            if width > 0:
                look = palette.tier_look(number) if number else None
                parts.append(
                    {
                        "number": str(number) if number and width >= NUMBER_FROM else "",
                        "x": f"{x:.1f}",
                        "width": f"{width:.1f}",
                        "middle": f"{x + width / 2.0:.1f}",
                        "fill": look.painted if look else palette.INK_LIGHT,
                        "ink": look.ink if look and number < TIER_NOT_PROMISED else palette.INK_LIGHT,
                        "hatched": number == TIER_NOT_PROMISED,
                    }
                )
            x += width
        y = row * BAR_STEP
        drawn.append({"words": say(f"brief.{key}"), "y": f"{y:g}", "base": f"{y + 19:g}", "parts": parts})
    return drawn


def _behind(
    run: Mapping[str, Any],
    list_name: str,
    columns: pd.Series,
    of_homes: bool,
    behind: NotPromised,
    areas: gpd.GeoDataFrame | None,
    zones: gpd.GeoDataFrame | None,
    names: Mapping[str, str],
) -> dict[str, Any]:
    """Return heading and sentences on dead zones; where they hold hardly a home, on homes of tier 8."""
    if of_homes and zones is not None and float(columns["homes_without"]) >= SMALL_COUNT:
        low, high = columns["homes_without_low"], columns["homes_without_high"]
        return {
            "heading": say("brief.none_heading", count=homes_range(columns["homes_without"], low, high)),
            "sentences": _of_zones(zones[zones["wanted_list"] == list_name], columns),
        }
    what = list_words(*wanted_of(run, list_name))
    lost = float(columns[f"{HOMES_PREFIX if of_homes else LAND_PREFIX}tier_8"])
    shown = _homes_words(lost) if of_homes else say("brief.of_land", share=percent_whole(lost))
    heading = say("brief.not_promised", list=what, count=shown)
    if lost <= 0:
        return {"heading": heading, "sentences": [say("brief.all_sure", list=what)]}
    sentences = _of_areas(areas, list_name) if of_homes else []
    counted = _sentence if of_homes else _share_sentence
    deciders = {names.get(service, service): count for service, count in behind.by_service.items()}
    sentences += counted("brief.deciding", deciders)
    causes = {cause_words(cause): count for cause, count in behind.by_cause.items()}
    sentences += counted("brief.hard", causes)
    if of_homes and float(columns["homes_without"]) < SMALL_COUNT:
        sentences.append(say("brief.still_some"))
    return {"heading": heading, "sentences": sentences}


def _of_zones(zones: gpd.GeoDataFrame, columns: pd.Series) -> list[str]:
    by_name = zones.groupby("near_name")["homes"].sum().sort_values(ascending=False)
    sentences = _sentence("brief.near", by_name.to_dict())
    by_cause = zones.groupby("main_cause")["homes"].sum().sort_values(ascending=False)
    causes = {cause_words(str(code)): homes for code, homes in by_cause.items()}
    sentences += _sentence("brief.hard", causes)
    sentences.append(say("brief.further", count=homes_number(columns["homes_tier_8"])))
    return sentences


def _of_areas(areas: gpd.GeoDataFrame | None, list_name: str) -> list[str]:
    """Return the neighbourhoods with most homes of tier 8, as one sentence."""
    if areas is None or "homes_tier_8" not in areas.columns:
        return []
    rows = areas[areas["wanted_list"] == list_name]
    counts = dict(zip(rows["neighbourhood_name"], rows["homes_tier_8"].fillna(0.0), strict=True))
    return _sentence("brief.most_in", dict(sorted(counts.items(), key=lambda pair: -pair[1])))


def _homes_words(count: float) -> str:
    return say("brief.nobody") if count == 0 else say("page.homes", count=homes_number(count))


def _sentence(key: str, counts: Mapping[Any, float]) -> list[str]:
    """Return a sentence with the largest counts with their names: 'Oldwick, 180 homes; Rigg, 39'."""
    named = [(name, count) for name, count in counts.items() if count >= SMALL_COUNT][:MOST_NAMES]
    parts = [f"{name}, {homes_number(count)}" for name, count in named]
    parts[:1] = [f"{name}, {_homes_words(count)}" for name, count in named[:1]]
    return [say(key, what="; ".join(parts))] if parts else []


def _share_sentence(key: str, counts: Mapping[Any, float]) -> list[str]:
    """Return a sentence with the largest shares of these squares: 'hills in the way, 60 %; noise, 30 %'."""
    total = sum(counts.values())
    named = [(name, 100.0 * count / total) for name, count in counts.items() if count > 0.0][:MOST_NAMES]
    parts = [f"{name}, {percent_whole(share)}" for name, share in named]
    return [say(key, what="; ".join(parts))] if parts else []


def basis_in_words(run: Mapping[str, Any], of_homes: bool) -> list[str]:
    """Return the sentences on what the numbers rest on."""
    options, sigma = run.get("options", {}), run.get("sigma_db", {})
    reception, prediction = options.get("reception", {}), options.get("prediction", {})
    chosen = run.get("models", {}).get("chosen", "p1812")
    model = run.get("models", {}).get(chosen, "ITU-R P.1812-8")
    share = "90 %" if prediction.get("time_rule", "us_90_10") == "us_90_10" else "50 %"
    noise = environment_words(str(reception.get("noise_environment", "residential")))
    sentences = [say("basis.model", model=model, share=share, noise=noise)]
    if sigma:
        most = max(sigma.get("by_path", {}).values(), default=sigma["total"])
        key = "basis.spread_to" if most > sigma["total"] else "basis.spread"
        sentences.append(say(key, spread=decimal(sigma["total"], 1), most=decimal(most, 1)))
        if most > sigma["total"]:
            sentences.append(say("chance.behind_hills"))
    if of_homes:
        sentences += [say("basis.by_antenna"), say("basis.with_none")]
        sentences += [sentence for sentence in [outside_in_words(dict(run))] if sentence]
    left_out = run.get("left_out", {})
    if left_out:
        sentences.append(say("basis.left_out", count=sum(left_out.values()), why=join(retold(left_out))))
    return sentences


def _warnings(count: int) -> str:
    return say("brief.warnings", count=count) if count else ""
