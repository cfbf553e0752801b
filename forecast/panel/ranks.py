"""Ranks of observations: in which order are the rows of all paths taken at once?

The first row of every path comes first, then the second, and so on. Paths with most rows come
first, so each rank is one stretch of neighbouring numbers.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

__all__ = ["Ranks", "by_rank"]


@dataclass(frozen=True)
class Ranks:
    """In which order rows are taken.

    order : ndarray of int, shape (observations,)
        Rows, by rank.
    front, back : ndarray of int, shape (n,)
        Paths, those with most rows in front; and where each path went.
    many : list of int
        How many paths have a row of each rank.
    """

    order: np.ndarray
    front: np.ndarray
    back: np.ndarray
    many: list[int]


def by_rank(path: np.ndarray, n_paths: int) -> Ranks:
    """Lay out the ranks of rows.

    Parameters
    ----------
    path : ndarray of int, shape (observations,)
        Path of each row: sorted; within a path in the order of wear.
    """
    counts = np.bincount(path, minlength=n_paths)
    front = np.argsort(-counts, kind="stable")
    back = np.empty(n_paths, int)
    back[front] = np.arange(n_paths)
    first = (np.cumsum(counts) - counts)[front]
    many = np.searchsorted(-counts[front], -np.arange(counts.max(initial=0))).tolist()
    parts = [first[:m] + rank for rank, m in enumerate(many)]
    return Ranks(np.concatenate([np.zeros(0, int), *parts]), front, back, many)
