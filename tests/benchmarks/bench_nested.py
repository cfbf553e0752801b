"""How long does the full nested log-rate model take, beside lme4's linear nested relative?

Three pairs a wearer, six gauge checks a shoe, every wear day logged (`synthetic_data.panel`). Ours:
log to arrays, then the fit of all that `WearModel` learns, use included. lme4's relative has what
a linear formula can say: one slope for all, random slopes of wearer, pair and shoe, a random start
of each shoe. Seconds of the processor (ours: children and threads included; R's: elapsed, on one
core), so that what else the machine does weighs less. Without R the peer is left out and named.
"""

from __future__ import annotations

import resource
import subprocess
import tempfile
import time
from pathlib import Path

import numpy as np

from forecast import WearModel, wear_log
from forecast.panel import Panel
from synthetic_data.panel import panel
from tests.benchmarks.bench_linear import has_lme4

Row = dict[str, object]
SHOES = (10_000, 100_000)
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
    sizes, peer = (SHOES[:1] if quick else SHOES), has_lme4()
    rows: list[Row] = []
    seconds: dict[int, float] = {}
    for shoes in sizes:
        log = wear_log(**panel(shoes // SHOES_PER_WEARER, np.random.default_rng(shoes))[0])
        label = f"{shoes:,} shoes"
        begun, wall = time.process_time(), time.perf_counter()
        model = WearModel(log, AS_OF)
        arrays_s = time.process_time() - begun
        fitted = model.fit()
        seconds[shoes] = time.process_time() - begun
        note = f"{time.perf_counter() - wall:.1f} s by the clock; {fitted.rounds} rounds"
        rows.append(_row(f"{label}: log to arrays", arrays_s, "s", "processor"))
        rows.append(_row(f"{label}: fit, arrays included", seconds[shoes], "s", note))
        if peer:
            theirs = lme4_seconds(model.panel)
            rows.append(_row(f"{label}: lme4's linear relative", theirs, "s", "elapsed"))
            share = seconds[shoes] / theirs
            bar = "met" if share <= SHARE_OF_LME4 else "NOT MET"
            rows.append(_row(f"{label}: ours over lme4", share, "", f"bar 1/3: {bar}"))
    if len(sizes) > 1:
        growth = seconds[sizes[1]] / seconds[sizes[0]]
        rows.append(_row("ten times the shoes", growth, "times the seconds", "at most 11"))
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2
    rows.append(_row("memory at most", most, "GiB", "bar 4 at 100,000 shoes"))
    if not peer:
        rows.append(_row("peers left out", 1, "", "not installed: R lme4 (r-cran-lme4)"))
    return rows


def _row(name: str, value: float, unit: str, note: str) -> Row:
    return {"name": name, "value": float(value), "unit": unit, "note": note}
