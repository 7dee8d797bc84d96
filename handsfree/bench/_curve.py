"""A curve of confusion against distance, and how well distances rank pairs. Pure: counts in, numbers out."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["CEILING", "Curve", "Row", "bin_of", "binned", "fit", "interval", "rank_correlation", "resampled"]

#: Two phrases of the same sound are confused every second time, whichever of them a recognizer prefers.
CEILING = 0.5
_RIDGE = 1e-3  # keeps the curve finite where the counts could be separated without an error
_STEPS = 100

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Curve:
    """Confusion rate at distance d: CEILING / (1 + exp(-(start + slope * d)))."""

    start: float
    slope: float

    def rate(self, distance: ArrayLike) -> Floats:
        return _rate(self.start + self.slope * np.asarray(distance, dtype=np.float64))

    def reaches(self, rate: float) -> float:
        """The distance at which the curve falls to ``rate``; infinite when it does not fall."""
        if not 0 < rate < CEILING:
            raise ValueError(f"a rate between 0 and {CEILING}, not {rate}")
        share = rate / CEILING
        return (math.log(share / (1 - share)) - self.start) / self.slope if self.slope < 0 else math.inf


def _rate(x: Floats) -> Floats:
    return np.asarray(CEILING / (1 + np.exp(-np.clip(x, -30, 30))), dtype=np.float64)


def fit(distance: ArrayLike, confused: ArrayLike, said: ArrayLike) -> Curve:
    """The likeliest curve for pairs ``distance`` apart that were ``confused`` times out of ``said``.

    Fisher scoring of a logistic regression with a fixed upper asymptote, a step halved while it does not help.
    """
    d, k, n = (np.asarray(v, dtype=np.float64) for v in (distance, confused, said))
    design = np.stack([np.ones_like(d), d], axis=1)
    found = np.zeros(2)
    best = _penalized(design, found, k, n)
    for _ in range(_STEPS):
        p = _rate(design @ found)
        slope = p * (1 - p / CEILING)
        gradient = design.T @ (slope * (k - n * p) / (p * (1 - p))) - _RIDGE * found
        information = (design.T * (n * slope**2 / (p * (1 - p)))) @ design + _RIDGE * np.eye(2)
        step = np.linalg.solve(information, gradient)
        while (now := _penalized(design, found + step, k, n)) < best and np.abs(step).max() > 1e-9:
            step = step / 2
        if np.abs(step).max() < 1e-8:
            break
        found, best = found + step, now
    return Curve(float(found[0]), float(found[1]))


def _penalized(design: Floats, found: Floats, k: Floats, n: Floats) -> float:
    p = _rate(design @ found)
    return float(np.sum(k * np.log(p) + (n - k) * np.log1p(-p)) - _RIDGE / 2 * np.sum(found**2))


def resampled(size: int, times: int, seed: int) -> Iterator[NDArray[np.intp]]:
    """Bootstrap: ``times`` draws of ``size`` pairs with replacement. Whole pairs are drawn, because the same
    pair by several voices is not several independent pairs."""
    rng = np.random.default_rng(seed)
    for _ in range(times):
        yield rng.integers(0, size, size)


def interval(values: Sequence[float]) -> tuple[float, float]:
    """The middle 95 % of bootstrap results."""
    low, high = np.quantile(np.asarray(values, dtype=np.float64), (0.025, 0.975), method="nearest")
    return float(low), float(high)


def rank_correlation(a: ArrayLike, b: ArrayLike) -> float:
    """Spearman's: the correlation of ranks, equal values sharing their mean rank."""
    x, y = _ranks(np.asarray(a, dtype=np.float64)), _ranks(np.asarray(b, dtype=np.float64))
    x, y = x - x.mean(), y - y.mean()
    size = math.sqrt(float(x @ x) * float(y @ y))
    return float(x @ y) / size if size else 0.0


def _ranks(values: Floats) -> Floats:
    _, number, count = np.unique(values, return_inverse=True, return_counts=True)
    last = np.cumsum(count)
    return np.asarray((last - (count - 1) / 2)[number], dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Row:
    """One bin of distances, its lower bound left out, its upper in: how often pairs in it were confused."""

    low: float
    high: float
    pairs: int
    confused: int
    said: int

    @property
    def rate(self) -> float:
        return self.confused / self.said if self.said else math.nan


def bin_of(distance: float, width: float) -> int:
    """The number of a distance's bin. A bin holds its upper bound, so that the first holds a whole ``width``."""
    return max(0, math.ceil(round(distance / width, 6)) - 1)


def binned(distance: ArrayLike, confused: ArrayLike, said: ArrayLike, width: float) -> list[Row]:
    """Counts by distance, bins without a pair left out."""
    d, k, n = (np.asarray(v, dtype=np.float64) for v in (distance, confused, said))
    number = np.array([bin_of(value, width) for value in d])
    rows = []
    for which in sorted(set(number.tolist())):
        here = number == which
        low = which * width
        rows.append(Row(low, low + width, int(here.sum()), int(k[here].sum()), int(n[here].sum())))
    return rows
