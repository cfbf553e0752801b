"""Grouped panel.

Are these loose columns a panel that can be fitted, and where does each group begin?

Checks at the door: lengths, numbers, missing values; rows of one group are brought together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from solespan.forecast.errors import BadFrame

__all__ = ["Panel", "panel"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]


@dataclass(frozen=True)
class Panel:
    """Checked columns with contiguous groups.

    `endog` (n,), `exog` (n, p), `slope` (n,) or None, `starts` (m,) the first row of each group,
    `labels` the m group labels in that order, `names` the p names of exog, `n_dropped` the rows
    left out because a value was missing.
    """

    endog: Floats
    exog: Floats
    slope: Floats | None
    starts: Ints
    labels: pd.Index
    names: tuple[str, ...]
    n_dropped: int


def panel(endog: object, exog: object, groups: object, slope: object) -> Panel:
    """Check the columns, drop rows with a missing value and gather each group's rows.

    Raises
    ------
    BadFrame
        Lengths differ, a value is not a number or is infinite, or nothing is left.
    """
    y = _numbers(endog, "endog", 1)
    x = _numbers(exog, "exog", 2)
    t = None if slope is None else _numbers(slope, "exog_slope", 1)
    named = [str(c) for c in exog.columns] if isinstance(exog, pd.DataFrame) else None
    names = tuple(named or (f"x{j}" for j in range(x.shape[1])))
    labels = np.asarray(groups)
    if labels.ndim != 1:
        raise BadFrame(f"groups: one label per row is needed, not an array of shape {labels.shape}")
    for name, column in (("exog", x), ("groups", labels), ("exog_slope", t)):
        if column is not None and len(column) != len(y):
            raise BadFrame(f"{name}: {len(column)} rows where endog has {len(y)}")
    keep = _complete(y, x, t, labels)
    n_dropped = 0
    if keep is not None:
        n_dropped = int(len(y) - keep.sum())
        y, x, labels = y[keep], x[keep], labels[keep]
        t = None if t is None else t[keep]
    if not len(y):
        raise BadFrame("endog: every row has a missing value; rows of two groups are needed")
    order, starts, kinds = _gather(labels)
    if order is not None:
        y, x = y[order], x[order]
        t = None if t is None else t[order]
    return Panel(y, x, t, starts, kinds, names, n_dropped)


def _numbers(values: object, name: str, dimensions: int) -> Floats:
    try:
        array = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as cause:
        raise BadFrame(f"{name}: not every value is a number ({cause})") from None
    if array.ndim != dimensions:
        raise BadFrame(f"{name}: shape {array.shape} where {dimensions} dimension(s) are needed")
    return array


def _complete(
    y: Floats, x: Floats, t: Floats | None, labels: npt.NDArray[np.generic]
) -> npt.NDArray[np.bool_] | None:
    """Tell which rows have every value; None if all have. An infinite value is an error."""
    columns = {"endog": y, "exog": x} | ({} if t is None else {"exog_slope": t})
    gaps = []
    for name, column in columns.items():
        with np.errstate(invalid="ignore", over="ignore"):
            if np.isfinite(column.sum()):  # one quick pass: any NaN or infinity would show
                continue
        by_row = column.reshape(len(column), -1)
        infinite = np.isinf(by_row).any(axis=1)
        if infinite.any():
            row = int(np.argmax(infinite))
            raise BadFrame(f"{name}: the value in row {row} is infinite; use a finite number")
        gaps.append(np.isnan(by_row).any(axis=1))
    if labels.dtype.kind not in "iub":
        gaps.append(np.asarray(pd.isna(labels), dtype=bool))
    missing = np.logical_or.reduce(gaps) if gaps else np.zeros(1, dtype=bool)
    return None if not missing.any() else np.logical_not(missing)


def _gather(labels: npt.NDArray[np.generic]) -> tuple[Ints | None, Ints, pd.Index]:
    """Find an order that makes groups contiguous (None if they are), first rows and labels."""
    begins = np.flatnonzero(np.concatenate(([True], labels[1:] != labels[:-1])))
    runs = labels[begins]
    codes, kinds = pd.factorize(runs)
    if len(kinds) == len(runs):
        return None, begins, pd.Index(runs)
    by_row = np.repeat(codes, np.diff(np.append(begins, len(labels))))
    order = np.argsort(by_row, kind="stable")
    counts = np.bincount(by_row, minlength=len(kinds))
    return order, np.cumsum(counts) - counts, pd.Index(kinds)
