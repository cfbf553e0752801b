"""Does whitening rank by rank give what one dense matrix per path would give?"""

from __future__ import annotations

import numpy as np
import pytest

from solespan.forecast.model.process_noise_filter import whiten
from solespan.forecast.panel.ranks import by_rank

PROCESS_MM = 0.02
WIDTH = 5


def drawn(counts: np.ndarray) -> tuple[np.ndarray, ...]:
    """Random rows (one column empty), wear that grows within each path, variances, paths."""
    rng = np.random.default_rng(7)
    path = np.repeat(np.arange(len(counts)), counts)
    rows = rng.normal(size=(WIDTH, len(path)))
    rows[1] = 0.0
    wear = np.concatenate([np.sort(rng.uniform(0, 3, n)) for n in counts])
    return rows, wear, rng.uniform(0.01, 0.1, len(path)), path


@pytest.mark.parametrize(
    "counts",
    [
        pytest.param(np.array([3, 0, 7, 1, 7]), id="uneven, one without rows"),
        pytest.param(np.full(6, 4), id="even"),
        pytest.param(np.arange(500) % 5, id="many paths"),
        pytest.param(np.zeros(2, int), id="no rows at all"),
    ],
)
def test_products_and_log_determinants_are_those_of_the_dense_covariance(counts) -> None:
    rows, wear, variance, path = drawn(counts) if counts.any() else _nothing()
    got = whiten(rows, wear, variance, by_rank(path, len(counts)), PROCESS_MM)
    log_det = 0.0
    for k in range(len(counts)):
        at = path == k
        cov = PROCESS_MM * np.minimum.outer(wear[at], wear[at]) + np.diag(variance[at])
        inverse = np.linalg.inv(cov)
        np.testing.assert_allclose(got.gram[..., k], rows[:, at] @ inverse @ rows[:, at].T, 1e-9)
        log_det += np.linalg.slogdet(cov)[1]
        if at.any():
            end = PROCESS_MM * wear[at]  # covariance of the walk at the last row with all rows
            np.testing.assert_allclose(got.state[:, k], rows[:, at] @ (inverse @ end), 1e-9)
            remains = PROCESS_MM * wear[at][-1] - end @ inverse @ end
            assert got.process_mm2[k] == pytest.approx(remains, rel=1e-9)
    assert got.log_det == pytest.approx(log_det, rel=1e-9, abs=1e-12)


def _nothing() -> tuple[np.ndarray, ...]:
    return np.zeros((WIDTH, 0)), np.zeros(0), np.zeros(0), np.zeros(0, int)
