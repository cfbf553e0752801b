"""Wear curve: how thick is one path on any day, and how does that move with what is unknown?"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from solespan.forecast.covariates import COVARIATES
from solespan.forecast.log import WearLog
from solespan.forecast.model.inner_loop import Modes
from solespan.forecast.model.linearise import effective_exposure
from solespan.forecast.model.parameter_layout import INTERFACE, PAST, SILENT, TREND
from solespan.forecast.model.sole_normal import sole_normal
from solespan.forecast.model.sole_state import Evidence, future_variance
from solespan.forecast.panel.exposure import (
    count_exposure,
    day_rows,
    days_of,
    silent_days,
    silent_gaps,
)
from solespan.forecast.panel.foot_pairs import FootPairs
from solespan.forecast.panel.panel import Panel
from solespan.forecast.panel.rate_ages import aged, older_shares
from solespan.forecast.panel.wear_cells import days_where
from solespan.forecast.priors import PACKING_DAYS

__all__ = ["NextReading", "ThicknessNormal", "WearCurves", "multipliers_of"]

_FROM = len(INTERFACE) - len(COVARIATES)
_RATE, _GAUGE, _THUMB = (INTERFACE.index(name) for name in ("log_rate", "gauge", "thumb"))


@dataclass(frozen=True)
class ThicknessNormal:
    """Joint normal of one path's thickness on n days, and of the log of its wear.

    mean_mm : ndarray, shape (n,)
    cov : ndarray, shape (n + 1, n + 1)
        Of the thickness by day and, last, the log wear.
    wear_mm : ndarray, shape (n,)
        Expected wear.
    """

    path: int
    mean_mm: np.ndarray
    cov: np.ndarray
    wear_mm: np.ndarray


@dataclass(frozen=True)
class NextReading:
    """A reading of one ball that has not been taken yet.

    foot : int
    thumb : bool
    covariance : ndarray, shape (4,) or (5,)
        With the quantities of `SoleState`.
    variance_mm2 : float
        Without the error of the reading.
    shift_mm : float
        How much thicker than it is this wearer's thumb feels it.
    """

    foot: int
    thumb: bool
    covariance: np.ndarray
    variance_mm2: float
    shift_mm: float


@dataclass(frozen=True)
class _Worn:
    """Exposure at n moments.

    `x` (n,) are standard wear days, `slopes` (covariates, n) their derivatives by the log
    multipliers. `silent` (n,) are wear days that habit would have put into silent gaps. `older`
    (n, steps) are the shares of the wear days beyond each edge of `rate_ages`.
    """

    x: np.ndarray
    slopes: np.ndarray
    silent: np.ndarray
    older: np.ndarray


@dataclass(frozen=True)
class _Curve:
    """Thickness at n moments at the modes, its derivatives (12, n), and the wear in mm."""

    thickness_mm: np.ndarray
    columns: np.ndarray
    wear_mm: np.ndarray


def multipliers_of(at: Modes) -> np.ndarray:
    """Log multipliers of exposure at the modes, in the order of `COVARIATES`."""
    return np.asarray(at.value[_FROM:, 0])


@dataclass(frozen=True)
class WearCurves:
    """Thickness by day of the soles of a panel.

    panel, at
        The panel and where its unknowns stand.
    used : Evidence
        What is added to thickness by taking it that a pair is in use.
    process_mm : float
        Variance of wear per mm of expected wear.
    log : WearLog
        The wearers' log that the panel was made from.
    """

    panel: Panel
    at: Modes
    used: Evidence
    process_mm: float
    log: WearLog

    def thickness(self, sole: int, days: np.ndarray) -> list[ThicknessNormal]:
        """Joint normals of the thickness of a sole's paths; see `Conditioned.thickness`."""
        worn = self._worn_by(sole, days)
        paths = np.flatnonzero(self.panel.path_sole == sole)
        normal = sole_normal(self.panel, self.at.posterior, paths)
        out = []
        for i, path in enumerate(paths.tolist()):
            here = self._curve(path, worn)
            mean, columns, walk = self._smoothed(path, here)
            wears = np.zeros(len(INTERFACE))  # log rate, and the pace where nothing is logged
            wears[_RATE], wears[SILENT] = 1.0, float(self.panel.unlogged_path[path])
            every = np.column_stack([columns, wears])
            cov = every.T @ normal.interface_cov[i, :, i] @ every
            cov[:-1, :-1] += walk
            mean = self._given_use(path, mean, cov)
            out.append(ThicknessNormal(path, mean, cov, here.wear_mm))
        return out

    def readings(
        self, ball: FootPairs, size: int, ahead_years: np.ndarray | None
    ) -> tuple[np.ndarray, list[NextReading]]:
        """Covariance of the state of one ball, and of readings; see `Conditioned.readings`."""
        panel = self.panel
        paths = ball.both[:, 0]
        sole = int(panel.path_sole[paths[0]])
        end = np.array([panel.target_day[panel.path_end[paths[0]]]])
        worn = self._worn_by(sole, end)
        joint = sole_normal(panel, self.at.posterior, paths).interface_cov
        width = joint.shape[1]
        asked = np.zeros((size, 2, width))
        asked[4:, 0, SILENT] = 1.0
        seen = {}
        walk = np.zeros(size)
        for foot, path in enumerate(paths.tolist()):
            here = self._curve(path, worn)
            _, columns, left_over = self._smoothed(path, here)
            asked[2 * foot, foot, _RATE] = 1.0
            if ahead_years is not None:
                asked[2 * foot, foot, TREND] = 0.5 * ahead_years[0]
            asked[2 * foot + 1, foot] = columns[:, 0]
            asked[2 * foot + 1, foot, 1] += -1.0 - here.columns[1, 0]
            walk[2 * foot + 1] = left_over[0, 0]
            for thumb in (False, True):
                row = np.zeros((2, width))
                row[foot] = columns[:, 0]
                row[foot, _THUMB if thumb else _GAUGE] += 1.0
                seen[foot, thumb] = row
        on = 0.0
        if ahead_years is not None:
            on = float(future_variance(self.at.posterior.spread, ahead_years)[0])
            on *= float(panel.moving[panel.path_pair[paths[0]]])
        whole = joint.reshape(2 * width, 2 * width)
        flat = asked.reshape(size, -1)
        found = []
        for (foot, thumb), row in seen.items():
            every = np.concatenate([flat, row.reshape(1, -1)])
            cov = every @ whole @ every.T + np.diag([*walk, walk[2 * foot + 1]])
            cov[np.ix_([0, 2], [0, 2])] += on
            cov[-1, 2 * foot + 1] += walk[2 * foot + 1]
            cov[2 * foot + 1, -1] += walk[2 * foot + 1]
            for place, path in zip((1, 3), paths, strict=True):  # the pair is taken to be in use
                precision = float(self.used.precision[path])
                gain = cov[place] * precision / (1.0 + precision * cov[place, place])
                cov = cov - np.outer(gain, cov[place])
            shift = float(self.at.value[_THUMB, paths[foot]]) if thumb else 0.0
            found.append(NextReading(foot, thumb, cov[:-1, -1], float(cov[-1, -1]), shift))
        return cov[:-1, :-1], found

    def _worn_by(self, sole: int, days: np.ndarray) -> _Worn:
        """Exposure of one sole on the evening of some days, the last of them its own last day."""
        panel = self.panel
        pair = panel.sole_pair[sole]
        every = self.log.wear_days
        rows = np.flatnonzero((every["pair_id"] == panel.pair_ids[pair]).to_numpy(bool))
        of_pair = np.flatnonzero(panel.sole_pair == pair)
        day = days_of(every["worn_on"])[rows]
        on = of_pair[np.maximum(np.searchsorted(panel.sole_fitted[of_pair], day, "right") - 1, 0)]
        own = (on == sole) & (day >= panel.sole_fitted[sole]) & (day <= days[-1])
        taken = day_rows(days_where(every, rows[own]))
        one = np.zeros(int(own.sum()), int), np.zeros(len(days), int)
        exposure = count_exposure(taken, *one, days)
        older = older_shares(taken, *one, days, panel.as_of_day)
        x, slopes = effective_exposure(replace(panel, exposure=exposure), multipliers_of(self.at))
        return _Worn(x, slopes, self._silent(sole, days), older)

    def _silent(self, sole: int, days: np.ndarray) -> np.ndarray:
        """Unlogged wear by each day: the total at the sole's end, shared over unlogged days."""
        panel = self.panel
        ends = panel.path_end[panel.path_sole == sole]
        total = panel.exposure.silent[ends[0]]
        if total <= 0.0:
            return np.zeros(len(days))
        if panel.unlogged[panel.sole_pair[sole]]:
            passed = days - panel.sole_fitted[sole]
            return np.asarray(total * passed / max(passed[-1], 1))
        wearer = panel.pair_wearer[panel.sole_pair[sole]]
        mine = set(panel.pair_ids[panel.pair_wearer == wearer])
        wear_days = self.log.wear_days
        logged = days_of(wear_days.loc[wear_days["pair_id"].isin(mine), "worn_on"])
        of_wearer = panel.pair_wearer[panel.sole_pair] == wearer
        first = np.array([panel.sole_fitted[of_wearer].min()])
        gaps = silent_gaps(np.zeros(len(logged), int), logged, first, panel.as_of_day)
        fitted = np.full(len(days), panel.sole_fitted[sole])
        silent = silent_days(gaps, np.zeros(len(days), int), fitted, days)
        return np.asarray(total * silent / max(silent[-1], 1e-9))

    def _curve(self, path: int, worn: _Worn) -> _Curve:
        """Thickness of one path at some moments, and its derivatives, as the model has its line.

        A heel's newest top piece is younger than the sole, so exposure counts from its beginning.
        The model's line through exp(log rate) is steeper than the rate at the mode.
        """
        panel, value = self.panel, self.at.value[:, path]
        by_pace = bool(panel.unlogged_path[path])
        factor = float(np.exp(value[SILENT])) if by_pace else 1.0
        share = factor if by_pace else value[SILENT]
        x_target, slopes = effective_exposure(panel, multipliers_of(self.at))
        begin, end, silent = panel.path_begin[path], panel.path_end[path], panel.exposure.silent
        steps = value[PAST, None]
        aged_by = [aged(panel.target_older[[at]], steps) for at in (end, begin)]
        then, past = aged(worn.older, np.repeat(steps, len(worn.x), axis=1))
        x, gap = float(x_target[end] * aged_by[0][0][0]), float(silent[end])
        packed, past = worn.x, past * worn.x
        worn = replace(worn, x=worn.x * then, slopes=worn.slopes * then)
        if begin >= 0:
            before, ago = aged_by[1]
            x, gap = x - float(x_target[begin] * before[0]), gap - float(silent[begin])
            packed = np.maximum(packed - x_target[begin], 0.0)
            past = past - x_target[begin] * ago
            worn = replace(
                worn,
                x=np.maximum(worn.x - x_target[begin] * before, 0.0),
                slopes=np.maximum(worn.slopes - slopes[:, [begin]] * before, 0.0),
                silent=np.maximum(worn.silent - silent[begin], 0.0),
            )
        plain = float(np.exp(value[_RATE])) * max(x + float(share) * gap, 0.0)
        lift = float(self.at.lin.end_wear_mm[path]) / plain if plain > 0.0 else 1.0
        rate = np.exp(value[_RATE]) * lift
        wear = rate * np.maximum(worn.x + share * worn.silent, 0.0)
        columns = np.zeros((len(INTERFACE), len(worn.x)))
        columns[0] = 1.0
        columns[1] = -np.minimum(packed / PACKING_DAYS, 1.0)
        columns[PAST] = -rate * past
        columns[_RATE] = -wear
        columns[SILENT] = -rate * factor * worn.silent
        columns[_FROM:] = -rate * worn.slopes
        thickness = panel.nominal_mm[path] + value[0] + columns[1] * value[1] - wear
        return _Curve(thickness, columns, wear)

    def _smoothed(self, path: int, here: _Curve) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Thickness of one path at some moments given all its checks, process noise included.

        Given the interface values, wear beyond its expectation is a random walk in expected wear,
        seen through the path's own checks. Its mean is linear in the interface values.

        Returns
        -------
        mean_mm : ndarray, shape (n,)
        columns : ndarray, shape (12, n)
            How the thickness moves with the interface values, the walk following.
        variance_mm2 : ndarray, shape (n, n)
            Covariance of the walk that remains.
        """
        lin, process_mm = self.at.lin, self.process_mm
        seen = np.flatnonzero(self.panel.obs_path == path)
        walk = process_mm * np.minimum.outer(here.wear_mm, here.wear_mm)
        if not len(seen):
            return here.thickness_mm, here.columns, walk
        between = process_mm * np.minimum.outer(here.wear_mm, lin.wear_mm[seen])
        among = process_mm * np.minimum.outer(lin.wear_mm[seen], lin.wear_mm[seen])
        among[np.diag_indices_from(among)] += lin.variance_mm2[seen]
        gain = np.linalg.solve(among, between.T).T
        mean = here.thickness_mm + gain @ lin.residual_mm[seen]
        return mean, here.columns - lin.columns[:, seen] @ gain.T, walk - gain @ between.T

    def _given_use(self, path: int, mean: np.ndarray, cov: np.ndarray) -> np.ndarray:
        """Take it that the pair is in use: its last thickness is that of today, as dates have it.

        `cov` is moved in place.
        """
        precision, weighted = self.used.precision[path], self.used.weighted[path]
        last = len(mean) - 1
        shared = cov[last].copy()
        scale = 1.0 / (1.0 + precision * shared[last])
        cov -= precision * scale * np.outer(shared, shared)
        return np.asarray(mean + scale * (weighted - precision * mean[last]) * shared[:-1])
