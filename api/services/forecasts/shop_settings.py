"""Settings of a shop's forecasts: the one place where they are put together.

The operator sets risk, wait and horizon; a shop may choose its own risk and thresholds; the newest
bench plan gives the waits by week. The settings that stored forecasts were made with are kept, so
that forecasts follow a change.
"""

from __future__ import annotations

from dataclasses import asdict, replace
from datetime import date
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.schemas.forecasts.choices import ForecastChoices
from solespan.api.services.shop_choices import change_choices, read_choices
from solespan.api.settings import Settings
from solespan.api.storage.bench import waits
from solespan.api.storage.shop_settings import find_setting, known_settings, put_setting
from solespan.forecast import ForecastSettings

__all__ = [
    "are_followed",
    "change_forecast_choices",
    "keep_followed",
    "operator_settings",
    "read_forecast_choices",
    "settings_for",
]

NAME = "forecast"
FOLLOWED = "forecast_followed"


def operator_settings(settings: Settings) -> ForecastSettings:
    """Return the forecast library's settings as the operator set them."""
    return ForecastSettings(
        risk=settings.risk,
        bench_wait_days=settings.bench_wait_days,
        horizon_days=settings.horizon_days,
    )


def settings_for(
    session: Session, operator: ForecastSettings, day: date | None = None
) -> ForecastSettings:
    """Return the settings of the session's shop, on a day with the waits of its bench plan."""
    known = known_settings(session, (NAME, waits.NAME))
    chosen = ForecastChoices.model_validate(known.get(NAME, {})).model_dump(exclude_none=True)
    kept = known.get(waits.NAME)
    by_week = waits.waits_in(kept, day) if kept and day else ()
    return replace(operator, bench_waits=by_week, **chosen)


def read_forecast_choices(session: Session) -> tuple[ForecastChoices, int]:
    """Return a shop's choices and their version; version 0 = the defaults."""
    return read_choices(session, NAME, ForecastChoices())


def change_forecast_choices(
    session: Session, choices: ForecastChoices, versions: frozenset[int] | None
) -> int:
    """Replace them if they have one of `versions` (None = any); return the new version.

    Stored forecasts follow at the next update. Raises `StaleVersion`.
    """
    return change_choices(session, NAME, choices, versions)


def are_followed(session: Session, operator: ForecastSettings) -> bool:
    """Whether the stored forecasts were all made with the settings of now, waits apart."""
    found = find_setting(session, FOLLOWED)
    return _kept(settings_for(session, operator)) == (found[0] if found else _kept(operator))


def keep_followed(session: Session, settings: ForecastSettings) -> None:
    """Keep that all stored forecasts are made with these settings, waits apart."""
    found = find_setting(session, FOLLOWED)
    put_setting(session, FOLLOWED, _kept(settings), found[1] if found else 0)


def _kept(settings: ForecastSettings) -> dict[str, Any]:
    return {name: value for name, value in asdict(settings).items() if name != "bench_waits"}
