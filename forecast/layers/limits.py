"""Limits of layers: at which thickness is a layer renewed, where nobody set a limit of its own?

One rule serves the forecast, the quote, the forms, the import and the advice whom to ask. Workshop
custom (common practice, no source).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pandas as pd

from solespan.forecast.frames import MATERIALS, WEARING_POINTS
from solespan.forecast.layers.thickness import (
    LEATHERS,
    LIGHT_KINDS,
    are_guards,
    other_thickness_mm,
)

__all__ = [
    "DEFAULT_LIMIT_MM",
    "GUARD_LIMIT_MM",
    "OTHER_LIMIT_MM",
    "ball_limits_mm",
    "default_limit_mm",
    "default_limits_mm",
    "lug_limit_mm",
]

# By material and point, mm.
DEFAULT_LIMIT_MM: dict[str, dict[str, float]] = {
    "oak_bark_leather": {"ball": 2.0, "toe": 2.0, "heel": 2.0},
    "veg_tan_leather": {"ball": 2.0, "toe": 2.0, "heel": 2.0},
    "flexible_leather": {"ball": 2.0, "toe": 2.0, "heel": 2.0},
    "rubber": {"ball": 1.5, "toe": 1.5, "heel": 2.0},
    "studded_rubber": {"ball": 2.0, "toe": 2.0, "heel": 2.0},
    "lug_rubber": {"ball": 3.0, "toe": 3.0, "heel": 2.0},
    "crepe": {"ball": 2.0, "toe": 2.0, "heel": 2.0},
    "microcellular": {"ball": 3.0, "toe": 3.0, "heel": 2.0},
}
# Leather at the ball: two fifths of the new sole, within these two, mm.
LEAST_LEATHER_MM, MOST_LEATHER_MM, LEATHER_SHARE = 1.2, 2.0, 0.4
GUARD_LIMIT_MM = 0.4
MIDSOLE_LIMIT_MM = 1.5  # most of a leather outsole over a midsole: below it the seam is cut
TOP_PIECE_SHARE = 1 / 2  # of a top piece thinner than 4 mm: the usual 2 mm would end it new
LUG_HEIGHT_MM, LUG_LEFT_MM = 4.0, 1.0  # of a new lug unit, and where its grip is gone
# Layers that no forecast follows, mm.
OTHER_LIMIT_MM = {"midsole": 1.5, "top_piece": 2.0, "toe_piece": 2.0, "guard": GUARD_LIMIT_MM}

_USUAL = np.array([[DEFAULT_LIMIT_MM[m][p] for p in WEARING_POINTS] for m in MATERIALS])
_LEATHER = np.isin(MATERIALS, LEATHERS)
_LUG = MATERIALS.index("lug_rubber")
_BALL, _TOE, _HEEL = (WEARING_POINTS.index(point) for point in ("ball", "toe", "heel"))


def default_limits_mm(
    material: np.ndarray,
    point: np.ndarray,
    new_mm: np.ndarray,
    guard: np.ndarray,
    light: np.ndarray | None = None,
    *,
    midsole: np.ndarray | None = None,
    heel_mm: np.ndarray | None = None,
) -> np.ndarray:
    """Thickness at which points of layers should be repaired, in mm.

    Parameters
    ----------
    material, point : ndarray of int
        Places in `frames.MATERIALS` and `frames.WEARING_POINTS`.
    new_mm : ndarray
        Thickness of the layer when new; NaN = the usual one.
    guard : ndarray of bool
        Whether the layer is a guard over the sole.
    light : ndarray of bool, optional
        Whether the pair is women's or children's: its thin toe has the limit of its ball.
    midsole : ndarray of bool, optional
        Whether a midsole was logged below the layer.
    heel_mm : ndarray, optional
        Thickness of the top piece when new; without it the usual one.
    """
    thin_toe = (point == _TOE) & (False if light is None else light)
    usual = _USUAL[material, point]
    leather = np.clip(LEATHER_SHARE * new_mm, LEAST_LEATHER_MM, MOST_LEATHER_MM)
    if midsole is not None:
        leather = np.where(midsole, np.minimum(leather, MIDSOLE_LIMIT_MM), leather)
    heel = usual if heel_mm is None else np.minimum(usual, TOP_PIECE_SHARE * heel_mm)
    # the lugs' grip is gone before the base has a hole
    lug = np.maximum(usual, new_mm - LUG_HEIGHT_MM + LUG_LEFT_MM)
    known = ~np.isnan(new_mm)
    rules = [
        point == _HEEL,
        ~known,
        guard,
        ((point == _BALL) | thin_toe) & _LEATHER[material],
        material == _LUG,
    ]
    return np.select(rules, [heel, usual, np.full_like(usual, GUARD_LIMIT_MM), leather, lug], usual)


def lug_limit_mm(base_mm: np.ndarray | float, new_mm: np.ndarray | float) -> np.ndarray:
    """Thickness at which lugs have lost their grip, where the base below them was measured.

    Parameters
    ----------
    base_mm : ndarray or float
        Thickness read less the height of the lugs read; the base wears only after the lugs.
    new_mm : ndarray or float
        Thickness of the whole unit when new, which the limit does not exceed.
    """
    return np.asarray(np.minimum(base_mm + LUG_LEFT_MM, new_mm))


def ball_limits_mm(soles: pd.DataFrame) -> np.ndarray:
    """Thickness at which the ball of each sole should be repaired, columns of `frames.SOLES`."""
    new = soles["nominal_thickness_mm"].to_numpy(float)
    known = [MATERIALS.index(m) if m in MATERIALS else -1 for m in soles["material"]]
    cover = soles["cover"] if "cover" in soles else [None] * len(soles)
    code = np.array(known, dtype=np.int64)
    at_ball = np.full(len(code), _BALL)
    guard = are_guards(soles["material"].to_numpy(object), new, list(cover))
    return np.where(code < 0, np.nan, default_limits_mm(code, at_ball, new, guard))


@lru_cache(maxsize=4096)
def default_limit_mm(
    material: str,
    point: str,
    new_mm: float | None = None,
    cover: str | None = None,
    kind: str | None = None,
    midsole: bool = False,
    heel_mm: float | None = None,
) -> float:
    """Thickness at which a point of one layer should be repaired, in mm.

    Parameters
    ----------
    material, point, cover, kind : words of `forecast.frames`.
    new_mm : float, optional
        Thickness of the layer when new; without it the usual one.
    midsole, heel_mm : as of `default_limits_mm`; without a top piece that of the kind.
    """
    top_mm = other_thickness_mm("top_piece", kind) if heel_mm is None else heel_mm
    new = np.array([np.nan if new_mm is None else new_mm])
    return float(
        default_limits_mm(
            np.array([MATERIALS.index(material)]),
            np.array([WEARING_POINTS.index(point)]),
            new,
            are_guards([material], new, [cover]),
            np.array([kind in LIGHT_KINDS]),
            midsole=np.array([midsole]),
            heel_mm=np.array([top_mm]),
        )[0]
    )
