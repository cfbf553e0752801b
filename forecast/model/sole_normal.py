"""Joint posterior of one sole.

What is the joint normal of everything that bears on some paths of one sole?

`forecast.model.sole_state` answers this for two quantities of very many soles at once. Here one
sole is written out in full, so that it answers any linear question. Examples are thickness on any
day, a future reading, and the wearer's own effect.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from solespan.forecast.model.block_elimination import Level
from solespan.forecast.model.hierarchy import Posterior
from solespan.forecast.model.inner_loop import Modes
from solespan.forecast.model.parameter_layout import INTERFACE, PATH
from solespan.forecast.panel.panel import THUMB, Panel

__all__ = ["SoleNormal", "log_rate_effects", "sole_normal", "thumb_shifts"]

_RATE = INTERFACE.index("log_rate")


@dataclass(frozen=True)
class SoleNormal:
    """Posterior of the unknowns that some paths of one sole share, and of their interface values.

    names : tuple of str
        The shared unknowns: of the sole, the pair, the wearer and the population.
    mean, cov : ndarray, shape (shared,), (shared, shared)
        Deviations from the prior means.
    interface_cov : ndarray, shape (paths, 12, paths, 12)
        Covariance of the interface values of the paths; their means are the model's modes.
    """

    names: tuple[str, ...]
    mean: np.ndarray
    cov: np.ndarray
    interface_cov: np.ndarray

    def effect(self, weights: dict[str, float]) -> tuple[float, float]:
        """Mean and SD of a weighted sum of shared unknowns; names it does not have count as 0."""
        row = np.array([weights.get(name, 0.0) for name in self.names])
        return float(row @ self.mean), float(np.sqrt(row @ self.cov @ row))


def log_rate_effects(panel: Panel, at: Modes, sole: int) -> dict[str, tuple[float, float]]:
    """Mean and SD of what acts on the log rate of a sole's ball; see `Conditioned.effects`."""
    ball = np.flatnonzero((panel.path_sole == sole) & (panel.path_point == 0))
    normal = sole_normal(panel, at.posterior, ball)
    pace = float(panel.unlogged[panel.sole_pair[sole]])
    rate = at.value[_RATE, ball]
    cov = normal.interface_cov[:, _RATE, :, _RATE]
    foot_sd = float(np.sqrt(max(cov[0, 0] + cov[1, 1] - 2 * cov[0, 1], 0.0)))
    return {
        "wearer": normal.effect({"wearer": 1.0, "wearer_pace": pace}),
        "pair": normal.effect({"pair": 1.0, "pace": pace}),
        "sole": normal.effect({"sole": 1.0}),
        "foot": (float(rate[0] - rate[1]), foot_sd),
    }


def thumb_shifts(panel: Panel, at: Modes) -> tuple[np.ndarray, np.ndarray]:
    """Mean and SD of wearers' thumb shifts at the usual limit; see `Conditioned.thumb_shift`."""
    mean, sd = np.full((2, len(panel.wearer_ids)), np.nan)
    pressed = panel.obs_path[panel.obs_kind == THUMB]
    wearers, first = np.unique(panel.path_wearer[pressed], return_index=True)
    before = dict(zip(at.posterior.layout.population, at.posterior.layout.prior_mean, strict=True))
    weights = {"thumb": 1.0, "thumb_shift_mm": 1.0}
    for wearer, path in zip(wearers, pressed[first], strict=True):
        normal = sole_normal(panel, at.posterior, np.array([path]))
        moved, sd[wearer] = normal.effect(weights)
        mean[wearer] = before.get("thumb_shift_mm", 0.0) + moved
    return mean, sd


def sole_normal(panel: Panel, posterior: Posterior, paths: np.ndarray) -> SoleNormal:
    """Write out the joint normal of some paths of one sole."""
    layout = posterior.layout
    sole = panel.path_sole[paths[0]]
    pair = panel.sole_pair[sole]
    levels = (
        _member(posterior.wearer, panel.pair_wearer[pair]),
        _member(posterior.pair, pair),
        _member(posterior.sole, sole),
    )
    mean = posterior.population_mean[:, None]
    cov = posterior.population_cov[:, :, None]
    for level in levels:
        cov = level.covariance(cov)
        mean = np.concatenate([level.means(mean), mean])
    shared_mean, shared = mean[:, 0], cov[:, :, 0]

    own = len(PATH)
    width = len(INTERFACE)
    put = np.zeros((width, own))
    put[layout.column[:own], range(own)] = 1.0
    through, alone = [], []
    for path in paths:
        level = _member(posterior.path, path)
        onto = np.zeros((width, len(shared)))
        onto[layout.column[own:], range(len(shared))] = layout.weight[own:, path]
        moved = level.responses(np.eye(width)[:, :, None])[:, :, 0]
        through.append((np.eye(width) + put @ moved) @ onto)
        free = level.covariance(np.zeros((width, width, 1)))[:own, :own, 0]
        alone.append(put @ free @ put.T)
    joined = np.concatenate(through)
    interface_cov = (joined @ shared @ joined.T).reshape(len(paths), width, len(paths), width)
    for i, block in enumerate(alone):
        interface_cov[i, :, i] += block
    return SoleNormal(layout.names[own:], shared_mean, shared, interface_cov)


def _member(level: Level, place: int) -> Level:
    """One member of a level."""
    return Level([row[:, [place]] for row in level.rows], level.pivots[:, [place]])
