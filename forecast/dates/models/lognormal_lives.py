"""Lognormal lives of soles, nested by wearer and pair, censored, truncated, or of one who has left.

log life = design · coefficients + wearer + pair + residual, all normal. A life that goes on is
censored. A life of which nothing could be known before some age is left truncated there. After
each visit its owner leaves for good with one chance, and then the sole never ends. Such a sole and
one that lasts look the same.

Ended lives are normal given wearer and pair. So pairs are integrated in closed form, as long as at
most one of their terms is no normal density. Other pairs are integrated by Gauss-Hermite quadrature
round that normal. Wearers are integrated by adaptive Gauss-Hermite quadrature (Liu and Pierce,
Biometrika 81:624, 1994, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import minimize
from scipy.special import expit, log_ndtr, logsumexp

__all__ = ["LifeFit", "LifePrior", "Lives", "fit_lives", "life_mixtures"]

_OUTER, _INNER = 25, 21
_LEAST_SD = 1e-4
_ROUNDS = 8
_SETTLED = 1e-8


@dataclass(frozen=True)
class Lives:
    """Lives of soles, one entry each.

    days : observed life, or age now. ended : whether it came off. entry_days : age before which
    nothing could be known of it (0: none). design : (n, k). wearer, pair : codes from 0; a pair
    belongs to one wearer.
    """

    days: np.ndarray
    ended: np.ndarray
    entry_days: np.ndarray
    design: np.ndarray
    wearer: np.ndarray
    pair: np.ndarray


@dataclass(frozen=True)
class LifePrior:
    """Weak normal priors, each (mean, SD); common practice, no source.

    Of the intercept, the other coefficients, log SDs, and log odds of leaving after a visit.
    """

    intercept: tuple[float, float] = (6.5, 0.8)
    other: tuple[float, float] = (0.0, 0.5)
    log_sd_wearer: tuple[float, float] = (-1.0, 0.6)
    log_sd_pair: tuple[float, float] = (-1.0, 0.6)
    log_sd_residual: tuple[float, float] = (-1.2, 0.6)
    logit_leave: tuple[float, float] = (-2.5, 1.0)


@dataclass(frozen=True)
class LifeFit:
    """Parameters, log likelihood, and the centre and scale of each wearer's quadrature.

    SDs are of log life; `leave` is the chance of leaving after a visit.
    """

    coefficients: np.ndarray
    sd_wearer: float
    sd_pair: float
    sd_residual: float
    leave: float
    log_likelihood: float
    centre: np.ndarray
    scale: np.ndarray


@dataclass(frozen=True)
class _Data:
    """Lives sorted into what is normal given wearer and pair, and what is not.

    Extra terms: every censored life, and the truncation of every life that has one. `alone` pairs
    have a single censored life and no truncation, and are closed; `mixed` pairs have other extras.
    """

    lives: Lives
    log_days: np.ndarray
    log_entry: np.ndarray
    extra: np.ndarray
    alone: np.ndarray
    mixed_place: np.ndarray
    n_mixed: int
    n_pairs: int
    n_wearers: int
    pair_wearer: np.ndarray

    @classmethod
    def of(cls, lives: Lives, *, pairs_vary: bool) -> _Data:
        entered = lives.entry_days > 0
        extra = np.flatnonzero(~lives.ended | entered)
        n_pairs = int(lives.pair.max()) + 1
        count = np.bincount(lives.pair[extra], minlength=n_pairs)
        closed = (count[lives.pair] == 1) & ~entered & ~lives.ended
        if not pairs_vary:  # every term is closed given the wearer
            closed = np.zeros(len(closed), bool)
        alone = np.flatnonzero(closed)
        rest = extra[~closed[extra]]
        mixed, place = np.unique(lives.pair[rest], return_inverse=True)
        pair_wearer = np.zeros(n_pairs, int)
        pair_wearer[lives.pair] = lives.wearer
        with np.errstate(divide="ignore"):
            log_entry = np.log(lives.entry_days)
        return cls(
            lives, np.log(lives.days), log_entry, rest, alone, place, len(mixed), n_pairs,
            int(lives.wearer.max()) + 1, pair_wearer,
        )  # fmt: skip


def fit_lives(
    lives: Lives,
    *,
    prior: LifePrior | None,
    wearers_vary: bool = True,
    pairs_vary: bool = True,
    leaves: bool = True,
) -> LifeFit:
    """Find the parameters by maximum likelihood, with a weak prior or (None) without.

    Parameters
    ----------
    lives : Lives
        At least one.
    prior : LifePrior or None
    wearers_vary, pairs_vary, leaves : bool
        False leaves that part out of the model.
    """
    parts = _Parts(lives.design.shape[1], wearers_vary, pairs_vary, leaves)
    data = _Data.of(lives, pairs_vary=pairs_vary)
    theta = parts.start(data, prior)
    fit = parts.fit_at(theta, data.n_wearers)
    best = np.inf
    for _ in range(_ROUNDS):
        fit = _centred(data, fit)

        def cost(theta: np.ndarray, at: LifeFit = fit) -> float:
            return -_log_likelihood(data, parts.moved(at, theta)) - parts.log_prior(theta, prior)

        found = minimize(cost, theta, method="BFGS", jac="3-point", options={"gtol": 1e-4})
        theta, before, best = found.x, best, float(found.fun)
        fit = parts.moved(fit, theta)
        if before - best < _SETTLED * abs(best) and abs(before - best) < 1e-6:
            break
    fit = _centred(data, fit)
    return replace(fit, log_likelihood=_log_likelihood(data, fit))


@dataclass(frozen=True)
class _Parts:
    """Which parameters the model has; theta = coefficients, log SDs, log odds of leaving."""

    n_coefficients: int
    wearers_vary: bool
    pairs_vary: bool
    leaves: bool

    def start(self, data: _Data, prior: LifePrior | None) -> np.ndarray:
        ended = data.lives.ended
        y, X = data.log_days, data.lives.design
        use = ended if ended.sum() > X.shape[1] + 1 else np.ones(len(y), bool)
        ridge = 1e-3 * np.eye(X.shape[1])
        b = np.linalg.solve(X[use].T @ X[use] + ridge, X[use].T @ y[use])
        usual = prior or LifePrior()
        spread = np.log(max(float(np.std(y[use] - X[use] @ b)), 0.1))
        sds = [
            min(usual.log_sd_wearer[0], spread) if self.wearers_vary else None,
            min(usual.log_sd_pair[0], spread) if self.pairs_vary else None,
            spread,
        ]
        tail = [s for s in sds if s is not None]
        return np.array([*b, *tail, *([usual.logit_leave[0]] if self.leaves else [])])

    def _tail(self, theta: np.ndarray) -> tuple[float, float, float, float]:
        rest = list(theta[self.n_coefficients :])
        wearer = float(np.exp(rest.pop(0))) if self.wearers_vary else 0.0
        pair = float(np.exp(rest.pop(0))) if self.pairs_vary else 0.0
        residual = float(np.exp(rest.pop(0)))
        return wearer, pair, residual, float(expit(rest.pop(0))) if self.leaves else 0.0

    def fit_at(self, theta: np.ndarray, n_wearers: int) -> LifeFit:
        wearer, pair, residual, leave = self._tail(theta)
        centre = np.zeros(n_wearers)
        scale = np.full(n_wearers, wearer)
        coefficients = theta[: self.n_coefficients]
        return LifeFit(coefficients, wearer, pair, residual, leave, np.nan, centre, scale)

    def moved(self, fit: LifeFit, theta: np.ndarray) -> LifeFit:
        wearer, pair, residual, leave = self._tail(np.clip(theta, -30.0, 30.0))
        return replace(
            fit, coefficients=theta[: self.n_coefficients], sd_wearer=wearer, sd_pair=pair,
            sd_residual=residual, leave=leave,
        )  # fmt: skip

    def log_prior(self, theta: np.ndarray, prior: LifePrior | None) -> float:
        if prior is None:
            return 0.0
        known = [prior.intercept, *[prior.other] * (self.n_coefficients - 1)]
        known += [prior.log_sd_wearer] * self.wearers_vary + [prior.log_sd_pair] * self.pairs_vary
        known += [prior.log_sd_residual, *[prior.logit_leave] * self.leaves]
        mean, sd = np.array(known).T
        return float(-0.5 * np.square((theta - mean) / sd).sum())


def _nodes(fit: LifeFit) -> tuple[np.ndarray, np.ndarray]:
    """Wearer effects (wearers, nodes) and log weights, the prior's density inside."""
    if fit.sd_wearer <= 0.0:
        return np.zeros((len(fit.centre), 1)), np.zeros((len(fit.centre), 1))
    x, w = np.polynomial.hermite_e.hermegauss(_OUTER)
    u = fit.centre[:, None] + fit.scale[:, None] * x
    log_w = np.log(w) + 0.5 * np.square(x) + np.log(fit.scale)[:, None]
    log_w = log_w - 0.5 * np.square(u / fit.sd_wearer)
    return u, log_w - np.log(fit.sd_wearer) - 0.5 * np.log(2 * np.pi)


def _log_likelihood(data: _Data, fit: LifeFit) -> float:
    u, log_w = _nodes(fit)
    return float(logsumexp(_by_wearer(data, fit, u) + log_w, axis=1).sum())


def _centred(data: _Data, fit: LifeFit) -> LifeFit:
    """Move the nodes of each wearer to where the posterior is."""
    fit = replace(
        fit,
        centre=np.zeros(data.n_wearers),
        scale=np.full(data.n_wearers, fit.sd_wearer),
    )
    if fit.sd_wearer <= 0.0:
        return fit
    for _ in range(4):
        u, log_w = _nodes(fit)
        log_p = _by_wearer(data, fit, u) + log_w
        p = np.exp(log_p - logsumexp(log_p, axis=1, keepdims=True))
        centre = (p * u).sum(axis=1)
        spread = np.sqrt((p * np.square(u - centre[:, None])).sum(axis=1))
        fit = replace(fit, centre=centre, scale=np.maximum(spread, 1e-3 * fit.sd_wearer))
    return fit


def _by_wearer(data: _Data, fit: LifeFit, u: np.ndarray) -> np.ndarray:
    """Log likelihood of each wearer's lives at each of its nodes."""
    by_pair = _PairTerms.of(data, fit, u).total(data, fit)
    out = np.zeros(u.shape)
    np.add.at(out, data.pair_wearer, by_pair)
    return out


@dataclass(frozen=True)
class _PairTerms:
    """At every node: the ended lives' density, and mean and SD of the pair's effect given them."""

    u: np.ndarray
    density: np.ndarray
    mean: np.ndarray
    sd: np.ndarray
    line: np.ndarray

    @classmethod
    def of(cls, data: _Data, fit: LifeFit, u: np.ndarray) -> _PairTerms:
        lives, n = data.lives, data.n_pairs
        s2, t2 = fit.sd_residual**2, fit.sd_pair**2
        line = lives.design @ fit.coefficients
        gap = (data.log_days - line)[lives.ended]
        pair = lives.pair[lives.ended]
        count = np.bincount(pair, minlength=n)[:, None]
        first = np.bincount(pair, gap, minlength=n)[:, None]
        second = np.bincount(pair, np.square(gap), minlength=n)[:, None]
        jacobian = np.bincount(pair, data.log_days[lives.ended], minlength=n)[:, None]
        node = u[data.pair_wearer]
        left = first - count * node
        both = s2 + count * t2
        squares = (second - 2 * node * first + count * np.square(node)) / s2
        squares = squares - t2 * np.square(left) / (s2 * both)
        density = -0.5 * (count * np.log(2 * np.pi) + (count - 1) * np.log(s2) + np.log(both))
        density = density - 0.5 * squares - jacobian
        density = density + count * np.log1p(-fit.leave)
        return cls(node, density, t2 * left / both, np.sqrt(t2 * s2 / both), line)

    def total(self, data: _Data, fit: LifeFit) -> np.ndarray:
        """Log likelihood of each pair at each node."""
        out = self.density.copy()
        if len(data.alone):
            out[data.lives.pair[data.alone]] += self.closed(data, fit)
        if data.n_mixed:
            pairs, inner, log_w = self.inner(data, fit)
            terms = self.mixed(data, fit, pairs, inner)
            out[pairs] += logsumexp(terms + log_w, axis=2)
        return out

    def closed(self, data: _Data, fit: LifeFit) -> np.ndarray:
        """Of pairs with one extra term: a life that goes on, at each node."""
        place, pair = data.alone, data.lives.pair[data.alone]
        at = self.line[place][:, None] + self.u[pair] + self.mean[pair]
        spread = np.sqrt(fit.sd_residual**2 + np.square(self.sd[pair]))
        return _goes_on(log_ndtr((at - data.log_days[place][:, None]) / spread), fit.leave)

    def inner(self, data: _Data, fit: LifeFit) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Pairs with other extra terms, their effects (pairs, nodes, inner), log weights."""
        pairs = np.unique(data.lives.pair[data.extra])
        if fit.sd_pair <= 0.0:
            return pairs, self.u[pairs][..., None] * 0.0, np.zeros(1)
        x, w = np.polynomial.hermite_e.hermegauss(_INNER)
        effect = self.mean[pairs][..., None] + self.sd[pairs][..., None] * x
        return pairs, effect, np.log(w) - 0.5 * np.log(2 * np.pi)

    def mixed(
        self,
        data: _Data,
        fit: LifeFit,
        pairs: np.ndarray,
        inner: np.ndarray,
        without: np.ndarray | None = None,
    ) -> np.ndarray:
        """Sum of the extra terms of those pairs at all nodes; `without` leaves some lives out."""
        extra, place = data.extra, data.mixed_place
        if without is not None:
            kept = ~np.isin(extra, without)
            extra, place = extra[kept], place[kept]
        lives = data.lives
        at = self.line[extra][:, None, None] + (self.u[pairs][..., None] + inner)[place]
        entry = _log_survivor(at, data.log_entry[extra], fit.sd_residual)
        now = _log_survivor(at, data.log_days[extra], fit.sd_residual) - entry
        goes_on = _goes_on(now, fit.leave)
        terms = np.where(lives.ended[extra][:, None, None], -entry, goes_on)
        out = np.zeros(inner.shape)
        np.add.at(out, place, terms)
        return out


def _log_survivor(at: np.ndarray, log_days: np.ndarray, sd: float) -> np.ndarray:
    return np.asarray(log_ndtr((at - log_days.reshape(-1, 1, 1)) / sd))


def _goes_on(log_survivor: np.ndarray, leave: float) -> np.ndarray:
    """Log chance of seeing a sole still on: it lasts, or its owner has left."""
    if leave <= 0.0:
        return log_survivor
    return np.asarray(np.logaddexp(np.log(leave), np.log1p(-leave) + log_survivor))


def life_mixtures(
    fit: LifeFit, lives: Lives, of: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The life of some censored soles given all else that is known: mixtures of lognormals.

    Parameters
    ----------
    fit : LifeFit
    lives : Lives
        Those of the fit, or others of the same design: its parameters stand.
    of : ndarray of int
        Places in `lives`, one a pair; their own being still on is not used.

    Returns
    -------
    log_mean, log_sd, log_weight : ndarray, shape (len(of), parts)
        Weights sum to one.
    """
    data = _Data.of(lives, pairs_vary=fit.sd_pair > 0.0)
    fit = _centred(data, fit)
    u, log_w = _nodes(fit)
    terms = _PairTerms.of(data, fit, u)
    by_pair = terms.total(data, fit)
    whole = log_w.copy()
    np.add.at(whole, data.pair_wearer, by_pair)
    pair = lives.pair[of]
    rest = whole[lives.wearer[of]] - by_pair[pair] + terms.density[pair]
    parts = _INNER if data.n_mixed and fit.sd_pair > 0 else 1
    shape = (len(of), u.shape[1], parts)
    mean = np.repeat(
        (terms.line[of][:, None] + terms.u[pair] + terms.mean[pair])[..., None], parts, axis=2
    )
    sd = np.broadcast_to(
        np.sqrt(fit.sd_residual**2 + np.square(terms.sd[pair]))[..., None], shape
    ).copy()
    weight = np.full(shape, -np.inf)
    weight[..., 0] = rest
    if data.n_mixed:
        pairs, inner, log_inner = terms.inner(data, fit)
        at = np.searchsorted(pairs, pair)
        here = np.flatnonzero(pairs[np.minimum(at, len(pairs) - 1)] == pair)
        others = terms.mixed(data, fit, pairs, inner, without=of)
        mine = at[here]
        weight[here] = rest[here][..., None] + others[mine] + log_inner
        mean[here] = (terms.line[of][here][:, None] + terms.u[pair[here]])[..., None] + inner[mine]
        sd[here] = fit.sd_residual
    flat = weight.reshape(len(of), -1)
    flat = flat - logsumexp(flat, axis=1, keepdims=True)
    return mean.reshape(len(of), -1), sd.reshape(len(of), -1), flat
