"""Rate changes: by how much do the true wear rates of each pair move as time goes by?"""

from __future__ import annotations

import numpy as np

from solespan.synthetic_data.pairs import Floats, Pairs, Wearers
from solespan.synthetic_data.truth import Truth
from solespan.synthetic_data.wearing import wander

__all__ = ["draw_rate_shift"]

SLOW_RETURN = 0.999  # per week


def draw_rate_shift(
    truth: Truth,
    wearers: Wearers,
    pairs: Pairs,
    rng: np.random.Generator,
    *,
    log_end: int,
    last_day: int,
) -> Floats:
    """Log rate of each pair on each day, less what it usually is; shape (days, pairs).

    Rates wander by wearer, begun at nought, and those of some wearers jump once. Where neither
    happens the array is one row of zeros, as nothing moves.
    """
    if truth.rate_jump_share <= 0.0 and truth.sd_rate_week <= 0.0:
        return np.zeros((1, len(pairs)))
    n_days, n = last_day + 1, len(wearers)
    weekly = wander(rng, n_days // 7 + 1, n, SLOW_RETURN, truth.sd_rate_week)
    shift = (weekly - weekly[0])[np.arange(n_days) // 7]
    jumps = rng.random(n) < truth.rate_jump_share
    shift[max(log_end - truth.rate_jump_days, 0) :] += truth.rate_jump_log * jumps
    return np.asarray(shift[:, pairs.wearer])
