"""Hand-over scatter and attrition: how thin do soles get, and how many owners leave?

Both are learnt between the rounds of a fit. The shop reads the thickness of
some soles that come off. Leaving shows in soles that should have come in and did not.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from solespan.forecast.model.inner_loop import IterationState, Modes, prior_centre
from solespan.forecast.model.linearise import Noise
from solespan.forecast.model.parameter_layout import INTERFACE, Coordinates
from solespan.forecast.model.sole_state import Evidence, sole_state
from solespan.forecast.observation.attrition import chance_in_use
from solespan.forecast.observation.removal_threshold import (
    UNLOGGED_SENDING_SD_MM,
    Sending,
    learn_sending,
)
from solespan.forecast.observation.survival_sites import (
    gone_at,
    learn_from_silence,
    still_on_site,
    survival,
)
from solespan.forecast.panel.foot_pairs import foot_pairs
from solespan.forecast.panel.panel import SENT, STILL_ON, THUMB, Panel

__all__ = ["chances_in_use", "learn_logged", "learn_unlogged", "still_used"]

_AT_COUNTER_DAYS = 45  # a reading so shortly before the sole came off was taken on hand-over
_FOLLOWED_READINGS = 2  # by a gauge, on each foot, before a sole teaches where soles come off
_PRIOR_SOLES = 12.0
# mean above the limit at hand-over, and what is not known of it; common practice, no source
_ABOVE_MM, _ABOVE_SD_MM = -0.05, 0.25
_MAD_TO_SD = 1.4826  # median absolute deviation to SD, of a normal
_LEAST_SD_MM = 0.2
_SENDING = INTERFACE.index("sending")
_LEAST_SHARE = 0.1  # of its precision, that is left to a thickness


def learn_logged(panel: Panel, layout: Coordinates, at: Modes, noise: Noise) -> Sending:
    """Learn how thin soles get from those that came off, of wearers who log."""
    if "sending_mm" not in layout.population:
        return noise.sending
    feet = foot_pairs(panel, current_only=False)
    gauged = np.bincount(
        panel.obs_path[(panel.obs_kind < THUMB) & ~panel.obs_waist],
        minlength=len(panel.nominal_mm),
    )
    judged = np.zeros(len(panel.nominal_mm), bool)
    judged[panel.obs_path[panel.obs_kind == SENT]] = True
    gone = judged[feet.left] & ~panel.unlogged_path[feet.left]
    gone &= np.minimum(gauged[feet.left], gauged[feet.right]) >= _FOLLOWED_READINGS
    feet = feet.part(gone)
    if not len(feet.left):
        return Sending()
    state = sole_state(panel, at, feet)
    sd = np.sqrt(np.square(state.factor[[1, 3]]).sum(axis=1))
    limit = panel.limit_mm[feet.both]
    place = layout.population.index("sending_mm")
    above = float(layout.prior_mean[place] + at.posterior.population_mean[place])
    return learn_sending(state.mean[[1, 3]], sd, limit, noise.sending, above)


def learn_unlogged(panel: Panel, noise: Noise, at: IterationState, sender_sd_mm: float) -> Noise:
    """Learn how soles of wearers who do not log come off, and how customers leave.

    `sender_sd_mm` is what wearers differ by; the scatter learnt here is that of one wearer's soles.
    """
    if not panel.unlogged.any():
        return noise
    noise = replace(noise, unlogged_sending=_scatter(panel, noise, sender_sd_mm))
    rows, mean, variance = _before_silence(panel, at)
    path = panel.obs_path[rows]
    silent = panel.unlogged_path[path]
    low, sd = noise.sent_at_mm(panel, path), noise.sending_sd_mm(silent)
    parts = (part[silent] for part in (rows, mean, variance, low, sd))
    return replace(noise, leaving=learn_from_silence(panel, *parts))


def chances_in_use(panel: Panel, at: IterationState, noise: Noise) -> np.ndarray:
    """Chance that each pair is still worn and its owner a customer; NaN without a sole."""
    rows, mean, variance = _before_silence(panel, at)
    path = panel.obs_path[rows]
    sd = noise.sending_sd_mm(panel.unlogged_path[path])
    lasts = survival(mean, noise.sent_at_mm(panel, path), np.sqrt(np.square(sd) + variance))
    chance = chance_in_use(gone_at(panel, rows, noise.leaving), lasts)
    out = np.full(len(panel.pair_ids), np.nan)
    on = panel.current[path]
    feet = np.bincount(panel.path_pair[path[on]], minlength=len(out))
    total = np.bincount(panel.path_pair[path[on]], chance[on], len(out))
    out[feet > 0] = total[feet > 0] / feet[feet > 0]
    return out


def still_used(panel: Panel, layout: Coordinates, at: Modes, noise: Noise) -> Evidence:
    """What is added to a pair's own thickness by taking it that the pair is still in use.

    The fit allows that a pair is gone, so that it misleads nobody about its wearer's other pairs. A
    date is of use only for a pair in use, so its own date takes that for granted.
    """
    sites, cavities, lin = at.stand.sites, at.stand.cavities, at.lin
    on = np.flatnonzero(panel.obs_kind[sites.rows] == STILL_ON)
    own = panel.obs_path[sites.rows[on]]
    on = on[panel.current[own] & panel.unlogged_path[own]]
    rows = sites.rows[on]
    path = panel.obs_path[rows]
    walk = noise.process_mm * lin.wear_mm[rows]
    sd = np.sqrt(np.square(noise.sending_sd_mm(panel.unlogged_path[path])) + walk)
    mm, variance = still_on_site(
        noise.sent_at_mm(panel, path), sd, np.zeros(len(rows)), cavities.mean_mm[on],
        np.maximum(cavities.variance_mm2[on] - walk, 1e-6),
    )  # fmt: skip
    tolerated = (prior_centre(layout) + at.deviation)[_SENDING, path]
    precision, weighted = np.zeros(len(panel.nominal_mm)), np.zeros(len(panel.nominal_mm))
    precision[path] = 1.0 / variance - 1.0 / sites.variance_mm2[on]
    weighted[path] = mm / variance - sites.mm[on] / sites.variance_mm2[on]
    weighted[path] += precision[path] * tolerated
    return Evidence(precision, weighted)


def _before_silence(panel: Panel, at: IterationState) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Observations of soles still on, and mean and variance of the thickness without them.

    Each foot's cavity still holds what the other foot told of the same event, so what the site
    says is taken out a second time.
    """
    sites, cavities = at.sites, at.cavities
    on = np.flatnonzero(panel.obs_kind[sites.rows] == STILL_ON)
    known, site = 1.0 / cavities.variance_mm2[on], 1.0 / sites.variance_mm2[on]
    precision = np.maximum(known - site, _LEAST_SHARE * known)
    site = known - precision
    mean = (known * cavities.mean_mm[on] - site * sites.mm[on]) / precision
    return sites.rows[on], mean, 1.0 / precision


def _scatter(panel: Panel, noise: Noise, sender_sd_mm: float) -> Sending:
    """SD of the thickness above the limit at hand-over, from readings at the counter."""
    path = panel.obs_path
    end = np.full(len(panel.nominal_mm), -1)
    sent = (panel.obs_kind == SENT) & panel.unlogged_path[path]
    end[path[sent]] = panel.target_day[panel.obs_target[sent]]
    day = panel.target_day[panel.obs_target]
    read = (panel.obs_kind < THUMB) & ~panel.obs_waist & (panel.path_point[path] == 0)
    read &= (end[path] >= 0) & (end[path] - day <= _AT_COUNTER_DAYS)
    if not read.any():
        return Sending(UNLOGGED_SENDING_SD_MM, 0, _ABOVE_MM)
    sole = panel.path_sole[path[read]]
    many = np.bincount(sole)
    total = np.bincount(sole, panel.obs_mm[read] - panel.limit_mm[path[read]])
    square = np.bincount(sole, np.square(np.asarray(noise.gauge_sd_mm)[panel.obs_kind[read]]))
    seen = many > 0
    spare, error = total[seen] / many[seen], square[seen] / np.square(many[seen])
    middle = float(np.median(spare))
    wide = float(np.square(_MAD_TO_SD * np.median(np.abs(spare - middle))) - np.median(error))
    variance = _PRIOR_SOLES * UNLOGGED_SENDING_SD_MM**2
    variance += len(spare) * max(wide - sender_sd_mm**2, _LEAST_SD_MM**2)
    weight = len(spare) / (len(spare) + max(wide, _LEAST_SD_MM**2) / _ABOVE_SD_MM**2)
    sd = float(np.sqrt(variance / (_PRIOR_SOLES + len(spare))))
    return Sending(sd, len(spare), weight * middle + (1.0 - weight) * _ABOVE_MM)
