"""Other conditions of a wear day: which days of a world have them, and what does each count?

A logged covariate with no process of its own is drawn by chance, independent of all else.
"""

from __future__ import annotations

import numpy as np

from solespan.forecast.frames import CONDITIONS, TABLES
from solespan.synthetic_data.pairs import Floats
from solespan.synthetic_data.truth import Truth

__all__ = ["draw_others", "factor_of_others"]


def draw_others(truth: Truth, n: int, rng: np.random.Generator) -> dict[str, np.ndarray]:
    """Draw the logged columns of the other conditions, each of shape (n,), by column name."""
    names = dict(truth.other_factors)
    drawn: dict[str, np.ndarray] = {}
    for condition in CONDITIONS:
        if condition.name not in names:
            continue
        column = TABLES["wear_days"].by_name[condition.column]
        values = drawn.setdefault(column.name, np.full(n, column.default, dtype=object))
        values[rng.random(n) < truth.condition_share] = condition.value
    return {
        name: values.astype(bool) if TABLES["wear_days"].by_name[name].kind == "flag" else values
        for name, values in drawn.items()
    }


def factor_of_others(truth: Truth, drawn: dict[str, np.ndarray], n: int) -> Floats:
    """Multiply the factors of the conditions that hold, shape (n,)."""
    factors = dict(truth.other_factors)
    out = np.ones(n)
    for condition in CONDITIONS:
        if condition.name in factors:
            held = drawn[condition.column] == condition.value
            out = out * np.where(held, factors[condition.name], 1.0)
    return out
