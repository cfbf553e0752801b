"""Profiled likelihood, gradient and Hessian.

How far is a covariance of the random lines from the data, and which way is downhill?

The model is y = X beta + Z b + e with b ~ N(0, scale G) and e ~ N(0, scale I). The objective is
minus twice its log likelihood, profiled over beta and scale. Gradient and Hessian are in the
Cholesky factor of G. A group enters through H = I + R G R' (see `rows`): S = within + sum C'H^-1 C,
with C = Q'[X y], is [X y]'V^-1[X y] of the whole data, and

    REML: sum log|H| + (n-p) log|S| - (n-p-1) log|S_xx| + constant
    ML:   sum log|H| + n (log|S| - log|S_xx|) + constant

Every derivative of S by G is again a sum of products of the two rows of C. So one matrix product
per block of groups yields S and its nine derivatives. The Hessian is exact. Where a variance is
zero, the gradient in its root vanishes at maxima and minima alike. Only the curvature tells a false
optimum from a true one.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from solespan.forecast.linear.designs import Designs, shared_designs, walk
from solespan.forecast.linear.products import gram
from solespan.forecast.linear.rows import GroupSums

__all__ = ["Deviance", "Point", "factor", "precision_of_groups"]

Floats = npt.NDArray[np.float64]
PAIRS = np.triu_indices(3)  # order of the second derivatives by G11, G12, G22


@dataclass(frozen=True)
class Point:
    """The profiled deviance at one Cholesky factor: value, gradient (q,), Hessian (q, q), S."""

    value: float
    gradient: Floats
    hessian: Floats
    products: Floats


def factor(theta: Floats, free: tuple[int, ...]) -> Floats:
    """Lay theta into the entries (1,1), (2,1), (2,2), named by `free`, of a lower factor (2, 2)."""
    entries = np.zeros(3)
    entries[list(free)] = theta
    return np.array([[entries[0], 0.0], [entries[1], entries[2]]])


def precision_of_groups(sums: GroupSums, lower: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Give the entries n11, n12, n21, n22, each (m,), of N = R' H^-1 for every group.

    N C is Z'V^-1[X y] and N R is Z'V^-1 Z, written so that no digits cancel.
    """
    g11, g12, g22 = lower[0, 0] ** 2, lower[0, 0] * lower[1, 0], lower[1] @ lower[1]
    n11, n12, n21, n22, _ = _solve(sums.r11, sums.r12, sums.r22, (g11, g12, g22), lower)
    return n11, n12, n21, n22


def _solve(
    r11: Floats, r12: Floats, r22: Floats, g: tuple[float, float, float], lower: Floats
) -> tuple[Floats, ...]:
    g11, g12, g22 = g
    u = r11 * g11 + r12 * g12
    v = r11 * g12 + r12 * g22
    w = r22 * r22
    det = (r11 * u + r12 * v) + (1.0 + w * g22)
    det += w * r11 * r11 * (lower[0, 0] * lower[1, 1]) ** 2
    inverse = 1.0 / det
    n11 = r11 * (1.0 + w * g22) * inverse
    n12 = -r11 * r22 * v * inverse
    n21 = (r12 - r11 * g12 * w) * inverse
    n22 = r22 * (1.0 + r11 * u) * inverse
    return n11, n12, n21, n22, det


class Deviance:
    """Minus twice the profiled log likelihood of `GroupSums` as a function of the factor of G.

    Parameters
    ----------
    sums : GroupSums
        Columns should be near orthonormal and the response near residual: `forecast.linear.slopes`
        sees to it. `free` names the entries of the factor that vary, 0, 1, 2 for (1,1), (2,1),
        (2,2).
    reml : bool
        Restricted likelihood, else the full one.
    """

    def __init__(self, sums: GroupSums, free: tuple[int, ...], *, reml: bool) -> None:
        self.sums = sums
        self.shared = shared_designs(sums)
        self.free = free
        self.n_fixed = len(sums.within) - 1
        self.df = sums.n_rows - (self.n_fixed if reml else 0)
        self.upper = np.triu_indices(self.n_fixed + 1)
        self.weight_all = float(self.df)
        self.weight_fixed = float(self.df - (1 if reml else 0))

    @cached_property
    def constant(self) -> float:
        """What the deviance holds beside its logarithms."""
        return float(self.df * (1.0 + np.log(2 * np.pi / self.df)))

    def __call__(self, theta: Floats) -> Point:
        """Value, gradient and Hessian at theta, one entry per name in `free`."""
        lower = factor(theta, self.free)
        logs, products = self._totals(lower)
        moments, by_g = products[0], products[1:]
        try:
            half_all = np.linalg.cholesky(moments)
        except np.linalg.LinAlgError:
            empty = np.full(3, np.inf)
            return Point(np.inf, empty[list(self.free)], np.eye(len(self.free)), moments)
        roots = np.log(half_all.diagonal())
        value = (
            logs[0]
            + 2 * self.weight_all * roots.sum()
            - 2 * self.weight_fixed * roots[:-1].sum()
            + self.constant
        )
        gradient, hessian = logs[1:4].copy(), logs[4:].copy()
        inverse_all = np.linalg.inv(half_all)
        for weight, size in (
            (self.weight_all, self.n_fixed + 1),
            (-self.weight_fixed, self.n_fixed),
        ):
            inverse = inverse_all[:size, :size]
            white = (inverse @ by_g[:, :size, :size] @ inverse.T).reshape(9, -1)
            traces = white[:, :: size + 1].sum(axis=1)
            cross = white[:3] @ white[:3].T
            gradient += weight * traces[:3]
            hessian += weight * (traces[3:] - cross[PAIRS])
        return Point(float(value), *_by_theta(gradient, hessian, lower, self.free), moments)

    def _totals(self, lower: Floats) -> tuple[Floats, Floats]:
        """Sum log|H| and S with their derivatives by G11, G12, G22: shapes (10,), (10, k, k)."""
        size, upper = self.n_fixed + 1, self.upper
        logs = np.zeros(10)
        totals = np.zeros((10, len(upper[0])))
        for part in walk(self.sums) if self.shared is None else [self.shared]:
            weights, log_sums = _weights(part, lower)
            logs += log_sums
            totals += gram(weights.reshape(10, -1), part.squares.reshape(len(totals.T), -1))
        products = np.zeros((10, size, size))
        products[:, upper[0], upper[1]] = totals
        products[:, upper[1], upper[0]] = totals
        products[0] += self.sums.within
        return logs, products


def _weights(part: Designs, lower: Floats) -> tuple[Floats, Floats]:
    """Weights of `squares` in S and its derivatives, (10, 3, d), and the ten sums of log|H|."""
    r11, r12, r22 = part.r11, part.r12, part.r22
    g = (lower[0, 0] ** 2, lower[0, 0] * lower[1, 0], float(lower[1] @ lower[1]))
    n11, n12, n21, n22, det = _solve(r11, r12, r22, g, lower)
    k11, k12, k22 = n11 * r11, n21 * r11, n21 * r12 + n22 * r22
    v = r11 * g[1] + r12 * g[2]
    inverse = 1.0 / det
    w = np.empty((10, 3, len(det)))
    np.multiply(1.0 + r22 * r22 * g[2], inverse, out=w[0, 0])
    np.multiply(-r22 * v, inverse, out=w[0, 1])
    np.multiply(1.0 + r11 * (r11 * g[0] + r12 * g[1]) + r12 * v, inverse, out=w[0, 2])
    t11, t12, t22 = w[1], w[2], w[3]
    np.multiply(n11, n11, out=t11[0])
    np.multiply(n11, n12, out=t11[1])
    np.multiply(n12, n12, out=t11[2])
    np.multiply(2.0 * n11, n21, out=t12[0])
    np.multiply(n11, n22, out=t12[1])
    t12[1] += n12 * n21
    np.multiply(2.0 * n12, n22, out=t12[2])
    np.multiply(n21, n21, out=t22[0])
    np.multiply(n21, n22, out=t22[1])
    np.multiply(n22, n22, out=t22[2])
    np.multiply(2.0 * k11, t11, out=w[4])
    np.multiply(2.0 * k12, t11, out=w[5])
    w[5] += k11 * t12
    np.multiply(k12, t12, out=w[6])
    np.multiply(2.0 * k22, t11, out=w[7])
    w[7] += 2.0 * w[6]
    w[7] += 2.0 * k11 * t22
    np.multiply(k22, t12, out=w[8])
    w[8] += 2.0 * k12 * t22
    np.multiply(2.0 * k22, t22, out=w[9])
    np.negative(w[1:4], out=w[1:4])
    k = np.stack((k11, k12, k22))
    first = k @ part.times
    kk = (k * part.times) @ k.T
    logs = [np.log(det) @ part.times, first[0], 2.0 * first[1], first[2]]
    logs += [-kk[0, 0], -2.0 * kk[0, 1], -kk[1, 1]]
    logs += [-2.0 * (kk[1, 1] + kk[0, 2]), -2.0 * kk[1, 2], -kk[2, 2]]
    return w, np.array(logs)


def _by_theta(
    gradient: Floats, hessian: Floats, lower: Floats, free: tuple[int, ...]
) -> tuple[Floats, Floats]:
    """Carry derivatives by G11, G12, G22 over to the free entries of its Cholesky factor."""
    l11, l21, l22 = lower[0, 0], lower[1, 0], lower[1, 1]
    jacobian = np.array([[2 * l11, 0.0, 0.0], [l21, l11, 0.0], [0.0, 2 * l21, 2 * l22]])
    bend = np.diag([2 * gradient[0], 2 * gradient[2], 2 * gradient[2]])
    bend[0, 1] = bend[1, 0] = gradient[1]
    keep = list(free)
    square = np.empty((3, 3))
    square[PAIRS] = square.T[PAIRS] = hessian
    full = jacobian.T @ square @ jacobian + bend
    return (jacobian.T @ gradient)[keep], full[keep][:, keep]
