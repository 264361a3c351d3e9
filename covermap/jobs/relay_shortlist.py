"""`covermap relays`: the shortlist of hilltops, and what is written of it."""

from __future__ import annotations

from pathlib import Path


def shortlist_relays(
    scenario_path: Path, output: Path | None = None, *, workers: int | None = None, overwrite: bool = False
) -> str:
    """Write the hilltops from which a relay would reach most homes, without homes most land, in words too.

    output : default, a folder relays inside the scenario's result

    Raises InputError without a finished result; nothing is written then.
    """
    from covermap.gis_layers.answer_styles import style_relays
    from covermap.jobs.relays import relays
    from covermap.reports.relay_list import write_relays
    from covermap.result.coverage import open_coverage
    from covermap.result.result_folder import require_own_record, require_writable
    from covermap.scenario import read_scenario
    from covermap.wording.language import say, speaking
    from covermap.wording.words import path_in_words

    scenario = read_scenario(scenario_path)
    coverage = open_coverage(scenario.output)
    folder = output or coverage.folder / "relays"
    require_own_record(folder, "relays.html", overwrite)
    require_writable(folder)
    found = relays(scenario, workers=workers)
    display = scenario.settings.display
    with speaking(display.language):
        units = display.distance, display.height
        sentences = write_relays(found, coverage, scenario.name, folder, units)
        page, layer = (path_in_words(folder / name) for name in ("relays.html", "relays.gpkg"))
        sentences.append(say("relay.open", page=page, layer=layer))
        if len(found.sites):
            style_relays(folder / "relays.gpkg", of_homes=found.of_homes)
    return "\n".join(sentences)
