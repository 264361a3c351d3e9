"""What run.json says of how far a prediction can be off."""

from __future__ import annotations

from typing import Any

from covermap.reception import ReceptionOptions, sigma_summary
from covermap.reception.variability import prediction_by_path


def sigma_record(options: ReceptionOptions) -> dict[str, Any]:
    """Return the standard deviations of the predictions of a run, in dB, and what paths to one home share."""
    spread = sigma_summary(options)
    return {
        "total": round(spread.total_db, 2),
        "prediction": round(spread.prediction_db, 2),
        "location": round(spread.location_db, 2),
        "land_cover_known": spread.has_land_cover,
        "by_path": {kind: round(total_db, 2) for kind, total_db in spread.by_path_db.items()},
        "prediction_by_path": prediction_by_path(options),
        "home_correlation": options.home_correlation,
    }
