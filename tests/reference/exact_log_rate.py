"""What is the exact likelihood of y = a - exp(l) x + e, with l nested as shoe in pair in wearer?

The yardstick of the engine's approximation, written independently of it: a is integrated in closed
form, l over one grid for all, level by level. Agrees to 1e-7 with an adaptive Gauss-Hermite rule
(61 points) on the published one-level rows.
"""

from __future__ import annotations

from dataclasses import astuple, dataclass

import numpy as np
import pandas as pd

POINTS = 1201
BEYOND = 8.0  # SDs of all levels together, on either side of the mean


@dataclass(frozen=True)
class LogRates:
    """Mean and SD of the starts a, mean and SDs of the log rates l by level, SD of a reading.

    A level that is not there has the SD 0.
    """

    start: float
    log_rate: float
    sd_start: float
    shoe: float
    pair: float
    wearer: float
    resid: float


def log_likelihood(frame: pd.DataFrame, model: LogRates) -> float:
    """Exact log likelihood of rows with columns y, x, shoe, pair, wearer."""
    start, log_rate, sd_start, shoe, pair, wearer, resid = astuple(model)
    width = BEYOND * float(np.sqrt(shoe**2 + pair**2 + wearer**2))
    grid = log_rate + np.linspace(-width, width, POINTS)
    groups = frame.groupby(["wearer", "pair", "shoe"], sort=True)
    logs = np.array([_of_shoe(g, start, sd_start, resid, np.exp(grid)) for _, g in groups])
    keys = pd.DataFrame(list(groups.groups), columns=["wearer", "pair", "shoe"])
    for name, sd in (("shoe", shoe), ("pair", pair)):
        logs = _widened(logs, grid, sd)
        level = ["wearer", "pair"] if name == "shoe" else ["wearer"]
        member = keys.groupby(level, sort=True).ngroup().to_numpy()
        logs = np.array([logs[member == k].sum(axis=0) for k in range(member.max() + 1)])
        keys = keys.drop_duplicates(level)
    logs = _widened(logs, grid, wearer)
    middle = POINTS // 2
    return float(logs[:, middle].sum())


def _of_shoe(
    rows: pd.DataFrame, start: float, sd_start: float, resid: float, rate: np.ndarray
) -> np.ndarray:
    """Log density of a shoe's readings at each rate, the start integrated out."""
    off = rows["y"].to_numpy()[:, None] + rate * rows["x"].to_numpy()[:, None] - start
    n, within, whole = len(rows), resid**2, resid**2 + len(rows) * sd_start**2
    squares = np.square(off).sum(axis=0) - np.square(off.sum(axis=0)) * sd_start**2 / whole
    logs = n * np.log(2.0 * np.pi) + (n - 1) * np.log(within) + np.log(whole)
    return np.asarray(-0.5 * (squares / within + logs))


def _widened(logs: np.ndarray, grid: np.ndarray, sd: float) -> np.ndarray:
    """Log of the mean of exp(logs) under a normal about each point of the grid."""
    if sd == 0.0:
        return logs
    kernel = np.exp(-0.5 * np.square((grid[:, None] - grid) / sd))
    kernel *= (grid[1] - grid[0]) / (sd * np.sqrt(2.0 * np.pi))
    most = logs.max(axis=1, keepdims=True)
    return np.asarray(np.log(np.maximum(np.exp(logs - most) @ kernel, 1e-300)) + most)
