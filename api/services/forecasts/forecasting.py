"""Forecasting service.

How do stored forecasts keep up with what was logged, and what explains them?

`Forecaster` brings one wearer's forecasts up to date inside the transaction that changed their log,
from the stored fit (milliseconds), and everyone's when asked. With no fit stored they stay pending
until `services.fitting` has made one. A log that cannot be forecast never stops a person from
logging. Its forecasts are then missing, and an event names the kind of failure.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import Any, TypeVar
from weakref import WeakKeyDictionary

import numpy as np
import pandas as pd
import structlog
from sqlalchemy import Engine
from sqlalchemy.orm import Session

from solespan.api.clock import Clock
from solespan.api.errors import NothingForecast
from solespan.api.services.forecasts.band_events import told_bands
from solespan.api.services.forecasts.newest_results import NewestResults
from solespan.api.services.forecasts.shop_settings import are_followed, keep_followed, settings_for
from solespan.api.services.unknown_id import unknown_id
from solespan.api.storage.forecasts import forecast_reads
from solespan.api.storage.forecasts.forecast_reads import (
    DueFilter,
    forecast_of_pair,
    list_due,
    wearer_of_pair,
)
from solespan.api.storage.forecasts.forecast_writes import replace_forecasts
from solespan.api.storage.rack.frames import log_of, nameless, trusted_columns, trusted_log
from solespan.api.storage.rack.records import owner_of
from solespan.api.storage.rack.wearer_partitions import pair_counts, partitions
from solespan.api.storage.session import Database
from solespan.api.storage.tables.results import Fit
from solespan.forecast import Explanation, ForecastSettings, WearFit, explain, wear_path
from solespan.forecast.dates.due import forecast_columns
from solespan.forecast.errors import ForecastError
from solespan.forecast.frames import FORECAST
from solespan.forecast.log import LogColumns, WearLog
from solespan.forecast.model.wear_fit import MODEL_VERSION
from solespan.forecast.model.wear_model import Conditioned, condition
from solespan.forecast.panel.wearer_parts import Runner, Threads

__all__ = [
    "DueFilter",
    "Forecaster",
    "Progress",
    "StoredFit",
    "forecast_of_pair",
    "list_due",
    "wearer_of_pair",
]

Progress = Callable[[str, float], None]
T = TypeVar("T")
log = structlog.get_logger("solespan.forecasting")

PARTITION_PAIRS = 400
FEW_WEARERS = 50  # one partition without counting
PARTITIONS_OF_WORKER = 2  # that wait at a time
KEPT_RESULTS = 512
KEPT_RACKS = 32


Racks = NewestResults[tuple[WearLog, Conditioned | None]]
_KEPT: WeakKeyDictionary[Engine, tuple[NewestResults[Any], Racks]] = WeakKeyDictionary()
_KEPT_LOCK = threading.Lock()


def _kept(engine: Engine) -> tuple[NewestResults[Any], Racks]:
    with _KEPT_LOCK:
        new = NewestResults[Any](KEPT_RESULTS), Racks(KEPT_RACKS)
        return _KEPT.setdefault(engine, new)


@dataclass(frozen=True)
class StoredFit:
    """The newest fit: its row without the payload, and the results object made from that."""

    row: dict[str, Any]
    fit: WearFit


class Forecaster:
    """Forecasts from the stored fit; one object serves every thread of a process."""

    def __init__(self, database: Database, clock: Clock, settings: ForecastSettings) -> None:
        self.database = database
        self.clock = clock
        self._operator = settings
        self._newest: StoredFit | None = None
        # shared by the tenants of a process, so that they stay few
        self._results, self._racks = _kept(database.engine)

    def settings_on(self, session: Session, day: date | None = None) -> ForecastSettings:
        """Return the settings of this shop, on a day with the waits of its bench plan."""
        return settings_for(session, self._operator, day)

    def newest_fit(self, session: Session) -> StoredFit | None:
        """Return the newest stored fit, made from its dict once per process.

        A fit of another version of the model counts as none.
        """
        row = forecast_reads.newest_fit_key(session)
        if row is None or row["model_version"] != MODEL_VERSION:
            return None
        known = self._newest
        if known is None or known.row["id"] != row["id"]:
            known = StoredFit(
                row, WearFit.from_dict(forecast_reads.fit_payload(session, row["id"]))
            )
            self._newest = known
        return known

    def update_wearer(self, session: Session, wearer_id: str) -> bool:
        """Replace one wearer's forecasts in this transaction; return whether there are any now."""
        stored = self.newest_fit(session)
        if stored is None:
            self._put(session, no_rows(), [wearer_id], None)
            return False
        columns = trusted_columns(session, [wearer_id])
        if not len(columns.wearers["time_zone"]):
            return False
        as_of = self.clock.today(str(columns.wearers["time_zone"][0]))
        settings = self.settings_on(session, as_of)
        rows, problem = _rows_of(stored.fit, columns, as_of, settings)
        if problem is not None:
            log.warning("forecast_impossible", kind=problem)
        self._put(session, rows, [wearer_id], stored)
        return bool(rows)

    def update_owner(self, session: Session, pair_id: str) -> None:
        """Replace the forecasts of a pair's wearer in this transaction."""
        owner = owner_of(session, "pair_id", pair_id, lock=False)
        if owner is not None:
            self.update_wearer(session, owner.wearer_id)

    def update_behind(
        self,
        progress: Progress | None = None,
        *,
        everyone: bool = False,
        runner: Runner | None = None,
    ) -> int:
        """Bring every wearer up to date whose forecasts are missing or old; return how many.

        Logs are read and forecasts written a partition of wearers at a time. They are computed here
        or where `runner` says, outside of any transaction, so that nobody waits to log. A wearer
        who logged meanwhile was brought up to date by that.
        """
        with self.database.reading() as session:
            stored = self.newest_fit(session)
            behind = list(self._behind(session, everyone=everyone))
            counts = pair_counts(session) if len(behind) > FEW_WEARERS else {}
            followed = are_followed(session, self._operator)
            wanted = self.settings_on(session)
        if stored is None:
            return 0
        at = Threads() if runner is None else runner
        ahead = 0 if runner is None else PARTITIONS_OF_WORKER * runner.workers
        shared, done = at.share(stored.fit), 0
        waiting: deque[_Partition] = deque()
        for as_of, wearer_ids in _partitions(behind, counts):
            waiting.append(self._begun(at, shared, as_of, wearer_ids))
            if len(waiting) > ahead:
                done += self._finished(at, waiting.popleft(), stored)
                if progress is not None:
                    progress("forecasting", done / len(behind))
        while waiting:
            done += self._finished(at, waiting.popleft(), stored)
        if not followed:
            with self.database.writing() as session:
                keep_followed(session, wanted)
        return done

    def _begun(
        self, runner: Runner, fit: Any, as_of: date, wearer_ids: Sequence[str]
    ) -> _Partition:
        """Read a partition's log, and have it forecast."""
        with self.database.reading() as session:
            before = forecast_reads.data_versions(session, wearer_ids)
            settings = self.settings_on(session, as_of)
            wear_log = nameless(trusted_log(session, wearer_ids))
            owners = dict(forecast_reads.pairs_of(session, wearer_ids))
        make = partial(_frame_of, as_of=as_of, settings=settings)
        frame = runner.map(make, [fit], runner.hold([wear_log]))
        return _Partition(wearer_ids, before, owners, frame)

    def _finished(self, runner: Runner, part: _Partition, stored: StoredFit) -> int:
        """Write a partition's forecasts but of those who logged meanwhile; count its wearers."""
        frame, problem = runner.gather(part.frame)[0]
        if problem is not None:
            log.warning("forecast_impossible", kind=problem)
        with self.database.writing() as session:
            now = forecast_reads.data_versions(session, part.wearer_ids, lock=True)
            same = {w for w in part.wearer_ids if w in now and now[w] == part.before.get(w)}
            mine = frame[frame["pair_id"].map(part.owners).isin(same)]
            self._put(session, mine, sorted(same), stored)
        return len(part.wearer_ids)

    def has_soles(self) -> bool:
        """Whether there is anything to forecast."""
        with self.database.reading() as session:
            return bool(forecast_reads.forecast_days(session))

    def is_behind(self) -> bool:
        """Whether anyone's forecasts are missing or old."""
        with self.database.reading() as session:
            return next(self._behind(session), None) is not None

    def count_behind(self, session: Session) -> int:
        """Count the wearers whose forecasts are missing or old."""
        return sum(1 for _ in self._behind(session))

    def count_work(self, *, everyone: bool) -> int:
        """Count the wearers who are to be forecast."""
        with self.database.reading() as session:
            return sum(1 for _ in self._behind(session, everyone=everyone))

    def frame_of(
        self,
        fit: WearFit,
        wear_log: WearLog,
        as_of: date,
        settings: ForecastSettings,
    ) -> pd.DataFrame:
        """Return the forecast frame of a log, without rows when it cannot be forecast."""
        frame, problem = _frame_of(fit, wear_log, as_of, settings)
        if problem is not None:
            log.warning("forecast_impossible", kind=problem)
        return frame

    def explanation(self, session: Session, pair_id: str) -> Explanation:
        """Return why a pair's forecast says what it says. Raises `NotFound`, `NothingForecast`."""
        return self._result(session, pair_id, explain)[0]

    def path(self, session: Session, pair_id: str) -> tuple[pd.DataFrame, date]:
        """Return a pair's fitted and expected thickness (columns `frames.PATH`) and its day.

        Raises `NotFound`, `NothingForecast`.
        """
        return self._result(session, pair_id, wear_path)

    def _result(self, session: Session, pair_id: str, compute: Callable[..., T]) -> tuple[T, date]:
        """Compute once per pair, log, fit and day; a process keeps the newest results."""
        whose = forecast_reads.wearer_of_pair(session, pair_id)
        if whose is None:
            raise unknown_id(session, "pairs", "pair_id", pair_id)
        stored = self.newest_fit(session)
        as_of = self.clock.today(whose["time_zone"])
        if stored is None:
            raise NothingForecast(
                "There is no forecast yet.",
                where=pair_id,
                remedy="Fit the wear model: POST /v1/fit, or run: solespan fit",
            )
        settings = self.settings_on(session, as_of)
        data = whose["data_version"], stored.row["id"], as_of, settings
        result: T = self._results.get(
            (self.database.tenant_pk, compute.__name__, pair_id, *data),
            lambda: self._computed(session, pair_id, compute, whose, stored, settings),
        )
        return result, as_of

    def _computed(
        self,
        session: Session,
        pair_id: str,
        compute: Callable[..., T],
        whose: dict[str, Any],
        stored: StoredFit,
        settings: ForecastSettings,
    ) -> T:
        """Compute from the posterior of the whole rack, which the pairs of a wearer share."""
        wearer_id, day = whose["wearer_id"], pd.Timestamp(self.clock.today(whose["time_zone"]))
        horizon_days = settings.horizon_days

        def rack() -> tuple[WearLog, Conditioned | None]:
            columns = trusted_columns(session, [wearer_id])
            has_soles = (columns.soles["fitted_on"] <= day.to_datetime64()).any()
            known = condition(stored.fit, columns, day, horizon_days) if has_soles else None
            return log_of(columns), known

        key = (
            self.database.tenant_pk,
            wearer_id,
            whose["data_version"],
            stored.row["id"],
            day,
            horizon_days,
        )
        wear_log, known = self._racks.get(key, rack)
        if pair_id not in set(wear_log.soles["pair_id"]):
            raise NothingForecast(
                f"The pair {pair_id} has no sole, so there is nothing to forecast.",
                where=pair_id,
                remedy="Add the sole that is on it.",
            )
        return compute(stored.fit, wear_log, pair_id, day, settings, known=known)

    def _behind(self, session: Session, *, everyone: bool = False) -> Iterator[tuple[str, date]]:
        everyone = everyone or not are_followed(session, self._operator)
        for wearer_id, time_zone, made_on, current in forecast_reads.forecast_days(session):
            today = self.clock.today(time_zone)
            if everyone or not current or made_on is None or made_on < today:
                yield wearer_id, today

    def _put(
        self,
        session: Session,
        frame: pd.DataFrame | Mapping[str, np.ndarray],
        wearer_ids: Sequence[str],
        stored: StoredFit | None,
    ) -> None:
        fit = None if stored is None else Fit(id=stored.row["id"])
        with told_bands(session, wearer_ids, self.clock.now()):
            replace_forecasts(session, frame, wearer_ids=wearer_ids, fit=fit)


def no_rows() -> pd.DataFrame:
    """Return a forecast frame without rows."""
    return pd.DataFrame({column.name: [] for column in FORECAST})


@dataclass(frozen=True)
class _Partition:
    """Wearers who are forecast together: their data versions, pairs, and a handle of the rows."""

    wearer_ids: Sequence[str]
    before: dict[str, int]
    owners: dict[str, str]
    frame: list[Any]


def _frame_of(
    fit: WearFit, wear_log: WearLog, as_of: date, settings: ForecastSettings
) -> tuple[pd.DataFrame, str | None]:
    """Return the forecast frame of a log, or no rows and the kind of what keeps it from one."""
    rows, problem = _rows_of(fit, wear_log, as_of, settings)
    return pd.DataFrame(rows) if rows else no_rows(), problem


def _rows_of(
    fit: WearFit, wear_log: WearLog | LogColumns, as_of: date, settings: ForecastSettings
) -> tuple[Mapping[str, np.ndarray], str | None]:
    """Return the forecast by column, or nothing and the kind of what keeps the log from one."""
    if not len(wear_log.soles["sole_id"]):
        return {}, None
    try:
        return forecast_columns(fit, wear_log, pd.Timestamp(as_of), settings), None
    except ForecastError as failure:
        return {}, type(failure).__name__


def _partitions(
    behind: Sequence[tuple[str, date]], counts: dict[str, int]
) -> Iterator[tuple[date, list[str]]]:
    """Yield partitions of wearers, those of one calendar day together."""
    for day in sorted({day for _, day in behind}):
        wearers = [wearer for wearer, its_day in behind if its_day == day]
        for part in partitions(wearers, counts, PARTITION_PAIRS):
            yield day, part
