"""Look back service.

How did past forecasts do: when is that computed, and what is kept of it for the page?

A look back refits the model at many earlier days, which takes from seconds to many minutes. The
page shows the newest one and can ask for another, which runs in a thread of its own.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from datetime import date
from typing import Any

import pandas as pd
import structlog
from sqlalchemy.orm import Session

from solespan.api.errors import NothingForecast
from solespan.api.services.forecasts.dask_runner import spare_cluster
from solespan.api.services.forecasts.forecasting import Forecaster
from solespan.api.storage.rack.frames import load_wear_log
from solespan.api.storage.shop_settings import find_setting, put_setting
from solespan.forecast import Backtest, backtest
from solespan.forecast.backtesting.backtest import usual_days
from solespan.forecast.errors import ForecastError
from solespan.forecast.log import WearLog

__all__ = ["LookBack", "keep", "kept", "log_to_look_back_on"]

log = structlog.get_logger("solespan.look_back")

NAME = "look_back"
EVERY_DAYS = 91


def log_to_look_back_on(session: Session, today: date) -> WearLog:
    """Return what was logged until today. Raises `NothingForecast` where no pair had a sole."""
    known = load_wear_log(session).until(pd.Timestamp(today))
    if known.soles.empty:
        raise NothingForecast(
            "There is nothing to look back over: no pair had a sole.",
            where="pairs and soles",
            accepted="a log of more than a year",
            remedy="Import a folder of logs: solespan import FOLDER; or see: solespan demo",
        )
    return known


def keep(session: Session, back: Backtest, days: Sequence[pd.Timestamp], today: date) -> None:
    """Keep what a look back found in the place of the one before."""
    tables = {"scores": back.scores, "bands": back.bands, "calibration": back.calibration}
    value = {
        "made_on": today.isoformat(),
        "days": len(days),
        "sound_days": back.settings.sound_days,
        "sentences": back.sentences(),
        **{name: _records(table) for name, table in tables.items()},
    }
    found = find_setting(session, NAME)
    put_setting(session, NAME, value, 0 if found is None else found[1])


def _records(table: pd.DataFrame) -> list[dict[str, Any]]:
    known = table.astype(object).where(table.notna(), None)
    return [{str(name): value for name, value in row.items()} for row in known.to_dict("records")]


def kept(session: Session) -> dict[str, Any] | None:
    """Return the newest look back, or None."""
    found = find_setting(session, NAME)
    return None if found is None else found[0]


class LookBack:
    """Looks back over one tenant's log, one look at a time."""

    def __init__(self, forecaster: Forecaster, dask_address: str | None = None) -> None:
        self._forecaster = forecaster
        self._dask_address = dask_address
        self._one_at_a_time = threading.Lock()
        self.running = False
        self.problem = ""

    def start(self) -> None:
        """Begin to look back in a thread; while one runs, a second call does nothing."""
        with self._one_at_a_time:
            if self.running:
                return
            self.running, self.problem = True, ""
        threading.Thread(target=self._run, name="look back", daemon=True).start()

    def _run(self) -> None:
        try:
            self.look()
        except NothingForecast as failure:
            self.problem = failure.what
        except ForecastError as failure:
            self.problem = str(failure)
        except Exception as failure:  # noqa: BLE001 - a thread has nobody to raise to
            log.error("look_back_failed", kind=type(failure).__name__)  # noqa: TRY400
            self.problem = "The look back failed; the log says more."
        finally:
            self.running = False

    def look(self, progress: Callable[[str, float], None] | None = None) -> None:
        """Look back at a day in each quarter, and keep what was found.

        Raises `NothingForecast`, or `ForecastError` for a log that is too short.
        """
        database, today = self._forecaster.database, self._forecaster.clock.today()
        with database.reading() as session:
            known = log_to_look_back_on(session, today)
            settings = self._forecaster.settings_on(session)
        days = usual_days(known, EVERY_DAYS)
        with spare_cluster(self._dask_address, lambda: len(known.wearers)) as runner:
            back = backtest(known, days, settings=settings, progress=progress, runner=runner)
        with database.writing() as session:
            keep(session, back, days, today)
