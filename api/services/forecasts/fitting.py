"""Fitting service: when is the wear model fitted, by whom, and how far is it?

`Fitter.refit` fits and stores. After each round it stores its state. A stopped fit goes on from
there when it is asked for again, if the log is the same. `BackgroundRefitter` is the one background
thread of the service. It fits when asked or when there is no fit, and brings every forecast to the
new day.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterable
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import date, timedelta
from functools import partial
from typing import Any

import pandas as pd
import structlog
from sqlalchemy.orm import Session

from solespan.api.errors import NothingForecast, SolespanError
from solespan.api.logs import places_of
from solespan.api.services.forecasts.dask_runner import spare_cluster
from solespan.api.services.forecasts.forecasting import Forecaster, Progress
from solespan.api.services.forecasts.supposed_outcomes import keep_supposed
from solespan.api.services.forecasts.year_looks import look_back_on_years, looks_are_due
from solespan.api.services.periodic_loop import PeriodicLoop, alone
from solespan.api.storage.forecasts.forecasts import (
    drop_unfinished,
    keep_unfinished,
    save_fit,
    unfinished_fit,
)
from solespan.api.storage.rack.frames import load_wear_log, nameless, trusted_log
from solespan.api.storage.rack.versions import newest_data_version
from solespan.api.storage.rack.wearer_partitions import pair_counts, partitions
from solespan.forecast import WearFit, WearModel
from solespan.forecast.errors import ForecastError
from solespan.forecast.log import WearLog
from solespan.forecast.model.distributed_fit import fit_split
from solespan.forecast.model.fit_start import FitStart
from solespan.forecast.model.wear_fit import MODEL_VERSION
from solespan.forecast.panel.wearer_parts import Runner, wearer_parts

__all__ = ["BackgroundRefitter", "FitProgress", "Fitter"]

log = structlog.get_logger("solespan.fitting")

REFIT_AFTER = timedelta(days=1)  # one wearer's forecasts follow their log without a refit
UPKEEP_EVERY_S = 600.0
OTHERS_WORK_S = 5.0
# Where several tenants are served, one rests so many times as long as its round took.
REST_PER_WORK, LONGEST_REST_S = 9.0, 60.0
FIT_PART_PAIRS = 2000  # of which the log is in memory at a time
SETTLE_S = 0.5
LONGEST_SETTLE_S = 10.0


@dataclass(frozen=True)
class FitProgress:
    """What the fitter is doing: `running` with step and fraction, or why it failed last."""

    running: bool = False
    step: str | None = None
    fraction: float | None = None
    problem: str | None = None


class Fitter:
    """Fits the wear model to everything logged, one fit at a time."""

    def __init__(self, forecaster: Forecaster) -> None:
        self._forecaster = forecaster
        self._one_at_a_time = threading.Lock()
        self.progress = FitProgress()

    def refit(
        self,
        as_of: date | None = None,
        progress: Progress | None = None,
        cluster: Runner | None = None,
    ) -> WearFit:
        """Fit to what was known on `as_of` (default: today, UTC), store the fit, and return it.

        On a `cluster` the log is split by wearer over its workers; the fit is the same.
        Raises `NothingForecast` when nothing can be fitted, with the reason.
        """
        day = as_of or self._forecaster.clock.today()
        with self._one_at_a_time:
            try:
                fit, seen = self._fit(day, progress, store=True, cluster=cluster)
            except SolespanError as failure:
                self.progress = FitProgress(problem=failure.what)
                raise
            except Exception:
                self.progress = FitProgress(problem="The fit failed; the log says more.")
                raise
            except BaseException:
                self.progress = FitProgress()  # stopped by hand: what was kept is gone on from
                raise
            with self._forecaster.database.writing() as session:
                drop_unfinished(session)
                row = save_fit(
                    session, as_of=day, model_version=MODEL_VERSION, payload=fit.to_dict()
                )
                row.data_version = seen  # what was logged while it ran is not in it
                row.fitted_at = self._forecaster.clock.now()
            self.progress = FitProgress()
        return fit

    def fit_without_storing(
        self, as_of: date, progress: Progress | None = None, cluster: Runner | None = None
    ) -> WearFit:
        """Fit to what was known on another day, for a look back; nothing is stored."""
        with self._one_at_a_time:
            return self._fit(as_of, progress, store=False, cluster=cluster)[0]

    def is_stale(self, *, at_once: bool) -> bool:
        """Whether there is no fit of this model, or the log has changed since.

        A change counts `at_once` or only when the fit is a day old.
        """
        with self._forecaster.database.reading() as session:
            stored = self._forecaster.newest_fit(session)
            if stored is None:
                return True
            changed = stored.row["data_version"] != newest_data_version(session)
        age = self._forecaster.clock.now() - stored.row["fitted_at"]
        return changed and (at_once or age >= REFIT_AFTER)

    def _fit(
        self,
        as_of: date,
        progress: Progress | None,
        *,
        store: bool,
        cluster: Runner | None = None,
    ) -> tuple[WearFit, int]:
        def tell(step: str, fraction: float) -> None:
            self.progress = FitProgress(running=True, step=step, fraction=fraction)
            if progress is not None:
                progress(step, fraction)

        tell("reading", 0.0)
        moment = pd.Timestamp(as_of)
        with self._forecaster.database.reading(one_state=True) as session:
            seen = newest_data_version(session)
            logs = _held(session, moment, cluster) if cluster else _whole(session, moment)
        if not logs:
            raise NothingForecast(
                f"Up to {as_of} no pair had a sole, so there is nothing to fit.",
                where="soles",
                accepted="at least one pair with one sole",
                remedy="Add a pair and its sole, or import a folder of logs.",
            )
        try:
            # Always from the same start, so that the same log gives the same dates; but a fit that
            # was stopped goes on.
            start = self._kept(as_of, seen) if store else None
            keep = partial(self._keep, as_of, seen) if store else None
            if cluster is None:
                fit: WearFit = WearModel(logs[0], moment).fit(progress=tell, start=start, keep=keep)
            else:
                fit = fit_split(cluster, logs, moment, tell, start, keep)
        except ForecastError as cause:
            raise NothingForecast(
                f"The wear model could not be fitted: {cause}",
                remedy="Check what was logged, then fit again.",
            ) from cause
        return fit, seen

    def _kept(self, as_of: date, seen: int) -> FitStart | None:
        with self._forecaster.database.reading() as session:
            payload = unfinished_fit(
                session, as_of=as_of, model_version=MODEL_VERSION, data_version=seen
            )
        if payload is None:
            return None
        log.info("fit_goes_on", rounds=payload["rounds"])
        return FitStart.from_dict(payload)

    def _keep(self, as_of: date, seen: int, stand: FitStart) -> None:
        with self._forecaster.database.writing() as session:
            keep_unfinished(
                session,
                as_of=as_of,
                model_version=MODEL_VERSION,
                data_version=seen,
                payload=stand.to_dict(),
            )


def _whole(session: Session, moment: pd.Timestamp) -> list[WearLog]:
    """Read everything that was known on a day; nothing where no pair had a sole."""
    known = load_wear_log(session).until(moment)
    return [] if known.soles.empty else [known]


def _held(session: Session, moment: pd.Timestamp, cluster: Runner) -> list[Any]:
    """Read the same part by part, and let each go to a worker before the next is read."""
    counts = pair_counts(session)
    held = []
    for wearer_ids in partitions(list(counts), counts, FIT_PART_PAIRS):
        (known,) = wearer_parts(nameless(trusted_log(session, wearer_ids)).until(moment), 1)
        if not known.soles.empty:
            held += cluster.hold([known])
    return held


class BackgroundRefitter(PeriodicLoop):
    """The background thread that keeps fit and forecasts current; `wake` makes it look now.

    One thread works for `everyone`: the upkeeps of all tenants, which share its `wake`. `sweep` is
    called in each round. A round begins once nobody woke the thread for `settle_s`, at the latest
    `longest_settle_s` after it was woken first.
    """

    name = "upkeep"

    def __init__(
        self,
        forecaster: Forecaster,
        fitter: Fitter,
        *,
        everyone: Callable[[], Iterable[BackgroundRefitter]] | None = None,
        wake: threading.Event | None = None,
        sweep: Callable[[], None] | None = None,
        dask_address: str | None = None,
        settle_s: float = SETTLE_S,
        longest_settle_s: float = LONGEST_SETTLE_S,
    ) -> None:
        super().__init__(wake)
        self._forecaster = forecaster
        self._fitter = fitter
        self._everyone = everyone or (lambda: (self,))
        self._sweep = sweep
        self._dask_address = dask_address
        self._settle_s = settle_s
        self._longest_settle_s = longest_settle_s
        self._refit_asked = threading.Event()
        self._is_anothers = False
        self._rest_until = 0.0
        self._pause_s = UPKEEP_EVERY_S

    def wake(self, *, refit: bool = False) -> None:
        """Look at once what is behind; with `refit`, fit first."""
        if refit:
            self._refit_asked.set()
        self._wake.set()

    @property
    def refit_waiting(self) -> bool:
        """Whether a refit was asked for and has not begun."""
        return self._refit_asked.is_set()

    def turn(self) -> None:
        """Do a round of each tenant."""
        self._pause_s = UPKEEP_EVERY_S
        everyone = list(self._everyone())
        for upkeep in everyone:
            if self._stop.is_set():
                break
            rest_s = upkeep.rest_s if len(everyone) > 1 else 0.0
            if rest_s > 0:
                self._pause_s = min(self._pause_s, rest_s)
                continue
            upkeep.round()
            if upkeep._is_anothers:  # noqa: SLF001 - of its own kind
                self._pause_s = min(self._pause_s, OTHERS_WORK_S)

    def pause(self) -> None:
        """Wait ten minutes or until woken, and then until the writes pause.

        While another process works for a tenant, look again soon: it may have passed what is new.
        """
        self._wake.wait(self._pause_s)
        self._settle()

    def _settle(self) -> None:
        """Wait until nobody woke this thread for a moment, so that a burst is followed once.

        Who never pauses is followed every `longest_settle_s` all the same; a refit is not kept
        waiting for others' writes.
        """
        until = time.monotonic() + self._longest_settle_s
        while True:
            self._wake.clear()
            self._stop.wait(self._settle_s)
            quiet = not self._wake.is_set() or self._refit_asked.is_set()
            if quiet or self._stop.is_set() or time.monotonic() >= until:
                return

    def round(self) -> None:
        """Do one tenant's round and sweep; a failure keeps no other tenant waiting."""
        begun = time.monotonic()
        for step in (self._sweep, self.once):
            if step is not None:
                self._do(step)
        ended = time.monotonic()
        self._rest_until = ended + min(REST_PER_WORK * (ended - begun), LONGEST_REST_S)

    @property
    def rest_s(self) -> float:
        """The seconds until this tenant is due again, so that it takes no more than its share."""
        return self._rest_until - time.monotonic()

    def _do(self, step: Callable[[], None]) -> None:
        try:
            step()
        except NothingForecast:
            pass  # nothing logged yet: the state says so
        except Exception as failure:  # noqa: BLE001
            # no message: it may quote data
            log.error("upkeep_failed", **places_of(failure))  # noqa: TRY400

    def once(self) -> None:
        """Do one round: fit if asked or due, then bring forecasts up to date.

        Raises `NothingForecast` when a fit was asked for and nothing can be fitted.
        """
        self._is_anothers = False
        asked = self._refit_asked.is_set()
        if not asked and not self._is_due():
            return
        clock = self._forecaster.clock
        with alone(self._forecaster.database, clock.now, self.name) as mine:
            if mine:
                self._do_alone()
            else:
                self._is_anothers = True

    def _cluster(self, *, everyone: bool) -> AbstractContextManager[Runner | None]:
        count = partial(self._forecaster.count_work, everyone=everyone)
        return spare_cluster(self._dask_address, count)

    def _is_due(self) -> bool:
        return self._forecaster.has_soles() and (
            self._fitter.is_stale(at_once=False)
            or self._forecaster.is_behind()
            or looks_are_due(self._forecaster.database, self._forecaster.clock.today())
        )

    def _do_alone(self) -> None:
        asked = self._refit_asked.is_set()
        if asked:  # else one that is asked for just now would be dropped
            self._refit_asked.clear()
        fitted = asked or self._fitter.is_stale(at_once=False)  # another may have fitted just now
        with self._cluster(everyone=fitted) as cluster:
            if fitted:
                self._fitter.refit(cluster=cluster)
            count = self._forecaster.update_behind(everyone=fitted, runner=cluster)
        supposed, today = 0, self._forecaster.clock.today()
        if fitted or count:
            supposed = keep_supposed(self._forecaster.database, today)
        elif looks_are_due(self._forecaster.database, today):
            with self._cluster(everyone=True) as cluster:
                look_back_on_years(self._forecaster.database, today, cluster)
        log.info("upkeep", fitted=fitted, wearers=count, supposed=supposed)
