"""Linearised observations.

What do the observations of a path say, once the wear curve is made a straight line?

Thickness = nominal + start - packing*min(x/6, 1) - exp(log rate)*(x + share*silent) + process
noise, in mm. Where a wearer logs nothing the share is exp(pace). Each observation becomes a row
over the interface columns of `forecast.model.parameter_layout`. The filter of the process noise (a
random walk in expected wear) makes the rows of a path independent. They add up to one small matrix
per path. Linearisation about the current conditional modes is the way of Lindstrom and Bates
(Biometrics 46:673, 1990). Given the posterior's covariances, the line is moved until the mean is
that of the nearest normal. A skewed posterior has it elsewhere (Opper and Archambeau, Neural
Computation 21:786, 2009).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.special import log_ndtr, ndtr

from solespan.forecast.covariates import COVARIATES
from solespan.forecast.model.parameter_layout import INTERFACE, PAST, SILENT
from solespan.forecast.model.process_noise_filter import whiten
from solespan.forecast.observation.attrition import Leaving
from solespan.forecast.observation.outliers import SLIP_SHARE, good_weight, left_out
from solespan.forecast.observation.removal_threshold import (
    UNLOGGED_SENDING_SD_MM,
    Sending,
    usual_weight,
)
from solespan.forecast.observation.thumb import ThumbScale
from solespan.forecast.panel.panel import GAUGES, KNOWN_SINCE, SENT, THUMB, Panel
from solespan.forecast.panel.rate_ages import moved_exposure
from solespan.forecast.priors import PACKING_DAYS

__all__ = [
    "Linearised",
    "Noise",
    "Sites",
    "effective_exposure",
    "linearise",
]

_SAYS_NOTHING_MM2 = 1e8
_HALF_LOG_TWO_PI = 0.9189385332046727
_WIDTH = len(INTERFACE)
_COVARIATES_FROM = _WIDTH - len(COVARIATES)
_RATE = INTERFACE.index("log_rate")
_GAUGE, _THUMB, _SENDING = (INTERFACE.index(n) for n in ("gauge", "thumb", "sending"))
_JUDGED = [_GAUGE, _THUMB, _SENDING]  # of the one who looks, not of the sole


@dataclass(frozen=True)
class Noise:
    """Spread of what is seen: SD of a reading by gauge, process noise, thumb scale.

    gauge_sd_mm : tuple of float, by `GAUGES`.
    process_mm : variance of wear per mm of expected wear, mm.
    sending, unlogged_sending : how loosely the thickness is kept at which soles come off, of
        wearers who log and of those who do not.
    leaving : how likely it is that a pair is gone for good.
    slip_share : of the readings, those that are gross slips.
    """

    gauge_sd_mm: tuple[float, ...]
    process_mm: float
    thumb: ThumbScale
    sending: Sending = field(default_factory=Sending)
    slip_share: float = SLIP_SHARE
    unlogged_sending: Sending = field(default_factory=lambda: Sending(UNLOGGED_SENDING_SD_MM))
    leaving: Leaving = field(default_factory=Leaving)

    def sending_sd_mm(self, unlogged: np.ndarray) -> np.ndarray:
        """SD of the thickness at which soles come off, where the wearer logs and where not."""
        return np.where(unlogged, self.unlogged_sending.sd_mm, self.sending.sd_mm)

    def sent_at_mm(self, panel: Panel, path: np.ndarray) -> np.ndarray:
        """Mean thickness at which soles come off, by path, but for the model's own unknowns."""
        above = np.where(panel.unlogged_path[path], self.unlogged_sending.above_mm, 0.0)
        return np.asarray(panel.limit_mm[path] + above)


@dataclass(frozen=True)
class Sites:
    """Pseudo-observations of the grades and holes.

    rows : ndarray of int, shape (m,)
        Which observations they are.
    mm, variance_mm2 : ndarray, shape (m,)
    """

    rows: np.ndarray
    mm: np.ndarray
    variance_mm2: np.ndarray


@dataclass(frozen=True)
class Linearised:
    """Per path: what its observations say, and the thickness at its end.

    gram : ndarray, shape (kept, kept, paths)
        Cross products of whitened interface columns and, last, of the data; see `products`.
    kept : ndarray of int, shape (kept,)
        Columns with any product other than zero, and the data.
    log_det : float
        Sum of log innovation variances.
    end_columns : ndarray, shape (12, paths)
        Derivative of the settled thickness at the path's end by the interface.
    end_mm : ndarray, shape (paths,)
        Settled thickness at the end at zero deviation of every unknown, process noise included.
    end_process_mm2 : ndarray, shape (paths,)
        Variance of the process noise at the end that remains.
    residual_mm, variance_mm2, weight, fitted_mm : ndarray, shape (observations,)
        Residual at the current estimate and its error variance, weight of a reading (near 0:
        ignored as a likely misreading), and the fitted thickness.
    settling : ndarray, shape (paths,)
        Share of the packing still to come at the end.
    columns : ndarray, shape (12, observations)
        Derivatives of the fitted thickness by the interface.
    wear_mm : ndarray, shape (observations,)
        Expected wear at each observation.
    end_wear_mm : ndarray, shape (paths,)
        Expected wear at the end.
    """

    gram: np.ndarray
    kept: np.ndarray
    log_det: float
    end_columns: np.ndarray
    end_mm: np.ndarray
    end_process_mm2: np.ndarray
    residual_mm: np.ndarray
    variance_mm2: np.ndarray
    weight: np.ndarray
    fitted_mm: np.ndarray
    settling: np.ndarray
    columns: np.ndarray
    wear_mm: np.ndarray
    end_wear_mm: np.ndarray

    def products(self, index: np.ndarray) -> np.ndarray:
        """Cross products of some interface columns, shape (len(index), len(index), paths).

        `len(INTERFACE)` is the data.
        """
        place = np.full(_WIDTH + 1, -1)
        place[self.kept] = np.arange(len(self.kept))
        at = place[index]
        out = np.asarray(self.gram[at[:, None], at[None, :]])
        out[at < 0] = 0.0
        out[:, at < 0] = 0.0
        return out


def effective_exposure(panel: Panel, log_multipliers: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Standard wear days at each target, and their derivatives by the log multipliers.

    Parameters
    ----------
    panel : Panel
    log_multipliers : ndarray, shape (len(COVARIATES),)

    Returns
    -------
    x : ndarray, shape (targets,)
    slopes : ndarray, shape (len(COVARIATES), targets)
    """
    flags = panel.exposure.flags
    scale = np.exp(flags @ log_multipliers[:-1])
    cell = panel.exposure.base + log_multipliers[-1] * panel.exposure.driving
    slopes = np.empty((len(COVARIATES), len(cell)))
    for i in range(len(COVARIATES) - 1):
        slopes[i] = np.einsum("tc,c->t", cell, scale * flags[:, i])
    slopes[-1] = np.einsum("tc,c->t", panel.exposure.driving, scale)
    signed = panel.exposure.base.sum(axis=1) < 0.0  # counted from a later origin
    least = np.where(signed, -np.inf, 0.0)
    return np.maximum(np.einsum("tc,c->t", cell, scale), least), slopes


def linearise(
    panel: Panel,
    deviation: np.ndarray,
    centre: np.ndarray,
    noise: Noise,
    weight: np.ndarray,
    sites: Sites,
    log_rate_variance: np.ndarray | float = 0.0,
    pace_variance: np.ndarray | float = 0.0,
    pull: np.ndarray | None = None,
    *,
    seek_slips: bool,
) -> Linearised:
    """Linearise the observations of a panel.

    Parameters
    ----------
    panel : Panel
    deviation : ndarray, shape (12, paths)
        Interface values at the current estimate, less `centre`.
    centre : ndarray, shape (12, paths)
        Interface values at the prior means.
    noise : Noise
    weight : ndarray, shape (observations,)
        Weight of each reading.
    sites : Sites
        Pseudo-observations of the grades.
    log_rate_variance : ndarray, shape (paths,), or 0
        Posterior variance of each log rate. The best straight line through exp under a normal
        with this variance has the slope exp(mean + variance/2); 0 is the tangent at the mode.
    pace_variance : ndarray, shape (paths,), or 0
        What the pace of unlogged days adds to the variance of log rate plus pace.
    pull : ndarray, shape (12, paths), optional
        `pull_of_bends` at the last posterior; without it the line is left where it is.
    seek_slips : bool
        Whether to find the weights anew from the residuals.
    """
    value = centre + deviation
    lifted = value.copy()
    lifted[2] += 0.5 * log_rate_variance
    lifted[SILENT] += 0.5 * pace_variance * panel.unlogged_path
    x_target, slope_target = effective_exposure(panel, value[_COVARIATES_FROM:, 0])
    path, target = panel.obs_path, panel.obs_target
    wears = ~panel.obs_waist
    columns, wear = _columns(panel, lifted, path, target, x_target, slope_target, wears)
    fitted = _thickness(panel, value, path, columns, wear)
    y, variance = _data(panel, fitted, noise, weight, sites)
    if seek_slips:
        gauge = np.flatnonzero(panel.obs_kind < THUMB)
        off, walk = left_out(y - fitted, wear, variance, panel.ranks, noise.process_mm)
        good, weight = variance[gauge] * weight[gauge], np.ones(len(y))
        weight[gauge] = good_weight(off[gauge], good, walk[gauge], noise.slip_share)
        variance[gauge] = good / weight[gauge]
    rows = np.concatenate([columns, (y - fitted)[None]])
    rows[-1] += np.einsum("in,in->n", columns, deviation[:, path])
    white = whiten(rows, wear, variance, panel.ranks, noise.process_mm)
    gram = white.gram
    _add_direct_evidence(panel, gram, centre)
    _take_out_truncation(panel, gram, noise, fitted, columns)
    if pull is not None:
        gram[:-1, -1] += pull
        gram[-1, :-1] += pull
        gram[-1, -1] += 2.0 * (pull * deviation).sum(axis=0)  # no change of it where we stand
    every = np.arange(len(panel.nominal_mm))
    end_columns, end_wear = _columns(
        panel, lifted, every, panel.path_end, x_target, slope_target, np.ones(len(every), bool)
    )
    settled = -end_columns[1]
    end_columns[1] = -1.0
    end_columns[_JUDGED] = 0.0
    end_mm = _thickness(panel, value, every, end_columns, end_wear)
    end_mm = end_mm - np.einsum("in,in->n", end_columns, deviation) + white.state[-1]
    kept = np.flatnonzero(gram.any(axis=(1, 2)))
    kept = np.union1d(kept, _WIDTH)
    return Linearised(
        gram=gram if len(kept) == len(gram) else gram[kept[:, None], kept],
        kept=kept,
        log_det=white.log_det,
        end_columns=end_columns - white.state[:-1],
        end_mm=end_mm,
        end_process_mm2=white.process_mm2
        + noise.process_mm * np.maximum(end_wear - white.seen_mm, 0.0),
        residual_mm=y - fitted,
        variance_mm2=variance,
        weight=weight,
        fitted_mm=fitted,
        settling=1.0 - settled,
        columns=columns,
        wear_mm=wear,
        end_wear_mm=end_wear,
    )


def _columns(
    panel: Panel,
    value: np.ndarray,
    path: np.ndarray,
    target: np.ndarray,
    x_target: np.ndarray,
    slope_target: np.ndarray,
    wears: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    """Derivatives by the interface, and the expected wear in mm."""
    rate = np.exp(value[2])[path] * wears
    silent = panel.exposure.silent[target]
    informed = np.flatnonzero(slope_target.any(axis=1))
    x, slope = x_target[target], slope_target[informed[:, None], target]
    moving = bool(panel.moving.any())
    if moving:
        steps, older = value[PAST][:, path], panel.target_older
        moved, past, factor = moved_exposure(x, older[target], steps)
        slope = slope * factor
    later = np.flatnonzero(panel.path_begin[path] >= 0)  # wears from a day after the fitting
    if len(later):
        begin = panel.path_begin[path[later]]
        silent[later] -= panel.exposure.silent[begin]
        x[later] -= x_target[begin]
        before = slope_target[informed[:, None], begin]
        if moving:
            off, ago, factor = moved_exposure(x_target[begin], older[begin], steps[:, later])
            moved[later] -= off
            past[:, later] -= ago
            before = before * factor
        slope[:, later] -= before
    columns = np.zeros((_WIDTH, len(path)))
    columns[0] = 1.0
    columns[1] = -np.minimum(x / PACKING_DAYS, 1.0) * wears
    least = np.where(x < 0.0, -np.inf, 0.0)
    # a share of habit where the wearer logs, else a log pace
    by_pace = panel.unlogged_path[path]
    factor = np.where(by_pace, np.exp(np.where(by_pace, value[SILENT][path], 0.0)), 1.0)
    if moving:
        x = x + moved
        columns[PAST] = -rate * past
    wear = rate * np.maximum(x + np.where(by_pace, factor, value[SILENT][path]) * silent, least)
    columns[2] = -wear
    columns[SILENT] = -rate * factor * silent
    columns[_COVARIATES_FROM + informed] = -rate * slope
    if len(path) == len(panel.obs_kind) and path is panel.obs_path:
        columns[_GAUGE] = panel.obs_kind < THUMB
        columns[_THUMB] = panel.obs_kind == THUMB
        columns[_SENDING] = -1.0 * (panel.obs_kind >= SENT)
    return columns, wear


def _thickness(
    panel: Panel, value: np.ndarray, path: np.ndarray, columns: np.ndarray, wear: np.ndarray
) -> np.ndarray:
    straight = [0, 1, *_JUDGED]
    linear = np.einsum("in,in->n", columns[straight], value[straight][:, path])
    return np.asarray(panel.nominal_mm[path] + linear - wear)


def _data(
    panel: Panel, fitted: np.ndarray, noise: Noise, weight: np.ndarray, sites: Sites
) -> tuple[np.ndarray, np.ndarray]:
    """Observed or pseudo-observed thickness, and its error variance."""
    y = panel.obs_mm.copy()
    sd = np.asarray(noise.gauge_sd_mm)[np.minimum(panel.obs_kind, len(GAUGES) - 1)]
    variance = sd**2 / weight
    y[sites.rows], variance[sites.rows] = sites.mm, sites.variance_mm2
    entry = panel.obs_kind == KNOWN_SINCE
    y[entry], variance[entry] = fitted[entry], _SAYS_NOTHING_MM2
    sent = panel.obs_kind == SENT  # both feet are told, so each with twice the variance
    y[sent] = noise.sent_at_mm(panel, panel.obs_path[sent])
    unlogged = panel.unlogged_path[panel.obs_path[sent]]
    sd = noise.sending_sd_mm(unlogged)
    usual = usual_weight(fitted[sent] - y[sent], y[sent], sd)
    variance[sent] = 2.0 * sd**2 / np.where(unlogged, usual, 1.0)
    return y, variance


def _add_direct_evidence(panel: Panel, gram: np.ndarray, centre: np.ndarray) -> None:
    """Add what is said of a path's unknowns themselves, not of its thickness.

    The chance of coming off on a day is that of the thickness times the wear of that day. So each
    removal of a sole whose wear is not logged also speaks for faster wear, half by each foot.
    Where wear is logged, that day's wear is known, and the multipliers would have to share in it.
    A stated pace is a datum of its own.
    """
    sent = panel.obs_path[panel.obs_kind == SENT]
    sent = sent[panel.unlogged_path[sent]]
    for column in (_RATE, SILENT):
        np.add.at(gram[column, -1], sent, 0.5)
        np.add.at(gram[-1, column], sent, 0.5)
    path = panel.stated
    if len(path):
        pair = panel.path_pair[path]
        precision = panel.pace_sd[pair] ** -2.0
        off = panel.pace_log[pair] - centre[SILENT, path]
        gram[SILENT, SILENT, path] += precision
        gram[SILENT, -1, path] += precision * off
        gram[-1, SILENT, path] += precision * off
        gram[-1, -1, path] += precision * np.square(off)


def _take_out_truncation(
    panel: Panel, gram: np.ndarray, noise: Noise, fitted: np.ndarray, columns: np.ndarray
) -> None:
    """Take out that soles older than the records had lasted until then.

    Their likelihood is given that they had, so the slope of the log chance is subtracted, half by
    each foot. A sole that should not have lasted so long at all tells nothing.
    """
    rows = np.flatnonzero(panel.obs_kind == KNOWN_SINCE)
    path = panel.obs_path[rows]
    sd = np.sqrt(2.0) * noise.sending_sd_mm(panel.unlogged_path[path])
    z = (fitted[rows] - noise.sent_at_mm(panel, path)) / sd
    slope = np.exp(-0.5 * np.square(z) - _HALF_LOG_TWO_PI - log_ndtr(z)) / sd
    pull = -0.5 * slope * ndtr(z + 1.0) * columns[:, rows]
    gram[:-1, -1, path] += pull
    gram[-1, :-1, path] += pull.T
