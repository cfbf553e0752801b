"""Look back page.

What does the page say of how past forecasts did: in words first, then in tables?
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import pandas as pd

from solespan.dashboards import wording

__all__ = ["CALIBRATION", "calibration_frame", "look_back_page"]

CALIBRATION = ("within_days", "forecasts", "said", "happened", "low", "high")


def look_back_page(
    kept: Mapping[str, Any] | None, *, running: bool, problem: str
) -> dict[str, Any]:
    """Gather the page from what was kept of the newest look back (None = there was none).

    `running` says that one is being made now, `problem` why the last one could not be.
    """
    return {
        "running": running,
        "problem": problem,
        "kept": None if kept is None else _told(kept),
    }


def _percent(share: float | None) -> str:
    return "" if share is None else f"{100 * share:.0f} %"


def _told(kept: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "made_on": wording.long_date(pd.Timestamp(kept["made_on"])),
        "days": wording.plural(kept["days"], "earlier day"),
        "sentences": [re.sub(r"`([^`]*)`", r"“\1”", text) for text in kept["sentences"]],
        "sound_days": kept["sound_days"],
        "scores": [
            {
                "forecaster": row["forecaster"],
                "forecasts": row["forecasts"],
                "off": "" if row["crps_days"] is None else f"{row['crps_days']:.0f} days",
            }
            for row in kept["scores"]
        ],
        "bands": [
            {
                "band": row["band"],
                "forecasts": row["forecasts"],
                "said": _percent(row["said"]),
                "happened": _percent(row["happened"]),
            }
            for row in kept["bands"]
        ],
        "chances": [
            {
                "within": f"{row['within_days']} days",
                "forecasts": row["forecasts"],
                "said": _percent(row["said"]),
                "happened": f"{_percent(row['happened'])} "
                f"({_percent(row['low'])} to {_percent(row['high'])})",
            }
            for row in kept["calibration"]
        ],
    }


def calibration_frame(kept: Mapping[str, Any] | None) -> pd.DataFrame:
    """Return the frame that the figure `calibration` draws; empty without a look back."""
    return pd.DataFrame([] if kept is None else kept["calibration"], columns=list(CALIBRATION))
