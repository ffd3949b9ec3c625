"""The inverse-Gaussian law of growth, and the innovations that a sampler moves in its place.

Over an interval the deposit grows by an inverse-Gaussian amount x with mean ``mu`` and shape ``mu^2 / nu``, so its
variance is ``nu * mu``: nu is the dispersion, ``s = sqrt(nu/mu)`` the coefficient of variation. Such increments add up:
two half intervals are distributed as the whole one (Wasan 1968; Ye & Chen 2014 for its use in degradation).

The signed root ``v = (x - mu) / sqrt(nu x)`` is nearly a standard normal; the exponent of the density is ``-v^2/2``.
The innovation w is a standard normal that says how an interval's growth fell out, whatever its mean and dispersion: v
is nearly the quantile of its own law at w, ``v = T(w, ln s)``. T is read from a table by straight lines, rises with w,
and what it misses is kept as a prior ratio, ``phi(v) * 2/(1 + x/mu) * dT/dw / phi(w)``, within a per cent or so of 1:
the law is exact.

A short interval, or a water that scales hardly, has a large s. Its growth is then nearly nothing with now and then a
jump, its signed root nearly half a normal; in w it is as round as any other, which is what a sampler asks for.
"""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

import numpy as np
from scipy.special import erfcx, ndtr, ndtri

from scalemodel.model.quantiles import find_cell
from scalemodel.model.tails import in_blocks, scaled_tail

INNOVATIONS = np.linspace(-8.0, 8.0, 321)
LOG_CVS = np.linspace(np.log(0.05), np.log(5000.0), 78)
"""Knots of w and of ln s; beyond the outer ones T goes straight on in w and stays as it is in s, still exactly."""

_SIGNED_ROOTS = np.sinh(np.linspace(-4.5, 4.5, 1201)) / 5.0
_LEAST = 1e-300
_LOG_2 = float(np.log(2.0))


def growth_of_signed_root(mean, dispersion, root):
    """Growth from its signed root v, nearly a normal, and the prior ratio that makes it inverse-Gaussian exactly.

    With ``x = mu exp(t)``, ``t = 2 asinh(v sqrt(nu/mu) / 2)``, the exponent of the inverse-Gaussian density is
    ``-v^2/2``, and what is left of it in terms of v is ``phi(v) * 2 / (1 + x/mu)``: a normal that leans to the smaller
    of the two roots that Michael, Schucany & Haas (1976) choose between. The map is smooth and rises with v.

    Parameters
    ----------
    mean : array (...)
        mu >= 0 [mg/cm2]; where it is 0, growth is 0 for v < 0 and v > 0 has no weight.
    dispersion : array (...)
        nu > 0 [mg/cm2]; the shape is mu^2 / nu, the variance nu mu.
    root : array (...)
        v = (x - mu) / sqrt(nu x) [-].

    Returns
    -------
    amount : array (...)
        The growth x [mg/cm2], not negative.
    ratio : array (...)
        ``2 / (1 + x/mu)`` in [0, 2] [-]; the density of v is ``phi(v) * ratio``.

    >>> amount, ratio = growth_of_signed_root(2.0, 0.5, 0.0)
    >>> float(amount), float(ratio)
    (2.0, 1.0)
    """
    reach = np.abs(root) * np.sqrt(0.25 * dispersion)
    large = np.sqrt(mean + reach * reach)
    large += reach
    large *= large
    below = np.less(root, 0.0)
    whole = large + mean
    ratio = 2.0 * np.where(below, large, mean) / np.where(whole > 0.0, whole, np.inf)
    small = mean * mean / np.where(large > 0.0, large, np.inf)
    return np.where(below, small, large), ratio


def draw_signed_roots(rng: np.random.Generator, mean, dispersion):
    """Signed roots v, shaped as ``mean``, from their law (Michael, Schucany & Haas 1976).

    They keep the size of a normal and turn to the negative side with probability ``1/(1 + exp(-|t|))``.
    """
    size = np.abs(rng.standard_normal(np.shape(mean)))
    _, keep = growth_of_signed_root(mean, dispersion, size)
    return np.where(2.0 * rng.random(np.shape(mean)) < keep, size, -size)


def draw_growth(rng: np.random.Generator, mean, dispersion):
    """Growth [mg/cm2], shaped as ``mean``, from the inverse-Gaussian law."""
    return growth_of_signed_root(mean, dispersion, draw_signed_roots(rng, mean, dispersion))[0]


def survival(amount, mean, dispersion):
    """Probability that growth exceeds ``amount``: P(dD > x), without overflow and sharp in the far tail.

    With ``a = (x - mu)/sqrt(nu x)`` and ``b = (x + mu)/sqrt(nu x)`` the textbook form
    ``Phi(-a) - exp(2 mu/nu) Phi(-b)`` equals ``exp(-a^2/2) [erfcx(a/sqrt 2) - erfcx(b/sqrt 2)] / 2``,
    because ``b^2 - a^2 = 4 mu/nu``; that form neither overflows nor cancels. Below 0 the first term is one less than
    its mirror image.

    Parameters
    ----------
    amount : array (...)
        x [mg/cm2]; where it is not positive the answer is 1.
    mean : array (...)
        mu >= 0 [mg/cm2]; where it is 0 and x > 0 the answer is 0.
    dispersion : array (...)
        nu > 0 [mg/cm2].

    Returns
    -------
    array (...)
        Probability in [0, 1].

    >>> float(survival(6.0, 4.0, 0.5))
    0.0896
    """
    return in_blocks(_survival, amount, mean, dispersion)


def _survival(amount, mean, dispersion):
    passed = np.less_equal(amount, 0.0)
    x = np.where(passed, 1.0, amount)
    per = np.sqrt(0.5 / (dispersion * x))
    a = (x - mean) * per
    gauss = 0.5 * np.exp(-a * a)
    above = gauss * scaled_tail(np.abs(a))
    answer = np.where(a > 0.0, above, 1.0 - above) - gauss * scaled_tail((x + mean) * per)
    return np.where(passed, 1.0, np.clip(answer, 0.0, 1.0))


def mean_time_below(amount, rate, dispersion, days):
    """Expected time until growth exceeds ``amount``, counted up to ``days``: E[min(T, t)], the integral of P(T > s).

    Growth after s days is when a Brownian motion with drift 1 and variance nu a unit first reaches ``rate * s``; it is
    within a = ``amount`` while the largest value M of that motion up to a is below. So E[min(T, t)] is
    E[min(M, y)] / rate with ``y = rate t``. With ``s^2 = nu a``,
    ``P(M > z) = Phi((a - z)/s) + exp(2 z/nu) Phi(-(a + z)/s)``, and its integral is elementary (by parts, for
    ``(a + z)^2 - 4 a z = (a - z)^2``).

    Parameters
    ----------
    amount : array (...)
        a [mg/cm2]; where it is not positive the answer is 0.
    rate : array (...)
        Mean growth a day >= 0 [mg/cm2/day]; where it is 0 the answer is ``days``.
    dispersion : array (...)
        nu > 0 [mg/cm2].
    days : array (...)
        t >= 0 [days]; may be infinite where the rate is not 0.

    Returns
    -------
    array (...)
        Between 0 and ``days`` [days].

    >>> float(mean_time_below(6.0, 0.02, 0.3, 100.0)), float(mean_time_below(6.0, 0.02, 0.3, 1e9))
    (99.989, 307.5)
    """
    return in_blocks(_mean_time_below, amount, rate, dispersion, days)


def _mean_time_below(amount, rate, dispersion, days):
    amount, rate, dispersion, days = np.broadcast_arrays(amount, rate, dispersion, days)
    grows = (rate > 0.0) & (amount > 0.0)
    a, g = np.where(grows, amount, 1.0), np.where(grows, rate, 1.0)
    spread = np.sqrt(dispersion * a)
    y = np.minimum(g * np.where(grows, days, 0.0), a + 40.0 * spread)
    ahead, last = (a - y) / spread, ndtr(-a / spread)
    gauss = np.exp(-0.5 * ahead * ahead)
    mirrored = 0.5 * gauss * scaled_tail((a + y) / spread * np.sqrt(0.5))
    start = a / spread
    peaks = (np.exp(-0.5 * start * start) - gauss) / np.sqrt(2.0 * np.pi)
    whole = spread * (start * (1.0 - last) - ahead * ndtr(ahead) + peaks)
    whole += 0.5 * dispersion * (mirrored + ndtr(-ahead) - 2.0 * last)
    lived = np.where(y < 1e-6 * a, days, np.clip(whole / g, 0.0, days))
    return np.where(amount <= 0.0, 0.0, np.where(rate > 0.0, lived, days))


class SignedRoot(NamedTuple):
    """The signed root v, and how it rises with the innovation w; arrays of one shape."""

    value: np.ndarray
    by_innovation: np.ndarray


def innovation_of_signed_root(root, cv):
    """The exact standard normal of a signed root v, ``ndtri(F(v))`` for the law of v at s = sqrt(nu/mu) [-].

    ``F(v) = Phi(v) + phi(v) R(b)``, ``b = sqrt(v^2 + 4/s^2)`` and R the Mills ratio, is the inverse-Gaussian
    distribution (Chhikara & Folks 1989); above 0 its complement ``phi(v) (R(v) - R(b))`` is taken, which keeps its
    digits.

    >>> float(innovation_of_signed_root(0.7, 1e-9)), float(innovation_of_signed_root(-0.6744898, 1e9))
    (0.7, 0.0)
    """
    root = np.asarray(root, dtype=float)
    density = np.exp(-0.5 * root * root) / np.sqrt(2.0 * np.pi)
    mirrored = _mills(np.sqrt(root * root + 4.0 / cv**2))
    below = ndtr(root) + density * mirrored
    above = density * (_mills(np.maximum(root, 0.0)) - mirrored)
    return np.where(root > 0.0, -ndtri(np.clip(above, _LEAST, 1.0)), ndtri(np.clip(below, _LEAST, 1.0)))


def _mills(z):
    """Phi(-z) / phi(z)."""
    return np.sqrt(0.5 * np.pi) * erfcx(z * np.sqrt(0.5))


@cache
def signed_root_table() -> np.ndarray:
    """T at the knots, flat, row after row of ln s."""
    rows = [np.interp(INNOVATIONS, innovation_of_signed_root(_SIGNED_ROOTS, s), _SIGNED_ROOTS) for s in np.exp(LOG_CVS)]
    return np.ravel(rows)


def find_signed_root(innovation, log_cv) -> SignedRoot:
    """T(w, ln s), arrays of one shape."""
    return _bilinear(*_cell(innovation, log_cv))


def find_signed_root_and_rise(innovation, log_cv) -> tuple[SignedRoot, np.ndarray]:
    """T(w, ln s), and how it rises with ln s; arrays of one shape."""
    cell = across, _, _, _, step, bend = _cell(innovation, log_cv)
    # Beyond the table's first and last row the place is held at its end, so that nothing changes with ln s there.
    inside = (log_cv > LOG_CVS[0]) & (log_cv < LOG_CVS[-1])
    rise = np.where(inside, (step + across * bend) / (LOG_CVS[1] - LOG_CVS[0]), 0.0)
    return _bilinear(*cell), rise


def _bilinear(across, along, low, rise, step, bend) -> SignedRoot:
    """``low + along step + across (rise + along bend)``, bend being how the rise differs between the rows; in place."""
    bend *= along
    bend += rise
    step *= along
    low += step
    low += across * bend
    bend *= 1.0 / (INNOVATIONS[1] - INNOVATIONS[0])
    return SignedRoot(low, bend)


def _cell(innovation, log_cv):
    """Places in a cell of the table, its value at the first corner, what it rises by with w and ln s, and with both."""
    column, across = find_cell(innovation, INNOVATIONS)
    row, along = _cv_cell(log_cv)
    table, wide = signed_root_table(), len(INNOVATIONS)
    # The table is flat, row after row: the other corners of the cell stand one place and one row further.
    row *= wide
    row += column
    low, rise = table[row], table[row + 1]
    rise -= low
    row += wide
    step, bend = table[row], table[row + 1]
    bend -= step
    bend -= rise
    step -= low
    return across, along, low, rise, step, bend


def _cv_cell(log_cv):
    row, along = find_cell(log_cv, LOG_CVS)
    return row, np.minimum(np.maximum(along, 0.0), 1.0)


def log_cv(mean, log_dispersion):
    """ln s = ln sqrt(nu/mu) [-] of a mean mu >= 0 [mg/cm2] and of ln nu, the dispersion nu in mg/cm2."""
    logs = np.log(np.maximum(mean, _LEAST))
    return 0.5 * (log_dispersion - logs)


def increment(mean, dispersion, innovation):
    """Growth from an innovation, and the prior ratio that makes it inverse-Gaussian exactly.

    Parameters
    ----------
    mean : array (...)
        mu >= 0 [mg/cm2].
    dispersion : array (...)
        nu > 0 [mg/cm2]; the shape is mu^2 / nu, the variance nu mu.
    innovation : array (...)
        w [-].

    Returns
    -------
    amount : array (...)
        The growth x [mg/cm2], not negative; it rises with w.
    ratio : array (...)
        Near 1 [-]; the density of w is ``phi(w) * ratio``.

    >>> amount, ratio = increment(2.0, 0.5, 0.0)
    >>> round(float(amount), 2), round(float(ratio), 2)  # the median
    (1.78, 1.0)
    """
    mean, dispersion, innovation = np.broadcast_arrays(mean, dispersion, innovation)
    return increment_of_signed_root(
        find_signed_root(innovation, log_cv(mean, np.log(dispersion))), mean, dispersion, innovation
    )


def increment_of_signed_root(root: SignedRoot, mean, dispersion, innovation):
    """What `increment` gives, from a signed root that was found already."""
    amount, ratio = growth_of_signed_root(mean, dispersion, root.value)
    gap = np.exp(0.5 * (innovation - root.value) * (innovation + root.value))
    return amount, ratio * root.by_innovation * gap


def grow(mean, dispersion, root: SignedRoot, innovation) -> tuple[np.ndarray, np.ndarray]:
    """What `increment` gives of intervals (J, n): growth, and the log (n,) of the product of all prior ratios.

    The growth is ``(r + sqrt(mu + r^2))^2`` with ``r = v sqrt(nu) / 2``, whichever way v points: below 0 the sum loses
    digits, but no more of them than a unit in the last place of r, which no deposit could show.
    """
    reach = root.value * np.sqrt(0.25 * dispersion)
    amount = reach * reach
    amount += mean
    np.sqrt(amount, out=amount)
    amount += reach
    amount *= amount
    ratio = mean + _LEAST  # where nothing can grow and nothing did, 1; where something did, next to nothing
    ratio /= amount + ratio
    ratio *= root.by_innovation
    gap = innovation - root.value
    gap *= innovation + root.value
    np.log(ratio, out=ratio)
    gap *= 0.5
    ratio += gap
    return amount, ratio.sum(axis=0) + len(mean) * _LOG_2


def invert_increment(amount, mean, dispersion):
    """The innovation w [-] for which `increment` gives ``amount`` > 0 [mg/cm2].

    >>> float(increment(2.0, 0.4, invert_increment(0.5, 2.0, 0.4))[0])
    0.5
    """
    return invert_signed_root((amount - mean) / np.sqrt(dispersion * amount), log_cv(mean, np.log(dispersion)))


def invert_signed_root(root, log_cv):
    """The innovation w [-] at which T(w, ln s) is ``root``: `find_signed_root` backwards, arrays that broadcast."""
    root, log_cv = np.broadcast_arrays(root, log_cv)
    row, along = _cv_cell(log_cv)
    last = len(INNOVATIONS) - 2
    width = INNOVATIONS[1] - INNOVATIONS[0]
    guess = innovation_of_signed_root(root, np.exp(np.clip(log_cv, LOG_CVS[0], LOG_CVS[-1])))
    column = np.clip((guess - INNOVATIONS[0]) / width, 0, last).astype(np.intp)
    table, wide = signed_root_table(), len(INNOVATIONS)

    def knot(column):
        corner = row * wide + column
        return table[corner] + along * (table[corner + wide] - table[corner])

    for _ in range(wide):
        low, high = knot(column), knot(column + 1)
        moved = np.clip(column + (root >= high).astype(np.intp) - (root < low), 0, last)
        if np.array_equal(moved, column):
            break
        column = moved
    return INNOVATIONS[0] + width * (column + (root - low) / (high - low))


def draw_innovations(rng: np.random.Generator, mean, dispersion):
    """Innovations w, shaped as ``mean``, from their law, which is nearly N(0, 1)."""
    return invert_signed_root(draw_signed_roots(rng, mean, dispersion), log_cv(mean, np.log(dispersion)))
