"""The law of growth: capture fraction, scaling potential, and the inverse-Gaussian process.

Over an interval the deposit grows by an inverse-Gaussian amount with mean ``mu`` and shape
``mu^2 / nu``, so its variance is ``nu * mu``. Such increments add up: two half intervals are
distributed as the whole one (Wasan 1968; Ye & Chen 2014 for its use in degradation).

Functions that the gradient-based reference shares take the array namespace ``xp``.
"""

from __future__ import annotations

import numpy as np
from scipy.special import erfcx, ndtr

from scalemodel.model.priors import REFERENCE_TEMPERATURE_C
from scalemodel.model.quantiles import find_cell
from scalemodel.water.constants import KELVIN

GAS_CONSTANT_KJ = 8.31446261815324e-3


def inverse_temperature_gap(temperature_c: float) -> float:
    """1/(R T_ref) - 1/(R T) [mol/kJ]: what an activation energy is multiplied by.

    >>> inverse_temperature_gap(93.0)
    0.0
    >>> inverse_temperature_gap(60.0)
    -0.032537
    """
    return (1.0 / (REFERENCE_TEMPERATURE_C + KELVIN) - 1.0 / (temperature_c + KELVIN)) / GAS_CONSTANT_KJ


def capture_fraction(logit_at_reference, activation_kj_mol, temperature_c: float, xp=np):
    """Share of the scaling potential that stays as scale, an Arrhenius shift of a logit.

    ``phi(T) = expit(a + (E/R) (1/T_ref - 1/T))``, T_ref = 93 C.

    Parameters
    ----------
    logit_at_reference : array (...)
        a, the logit of the capture fraction at 93 C [-].
    activation_kj_mol : array (...)
        E [kJ/mol].
    temperature_c : float
        Boiler temperature [C].

    Returns
    -------
    array (...)
        Capture fraction in (0, 1) [-].

    >>> float(capture_fraction(0.0, 30.0, 93.0))
    0.5
    >>> float(capture_fraction(0.0, 30.0, 60.0))
    0.2736
    """
    return 1.0 / (1.0 + xp.exp(-(logit_at_reference + activation_kj_mol * inverse_temperature_gap(temperature_c))))


def read_table(table, log_factor):
    """The three potentials of a water at log concentration factors, straight lines between the table's even knots.

    Parameters
    ----------
    table : SupplyTable
        Knots ``log_factor`` and ``closed``, ``open``, ``dry`` [mg/L as CaCO3], each (49,).
    log_factor : array (n,)
        ln f [-]; beyond the outer knots the outer values hold.

    Returns
    -------
    closed, open, dry : arrays (n,) [mg/L as CaCO3]
    """
    knot, part = find_cell(log_factor, table.log_factor)
    part = np.clip(part, 0.0, 1.0)
    return tuple(v[knot] + (v[knot + 1] - v[knot]) * part for v in (table.closed, table.open, table.dry))


def table_slopes(table, log_factor):
    """How the three potentials of `read_table` rise with ln f (n,); they are level at and beyond the outer knots."""
    knots = table.log_factor
    knot, _ = find_cell(log_factor, knots)
    inside = (log_factor > knots[0]) & (log_factor < knots[-1])
    step = (knots[-1] - knots[0]) / (len(knots) - 1)
    return tuple(np.where(inside, (v[knot + 1] - v[knot]) / step, 0.0) for v in (table.closed, table.open, table.dry))


def blend_potential(closed, open_, dry, degassing, steam_share: float):
    """Scaling potential of a litre, ``(1-q) [(1-k) S_closed + k S_open] + q S_dry`` [mg/L as CaCO3].

    ``degassing`` is k in (0, 1), ``steam_share`` q in [0, 1]; the three potentials are in mg/L as CaCO3 and
    all arrays broadcast.

    >>> blend_potential(40.0, 110.0, 140.0, 0.3, 0.0)
    61.0
    """
    return (1.0 - steam_share) * ((1.0 - degassing) * closed + degassing * open_) + steam_share * dry


def root_growth(mean, irregularity, root):
    """Growth from its root v, nearly a normal, and the tilt that makes it inverse-Gaussian exactly.

    With ``x = mu exp(t)``, ``t = 2 asinh(v sqrt(nu/mu) / 2)``, the exponent of the inverse-Gaussian density is
    ``-v^2/2``, and what is left of it in terms of v is ``phi(v) * 2 / (1 + x/mu)``: a normal tilted towards the smaller
    of the two roots that Michael, Schucany & Haas (1976) choose between. The map is smooth and rises with v.

    Parameters
    ----------
    mean : array (...)
        mu >= 0 [mg/cm2]; where it is 0, growth is 0 for v < 0 and v > 0 has no weight.
    irregularity : array (...)
        nu > 0 [mg/cm2]; the shape is mu^2 / nu, the variance nu mu.
    root : array (...)
        v = (x - mu) / sqrt(nu x) [-].

    Returns
    -------
    amount : array (...)
        The growth x [mg/cm2], not negative.
    tilt : array (...)
        ``2 / (1 + x/mu)`` in [0, 2] [-]; the density of v is ``phi(v) * tilt``.

    >>> amount, tilt = root_growth(2.0, 0.5, 0.0)
    >>> float(amount), float(tilt)
    (2.0, 1.0)
    """
    reach = np.abs(root) * np.sqrt(0.25 * irregularity)
    large = np.sqrt(mean + reach * reach)
    large += reach
    large *= large
    below = np.less(root, 0.0)
    whole = large + mean
    tilt = 2.0 * np.where(below, large, mean) / np.where(whole > 0.0, whole, np.inf)
    small = mean * mean / np.where(large > 0.0, large, np.inf)
    return np.where(below, small, large), tilt


def draw_roots(rng: np.random.Generator, mean, irregularity):
    """Roots v, shaped as ``mean``, from their tilted normal (Michael, Schucany & Haas 1976).

    A tilted normal keeps the size of a normal and turns to the negative side with probability ``1/(1 + exp(-|t|))``.
    """
    size = np.abs(rng.standard_normal(np.shape(mean)))
    _, keep = root_growth(mean, irregularity, size)
    return np.where(2.0 * rng.random(np.shape(mean)) < keep, size, -size)


def draw_growth(rng: np.random.Generator, mean, irregularity):
    """Growth [mg/cm2], shaped as ``mean``, from the inverse-Gaussian law."""
    return root_growth(mean, irregularity, draw_roots(rng, mean, irregularity))[0]


def survival(amount, mean, irregularity):
    """Probability that growth exceeds ``amount``: P(dD > x), without overflow and sharp in the far tail.

    With ``a = (x - mu)/sqrt(nu x)`` and ``b = (x + mu)/sqrt(nu x)`` the textbook form
    ``Phi(-a) - exp(2 mu/nu) Phi(-b)`` equals ``exp(-a^2/2) [erfcx(a/sqrt 2) - erfcx(b/sqrt 2)] / 2``,
    because ``b^2 - a^2 = 4 mu/nu``; that form neither overflows nor cancels.

    Parameters
    ----------
    amount : array (...)
        x [mg/cm2]; where it is not positive the answer is 1.
    mean : array (...)
        mu >= 0 [mg/cm2]; where it is 0 and x > 0 the answer is 0.
    irregularity : array (...)
        nu > 0 [mg/cm2].

    Returns
    -------
    array (...)
        Probability in [0, 1].

    >>> float(survival(6.0, 4.0, 0.5))
    0.0896
    """
    amount, mean, irregularity = np.broadcast_arrays(amount, mean, irregularity)
    passed = amount <= 0.0
    x = np.where(passed, 1.0, amount)
    scale = np.sqrt(irregularity * x)
    a = (x - mean) / scale
    b = (x + mean) / scale
    above = np.maximum(a, 0.0)
    gauss = 0.5 * np.exp(-0.5 * a * a)
    tail = gauss * erfcx(b * np.sqrt(0.5))
    answer = np.where(a > 0.0, gauss * erfcx(above * np.sqrt(0.5)), ndtr(-a)) - tail
    return np.where(passed, 1.0, np.clip(answer, 0.0, 1.0))


def mean_time_below(amount, rate, irregularity, days):
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
    irregularity : array (...)
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
    amount, rate, irregularity, days = np.broadcast_arrays(amount, rate, irregularity, days)
    grows = (rate > 0.0) & (amount > 0.0)
    a, g = np.where(grows, amount, 1.0), np.where(grows, rate, 1.0)
    spread = np.sqrt(irregularity * a)
    y = np.minimum(g * np.where(grows, days, 0.0), a + 40.0 * spread)
    ahead, last = (a - y) / spread, ndtr(-a / spread)
    gauss = np.exp(-0.5 * ahead * ahead)
    mirrored = 0.5 * gauss * erfcx((a + y) / spread * np.sqrt(0.5))
    start = a / spread
    peaks = (np.exp(-0.5 * start * start) - gauss) / np.sqrt(2.0 * np.pi)
    whole = spread * (start * (1.0 - last) - ahead * ndtr(ahead) + peaks)
    whole += 0.5 * irregularity * (mirrored + ndtr(-ahead) - 2.0 * last)
    lived = np.where(y < 1e-6 * a, days, np.clip(whole / g, 0.0, days))
    return np.where(amount <= 0.0, 0.0, np.where(rate > 0.0, lived, days))
