"""How long does the full nested log-rate model take, beside lme4's linear nested relative?

Three pairs a wearer, six gauge checks a shoe, every wear day logged (`synthetic_data.panel`). Ours:
log to arrays, then the fit of all that `WearModel` learns, use included. lme4's relative has what
a linear formula can say: one slope for all, random slopes of wearer, pair and shoe, a random start
of each shoe. Both by the clock, ours on two cores; seconds of the processor stand beside, as they
say more on a busy machine. Without R the peer is left out and named, without memory the million.
"""

from __future__ import annotations

import itertools
import os
import resource
import subprocess
import tempfile
import time
from pathlib import Path

import numpy as np

from solespan.forecast import WearModel, wear_log
from solespan.forecast.panel.panel import Panel
from solespan.synthetic_data.panel import panel
from tests.benchmarks.bench_linear import has_lme4

Row = dict[str, object]
SHOES = (10_000, 100_000, 1_000_000)
JUDGED = 100_000  # the bars are at this size, and at ten times it
MILLION_GIB = 18.0  # the log of a million shoes as data frames, mostly
SHOES_PER_WEARER = 6
AS_OF = "2026-11-23"
SHARE_OF_LME4 = 1.0 / 3.0

LME4 = """
suppressMessages(library(lme4)); a <- commandArgs(TRUE)
d <- matrix(readBin(a[1], "double", n = 5 * as.integer(a[2])), ncol = 5)
f <- data.frame(y = d[, 1], x = d[, 2], w = factor(d[, 3]), p = factor(d[, 4]), s = factor(d[, 5]))
s <- proc.time()[["elapsed"]]
m <- lmer(y ~ x + (0 + x | w) + (0 + x | p) + (x || s), f)
cat(proc.time()[["elapsed"]] - s, "\\n")
"""


def lme4_seconds(data: Panel) -> float:
    """Seconds of lmer alone on the same readings, exposure in hundreds of wear days."""
    worn = data.exposure.base.sum(axis=1)[data.obs_target] / 100.0
    use = np.isfinite(data.obs_mm)
    shoe = data.obs_path
    lost = data.obs_mm - data.nominal_mm[shoe]
    columns = np.array([lost, worn, data.path_wearer[shoe], data.path_pair[shoe], shoe])[:, use]
    with tempfile.TemporaryDirectory() as folder:
        script, numbers = Path(folder) / "fit.R", Path(folder) / "panel.bin"
        script.write_text(LME4)
        columns.astype(float).tofile(numbers)
        command = ["Rscript", str(script), str(numbers), str(columns.shape[1])]
        done = subprocess.run(command, check=True, capture_output=True, text=True)
    return float(done.stdout.split()[-1])


def run(quick: bool) -> list[Row]:
    """Rows of seconds by size, of growth with size, and of the share of lme4's time."""
    room = os.sysconf("SC_AVPHYS_PAGES") * os.sysconf("SC_PAGE_SIZE") / 1024**3
    sizes = SHOES[:1] if quick else SHOES if room >= MILLION_GIB else SHOES[:2]
    rows: list[Row] = []
    seconds: dict[int, float] = {}
    for shoes in sizes:
        told, seconds[shoes], data = _ours(shoes)
        rows += told
        if shoes <= JUDGED and has_lme4():
            rows += _beside_lme4(shoes, seconds[shoes], lme4_seconds(data))
        most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2
        note = "bar 4" if shoes == JUDGED else ""
        rows.append(_row(f"{shoes:,} shoes: memory at most, log included", most, "GiB", note))
    for less, more in itertools.pairwise(sizes):
        note = "at most 11" if less == JUDGED else ""
        growth = seconds[more] / seconds[less]
        rows.append(_row(f"{more:,} shoes over {less:,}", growth, "times the clock", note))
    if not has_lme4():
        rows.append(_row("peers left out", 1, "", "not installed: R lme4 (r-cran-lme4)"))
    if len(sizes) == len(SHOES) - 1:
        rows.append(_row("million left out", room, "GiB free", f"needs {MILLION_GIB:g}"))
    return rows


def _ours(shoes: int) -> tuple[list[Row], float, Panel]:
    """Rows of one fit, its seconds by the clock, and its panel."""
    log = wear_log(**panel(shoes // SHOES_PER_WEARER, np.random.default_rng(shoes))[0])
    cpu, clock = time.process_time(), time.perf_counter()
    model = WearModel(log, AS_OF)
    arrays_s = time.perf_counter() - clock
    fitted = model.fit()
    cpu, clock = time.process_time() - cpu, time.perf_counter() - clock
    note = f"{cpu:.1f} s of the processor; {fitted.rounds} rounds"
    rows = [
        _row(f"{shoes:,} shoes: log to arrays", arrays_s, "s", ""),
        _row(f"{shoes:,} shoes: fit, arrays included", clock, "s", note),
    ]
    return rows, clock, model.panel


def _beside_lme4(shoes: int, ours: float, theirs: float) -> list[Row]:
    share, note = ours / theirs, ""
    if shoes == JUDGED:
        note = f"bar 1/3: {'met' if share <= SHARE_OF_LME4 else 'NOT MET'}"
    return [
        _row(f"{shoes:,} shoes: lme4's linear relative", theirs, "s", "one core"),
        _row(f"{shoes:,} shoes: ours over lme4", share, "", note),
    ]


def _row(name: str, value: float, unit: str, note: str) -> Row:
    return {"name": name, "value": float(value), "unit": unit, "note": note}
