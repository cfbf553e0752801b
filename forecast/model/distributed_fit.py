"""Distributed fit: how is a fit made of logs that do not fit into one process?

Every log holds whole wearers. Their panels stay where a `forecast.panel.wearer_parts.Runner`
keeps them. What comes together are the panels of some wearers (on which spreads are sought), the
parts' small sums, and each pair's wear by four weeks. The fit is that of the logs put together.
"""

from __future__ import annotations

from dataclasses import fields, replace
from functools import partial, reduce
from operator import or_
from typing import Any

import numpy as np
import pandas as pd

from solespan.forecast.log import WearLog
from solespan.forecast.model.estimation import Estimate, Keep, Progress
from solespan.forecast.model.fit_start import FitStart
from solespan.forecast.model.full_panel_fit import (
    ENOUGH_PATHS,
    as_found,
    cut,
    fit_spreads,
    over_everyone,
)
from solespan.forecast.model.parameter_layout import Facts, learnable
from solespan.forecast.model.wear_fit import WearFit
from solespan.forecast.model.wear_model import use_multipliers, wear_fit
from solespan.forecast.panel.exposure import Exposure
from solespan.forecast.panel.log_arrays import LogArrays, log_arrays
from solespan.forecast.panel.panel import Panel, panel_part, unlogged_wearers
from solespan.forecast.panel.panel_of_log import panel_of
from solespan.forecast.panel.wearer_parts import Runner
from solespan.forecast.use.usage import fit_use
from solespan.forecast.use.wear_counts import WearCounts, wear_counts

__all__ = ["fit_split", "join_panels"]

Read = tuple[LogArrays, Panel]


def fit_split(
    runner: Runner,
    logs: list[WearLog] | list[Any],
    as_of: str | pd.Timestamp,
    progress: Progress | None = None,
    start: WearFit | FitStart | None = None,
    keep: Keep | None = None,
) -> WearFit:
    """Fit the wear model to logs of different wearers.

    Parameters
    ----------
    runner : Runner
    logs : list of WearLog, or handles of them
        Each with whole wearers and at least one sole fitted by `as_of`. They are sorted by
        wearer_id: the wearers of each stand before those of the next.
    as_of : date-like
    progress, start, keep
        As in `WearModel.fit`.

    Raises
    ------
    TooLittleData
        A log has no sole fitted by `as_of`.
    """
    day = pd.Timestamp(as_of)
    if isinstance(start, WearFit):
        start = FitStart(start.spread, start.noise)
    arrays = runner.map(partial(log_arrays, as_of=day), logs)
    begun = min(runner.gather(runner.map(_begun, arrays)))
    read = runner.map(partial(_read, records_begin=begun), arrays)
    found: Estimate | None = None
    for silent in (False, True):
        if found is not None and start is not None:
            start = replace(start, rounds=0)
        part = _fit_kind(runner, read, progress, start, keep, found, silent=silent)
        if part is not None:
            found = part if found is None else cut(found, part)
    assert found is not None  # noqa: S101 - a log has wearers
    mean = found.layout.prior_mean + found.population_mean
    weighed = use_multipliers(found.layout.population, mean)
    counted = partial(_counted, weighed=weighed)
    counts = runner.gather(runner.map(counted, read))
    if not any(len(part.days) for part in counts):  # nobody logs anywhere
        counts = runner.gather(runner.map(partial(counted, logged_only=False), read))
    sizes = np.sum(runner.gather(runner.map(_sizes, read)), axis=0).tolist()
    if progress:
        progress("use", 0.95)
    return wear_fit(found, fit_use(_joined(counts)), day, sizes, begun)


def _begun(arrays: LogArrays) -> int:
    return arrays.records_begin


def _read(arrays: LogArrays, records_begin: int) -> Read:
    return arrays, panel_of(arrays, records_begin)


def _fit_kind(
    runner: Runner,
    read: list[Any],
    progress: Progress | None,
    start: FitStart | None,
    keep: Keep | None,
    known: Estimate | None,
    *,
    silent: bool,
) -> Estimate | None:
    """Fit the wearers of all logs who log, or those who do not; None where there is none."""
    panels = runner.map(partial(_panel, silent=silent), read)
    sizes = runner.gather(runner.map(_many_wearers, panels))
    panels = [panel for panel, many in zip(panels, sizes, strict=True) if many]
    if not panels:
        return None
    told = runner.gather(runner.map(_told, panels))
    facts = reduce(or_, (f for f, _, _ in told))
    wearers = np.array([w for _, w, _ in told])
    step = -(-sum(p for _, _, p in told) // ENOUGH_PATHS)
    first = (np.cumsum(wearers) - wearers).tolist()
    small = join_panels(runner.gather(runner.map(partial(_some, step=step), panels, first)))
    found = fit_spreads(small, progress, start, keep, known=known)
    if step > 1:
        panels = runner.map(partial(as_found, found=found), panels)
        facts = reduce(or_, (f for f, _, _ in runner.gather(runner.map(_told, panels))))
        share = len(small.wearer_ids) / int(wearers.sum())
        found = over_everyone(runner, panels, facts, found, share)
    return found


def _told(panel: Panel) -> tuple[Facts, int, int]:
    return learnable(panel), len(panel.wearer_ids), len(panel.nominal_mm)


def _many_wearers(panel: Panel) -> int:
    return len(panel.wearer_ids)


def _panel(read: Read, *, silent: bool) -> Panel:
    """The wearers of one log who do not log, or those who do."""
    return panel_part(read[1], unlogged_wearers(read[1]) == silent)


def _some(panel: Panel, first: int, step: int) -> Panel:
    """Every k-th wearer, counted over all parts."""
    if step <= 1:
        return panel
    return panel_part(panel, (np.arange(len(panel.wearer_ids)) + first) % step == 0)


def _counted(
    read: Read, weighed: tuple[np.ndarray, float], *, logged_only: bool = True
) -> WearCounts:
    """Wear counts of one log; only of wearers who log, from whom use is learnt."""
    counts, logged = wear_counts(read[0], *weighed), ~read[1].unlogged
    return counts.kept(logged) if logged_only else counts


def _sizes(read: Read) -> tuple[int, int, int, int]:
    return read[1].sizes


def _joined(counts: list[WearCounts]) -> WearCounts:
    counts = [part for part in counts if len(part.days)]
    before = np.cumsum([0, *(int(c.wearer[-1]) + 1 for c in counts)])
    return WearCounts(
        worn=np.concatenate([c.worn for c in counts]),
        days=np.concatenate([c.days for c in counts]),
        open_days=np.concatenate([c.open_days for c in counts]),
        group=np.concatenate([c.group for c in counts]),
        wearer=np.concatenate([c.wearer + b for c, b in zip(counts, before, strict=False)]),
        year_share=counts[0].year_share,
        on_shelf=np.concatenate([c.on_shelf for c in counts]),
        away=np.concatenate([c.away for c in counts]),
    )


# which level's members the indices in an array of a panel count
_POINTS_TO = {
    "pair_wearer": "wearer_ids",
    "sole_pair": "pair_ids",
    "path_pair": "pair_ids",
    "path_sole": "sole_ids",
    "path_end": "target_day",
    "path_begin": "target_day",
    "obs_path": "nominal_mm",
    "obs_target": "target_day",
    "target_sole": "sole_ids",
}


def join_panels(panels: list[Panel]) -> Panel:
    """One panel of several that have different wearers, in their order."""
    panels = [p for p in panels if len(p.wearer_ids)]
    joined: dict[str, Any] = {}
    for name in (f.name for f in fields(Panel)):
        if name in ("exposure", "as_of_day"):
            continue
        arrays = [getattr(p, name) for p in panels]
        if name in _POINTS_TO:
            many = [len(getattr(p, _POINTS_TO[name])) for p in panels]
            before = np.cumsum([0, *many[:-1]])
            arrays = [np.where(a < 0, a, a + b) for a, b in zip(arrays, before, strict=True)]
        joined[name] = np.concatenate(arrays)
    exposure = _join_exposures([p.exposure for p in panels])
    return Panel(**joined, exposure=exposure, as_of_day=panels[0].as_of_day)


def _join_exposures(parts: list[Exposure]) -> Exposure:
    """Put the cells of all parts side by side, those of the same flags as one."""
    power = 2 ** np.arange(parts[0].flags.shape[1])
    codes = [(part.flags @ power).astype(int) for part in parts]
    every = np.unique(np.concatenate(codes))
    flags = np.concatenate([part.flags for part in parts])
    first = [int(np.flatnonzero(np.concatenate(codes) == code)[0]) for code in every]

    def wide(values: np.ndarray, code: np.ndarray) -> np.ndarray:
        out = np.zeros((len(values), len(every)))
        out[:, np.searchsorted(every, code)] = values
        return out

    pairs = list(zip(parts, codes, strict=True))
    return Exposure(
        base=np.concatenate([wide(part.base, code) for part, code in pairs]),
        driving=np.concatenate([wide(part.driving, code) for part, code in pairs]),
        silent=np.concatenate([part.silent for part in parts]),
        flags=flags[first],
    )
