"""How long does a random line per shoe take, beside mixedlm-rs, R's lme4 and statsmodels' MixedLM?

Six checks a shoe, REML, arrays in and a results object with standard errors out; ours also with the
predicted line and its variance of every shoe. The engines take turns in one run, so that what
else the machine does falls on all of them; ratios are medians over the turns. Peers that are not
installed are left out and named: `pip install mixedlm-rs`; Debian's r-base-core and r-cran-lme4.
"""

from __future__ import annotations

import importlib
import importlib.util
import shutil
import statistics
import subprocess
import tempfile
import time
import warnings
from collections.abc import Callable
from pathlib import Path

import numpy as np
from statsmodels.regression.mixed_linear_model import MixedLM

from solespan.forecast.linear.slopes import SlopesModel

Row = dict[str, object]
Panel = tuple[np.ndarray, np.ndarray, np.ndarray]
Estimates = tuple[float, ...]  # intercept, slope, their SDs, residual SD
CHECKS = 6
TURNS = {1_000: 9, 10_000: 7, 100_000: 7, 1_000_000: 5}
TURNS_LME4 = {1_000: 5, 10_000: 3, 100_000: 2}
SIZES_MIXEDLM = (1_000, 10_000)
AGREEMENT = 1e-4
AGREEMENT_MIXEDLM = 1e-3  # it stops at a gradient, not at a digit
AGREEMENT_LME4 = 1e-4

LME4 = """
suppressMessages(library(lme4)); a <- commandArgs(TRUE)
d <- readBin(a[1], "double", n = 3 * as.integer(a[2])); n <- length(d) / 3
f <- data.frame(y = d[1:n], x = d[(n + 1):(2 * n)], g = factor(d[(2 * n + 1):(3 * n)]))
for (i in seq_len(as.integer(a[3]))) {
  s <- proc.time()[["elapsed"]]
  m <- lmer(y ~ x + (x | g), f)
  cat(proc.time()[["elapsed"]] - s, "\n")
}
v <- attr(VarCorr(m)$g, "stddev")
cat(format(c(fixef(m), v, sigma(m)), digits = 15), "\n")
"""


def panel(shoes: int, *, shared: bool) -> Panel:
    """Thickness in mm (n,), standard wear days (n,) and shoe (n,) of simulated shoes."""
    rng = np.random.default_rng(shoes)
    shoe = np.repeat(np.arange(shoes), CHECKS)
    days = (
        np.tile(np.arange(CHECKS) * 20.0, shoes)
        if shared
        else np.sort(rng.uniform(0, 120, (shoes, CHECKS)), axis=1).ravel()
    )
    start, rate = rng.normal(0, 0.2, shoes), rng.normal(0, 0.008, shoes)
    noise = rng.normal(0, 0.12, shoes * CHECKS)
    return 5 + start[shoe] - (0.02 + rate[shoe]) * days + noise, days, shoe


def ours(thickness: np.ndarray, days: np.ndarray, shoe: np.ndarray) -> Estimates:
    """Fit by this project."""
    design = np.column_stack([np.ones_like(days), days])
    fitted = SlopesModel(thickness, design, shoe, days).fit()
    return (*fitted.params, *fitted.sd_re, fitted.resid_sd)


def ours_with_lines(thickness: np.ndarray, days: np.ndarray, shoe: np.ndarray) -> Estimates:
    """Fit by this project, and predict every shoe's line."""
    design = np.column_stack([np.ones_like(days), days])
    fitted = SlopesModel(thickness, design, shoe, days).fit()
    assert len(fitted.random_effects) == shoe[-1] + 1
    return (*fitted.params, *fitted.sd_re, fitted.resid_sd)


def mixedlm_rs(thickness: np.ndarray, days: np.ndarray, shoe: np.ndarray) -> Estimates:
    """Fit by mixedlm-rs through its arrays, the faster of its two doors."""
    model = importlib.import_module("mixedlm_rs").MixedLM
    design = np.column_stack([np.ones_like(days), days])
    fitted = model(thickness, design, shoe, exog_re=design).fit()
    return (*fitted.fe_params, *np.sqrt(np.diag(fitted.cov_re)), float(np.sqrt(fitted.scale)))


def mixedlm(thickness: np.ndarray, days: np.ndarray, shoe: np.ndarray) -> Estimates:
    """Fit by statsmodels."""
    design = np.column_stack([np.ones_like(days), days])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fitted = MixedLM(thickness, design, shoe, exog_re=design).fit()
    return (*fitted.fe_params, *np.sqrt(np.diag(fitted.cov_re)), float(np.sqrt(fitted.scale)))


def lme4(data: Panel, turns: int) -> tuple[list[float], Estimates]:
    """Fit by R's lme4, several times in one process; seconds of lmer alone, start-up left out."""
    with tempfile.TemporaryDirectory() as folder:
        script, numbers = Path(folder) / "fit.R", Path(folder) / "panel.bin"
        script.write_text(LME4)
        np.concatenate([np.asarray(column, dtype=float) for column in data]).tofile(numbers)
        command = ["Rscript", str(script), str(numbers), str(len(data[0])), str(turns)]
        done = subprocess.run(command, check=True, capture_output=True, text=True)
    *seconds, estimates = done.stdout.strip().splitlines()
    return [float(s) for s in seconds], tuple(float(v) for v in estimates.split())


def has_lme4() -> bool:
    """Whether R with lme4 is installed."""
    if shutil.which("Rscript") is None:
        return False
    probe = ["Rscript", "-e", "quit(status = !requireNamespace('lme4', quietly = TRUE))"]
    return subprocess.run(probe, check=False, capture_output=True).returncode == 0


def take_turns(
    engines: dict[str, Callable[..., Estimates]], data: Panel, turns: int
) -> tuple[dict[str, list[float]], dict[str, Estimates]]:
    """Seconds of each engine at each turn, after one warm-up, and its estimates."""
    estimates = {name: engine(*data) for name, engine in engines.items()}
    seconds: dict[str, list[float]] = {name: [] for name in engines}
    for _ in range(turns):
        for name, engine in engines.items():
            begun = time.perf_counter()
            engine(*data)
            seconds[name].append(time.perf_counter() - begun)
    return seconds, estimates


def agree(one: Estimates, other: Estimates, share: float, who: str) -> None:
    """Fail loudly where two engines have not found the same optimum."""
    off = np.abs(np.array(other) / np.array(one) - 1).max()
    if not off < share:
        raise RuntimeError(f"{who} differs by {off:.1e} where {share:.0e} is asked: {one}, {other}")


def run(quick: bool) -> list[Row]:
    """Rows of seconds and of median ratios, size by size."""
    has_rs, has_r = importlib.util.find_spec("mixedlm_rs") is not None, has_lme4()
    rows: list[Row] = []
    for shoes in TURNS if not quick else (1_000, 10_000):
        for shared in (False, True):
            rows += _size(shoes, shared=shared, has_rs=has_rs, has_r=has_r, quick=quick)
    absent = [n for n, has in (("mixedlm-rs", has_rs), ("R lme4", has_r)) if not has]
    if absent:
        rows.append(_row("peers left out", len(absent), "", f"not installed: {', '.join(absent)}"))
    return rows


def _size(shoes: int, *, shared: bool, has_rs: bool, has_r: bool, quick: bool) -> list[Row]:
    label = f"{shoes:,} shoes, {'one schedule' if shared else 'own days'}"
    data = panel(shoes, shared=shared)
    engines = {"ours": ours, "ours with lines": ours_with_lines}
    if has_rs:
        engines["mixedlm-rs"] = mixedlm_rs
    seconds, estimates = take_turns(engines, data, 3 if quick else TURNS[shoes])
    if not shared and shoes in SIZES_MIXEDLM[: 1 if quick else 2]:
        begun = time.perf_counter()
        theirs = mixedlm(*data)
        seconds["MixedLM"] = [time.perf_counter() - begun]
        agree(estimates["ours"], theirs, AGREEMENT_MIXEDLM, "MixedLM")
    if not shared and has_r and shoes in TURNS_LME4:
        seconds["lme4"], theirs_r = lme4(data, 1 if quick else TURNS_LME4[shoes])
        agree(estimates["ours"], theirs_r, AGREEMENT_LME4, "lme4")
    if has_rs:
        agree(estimates["ours"], estimates["mixedlm-rs"], AGREEMENT, "mixedlm-rs")
    rows = [
        _row(f"{label}: {name}", statistics.median(s), "s", f"least {min(s):.4g}, {len(s)} turns")
        for name, s in seconds.items()
    ]
    peers = [peer for peer in ("mixedlm-rs", "lme4", "MixedLM") if peer in seconds]
    return rows + [_ratio(label, peer, seconds) for peer in peers]


def _ratio(label: str, peer: str, seconds: dict[str, list[float]]) -> Row:
    """Time of the peer over ours: turn by turn where both took turns, else of the medians."""
    mine, theirs = seconds["ours"], seconds[peer]
    if peer == "mixedlm-rs":
        ratio = statistics.median(t / m for t, m in zip(theirs, mine, strict=True))
        with_lines = statistics.median(
            t / m for t, m in zip(theirs, seconds["ours with lines"], strict=True)
        )
        note = f"median of turns; {with_lines:.3g} with every shoe's line"
    else:
        ratio = statistics.median(theirs) / statistics.median(mine)
        note = "of medians"
    return _row(f"{label}: {peer} over ours", ratio, "times", note)


def _row(name: str, value: float, unit: str, note: str) -> Row:
    return {"name": name, "value": float(value), "unit": unit, "note": note}
