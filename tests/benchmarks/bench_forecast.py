"""How long do forecasts of many pairs take, and of one wearer after a new check?

A fit of some hundred wearers, then all quantiles of every pair of a large log from it, and one
wearer's again and again as the service does it: no refit, from a log of that wearer alone.
Seconds of the processor, and by the clock.
"""

from __future__ import annotations

import statistics
import time

import numpy as np

from solespan.forecast import WearFit, WearModel, forecast, wear_log
from solespan.forecast.log import WearLog
from solespan.synthetic_data.panel import PAIRS_PER_WEARER, panel

Row = dict[str, object]
PAIRS = (10_000, 100_000)
FITTED_WEARERS = 600
UPDATES = 60
AS_OF = "2026-11-23"
BAR_100_000_S, BAR_UPDATE_MS = 20.0, 10.0


def run(quick: bool) -> list[Row]:
    """Rows of seconds by number of pairs, and of milliseconds of one update."""
    rows: list[Row] = []
    for pairs in PAIRS[:1] if quick else PAIRS:
        log = wear_log(**panel(-(-pairs // PAIRS_PER_WEARER), np.random.default_rng(pairs))[0])
        some = log.of_wearers(log.wearers["wearer_id"][:FITTED_WEARERS])
        fitted = WearModel(some, AS_OF).fit()
        forecast(fitted, some, AS_OF)
        cpu, clock = time.process_time(), time.perf_counter()
        count = len(forecast(fitted, log, AS_OF))
        cpu, clock = time.process_time() - cpu, time.perf_counter() - clock
        note = f"{clock:.1f} s by the clock, two threads; {count:,} rows"
        if pairs == PAIRS[1]:
            note += f"; bar {BAR_100_000_S:g} by the clock"
        rows.append(_row(f"{pairs:,} pairs: forecasts", cpu, "s", note))
        if pairs == PAIRS[0]:
            rows += _updates(fitted, log)
    return rows


def _updates(fitted: WearFit, log: WearLog) -> list[Row]:
    ids = log.wearers["wearer_id"][:UPDATES]
    alone = [log.of_wearers([wearer]) for wearer in ids]
    spent, passed = [], []
    for one in alone:
        cpu, clock = time.process_time(), time.perf_counter()
        forecast(fitted, one, AS_OF)
        spent.append(1e3 * (time.process_time() - cpu))
        passed.append(1e3 * (time.perf_counter() - clock))
    note = f"median of {UPDATES}; {statistics.median(passed):.1f} by the clock, "
    note += f"least {min(spent):.1f}; bar {BAR_UPDATE_MS:g}"
    return [_row("one wearer's update", statistics.median(spent), "ms", note)]


def _row(name: str, value: float, unit: str, note: str) -> Row:
    return {"name": name, "value": float(value), "unit": unit, "note": note}
