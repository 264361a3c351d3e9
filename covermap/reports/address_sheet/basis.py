"""What an address is computed with, in sentences."""

from __future__ import annotations

from pathlib import Path

from covermap.grid.fields import TIME_RULES
from covermap.inputs.preparation import Preparation
from covermap.reception.variability import ReceptionOptions, SigmaSummary, sigma_summary
from covermap.result.run_json import MODEL_EDITIONS
from covermap.wording.homes_words import building_words, environment_words
from covermap.wording.language import say
from covermap.wording.words import decimal


def basis_sentences(prepared: Preparation, options: ReceptionOptions) -> tuple[str, ...]:
    """Return what an address is computed with, a sentence each; options : of the place."""
    settings = prepared.scenario.settings
    prediction = settings.prediction
    unwanted_percent, faded = TIME_RULES[prediction.time_rule]
    return (
        say(
            "sheet.basis_of.path",
            model=MODEL_EDITIONS[prediction.model],
            step=f"{prediction.profile_step_m:g}",
            terrain=", ".join(Path(path).name for path in settings.terrain.elevation),
        ),
        say(
            "sheet.basis_of.wanted_faded" if faded else "sheet.basis_of.wanted",
            unwanted=f"{unwanted_percent:g}",
            sigma=_sigma(sigma_summary(options)),
        ),
        say(
            "sheet.basis_of.noise_by_cover" if prepared.noise_by_land_cover else "sheet.basis_of.noise",
            noise=environment_words(options.noise_environment),
            building=building_words(options.building),
            figure=f"{options.tuner_noise_figure_db:g}",
        ),
    )


def _sigma(summary: SigmaSummary) -> str:
    said = {
        "total": decimal(summary.total_db, 1),
        "prediction": f"{summary.prediction_db:g}".replace(".", say("language.decimal")),
        "location": decimal(summary.location_db, 1),
        "cover": say(f"sheet.basis_of.cover_{'known' if summary.has_land_cover else 'unknown'}"),
    }
    if len(set(summary.by_path_db.values())) == 1:
        return say("sheet.basis_of.sigma", **said)
    kinds = (("one", "one_ridge"), ("two", "two_ridges"), ("more", "many_ridges"))
    behind = {key: decimal(summary.by_path_db[kind], 1) for key, kind in kinds}
    return say("sheet.basis_of.sigma_by_path", **said, **behind)
