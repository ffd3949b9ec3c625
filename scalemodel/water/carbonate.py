"""Carbonate equilibria of many waters at many temperatures at once, 0 to 130 deg C.

A water is its `Ions`: totals of calcium, magnesium, sodium, chloride and sulphate and its alkalinity. Four
questions are asked of it: what carbon it holds (`from_ph`), what becomes of it when heated with its CO2 kept
(`closed_system`) or lost to the air (`open_system`), and the same two with calcite let dissolve or settle until
it is in equilibrium (`closed_system_with_calcite`, `open_system_with_calcite`).

Activities are Davies', uncharged species count as ideal, ten ion pairs and NaCO3- are formed; one litre
of water is taken as one kilogram. Each question comes down to one equation: the alkalinity that the species
carry at a trial pH, less the alkalinity that the water has. Total carbon (or its pressure) is held, never
the alkalinity alone, so that this difference rises with pH all the way and its root is the only one; a search
that holds alkalinity and lets bicarbonate be what is left over can meet a negative bicarbonate in hot
dilute water. The root is taken inside a bracket (Ridders' method), then ionic strength and ion pairs
are brought up to date, until nothing moves any more.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from scalemodel.errors import ScalemodelError
from scalemodel.water.constants import LOG_K, checked_temperature, debye_huckel_a, log_activity

AIR_LOG_CO2 = -3.4
"""log10 of the pressure of CO2 in open air [atm]."""

_PH_LOW, _PH_HIGH = 2.0, 14.0
_ROUNDS, _UNDAMPED, _TOLERANCE = 400, 20, 1e-8
"""Most waters settle within 15 rounds."""


class Ions(NamedTuple):
    """Totals of one or many waters, shapes that broadcast; mol per kg, alkalinity in equivalents per kg."""

    calcium: NDArray
    magnesium: NDArray
    sodium: NDArray
    chloride: NDArray
    sulphate: NDArray
    alkalinity: NDArray

    def scaled(self, factor: ArrayLike) -> Ions:
        """The same waters, all ions times a factor (any shape that broadcasts)."""
        return Ions(*(np.asarray(part) * np.asarray(factor) for part in self))


class State(NamedTuple):
    """A water at equilibrium; every field has the broadcast shape of what was asked.

    ph : pH.
    carbon : total inorganic carbon in solution [mol/kg].
    saturation_index : log10 of the ion activity product of calcite over its constant; -inf without
        calcium or without carbonate.
    ionic_strength : [mol/kg].
    settled : calcite that has settled out [mol/kg]; negative if it dissolved; 0 where none was offered.
    """

    ph: NDArray
    carbon: NDArray
    saturation_index: NDArray
    ionic_strength: NDArray
    settled: NDArray


class _Conditional(NamedTuple):
    """Constants for concentrations at the present ionic strength; h: activity of H+, c: free carbonate."""

    h: NDArray  # [H+] = this * h
    hydroxide: NDArray  # [OH-] = this / h
    bicarbonate: NDArray  # [HCO3-] = this * c h
    co2: NDArray  # [CO2] = this * c h^2
    ca_hco3: NDArray  # [CaHCO3+] = this * [Ca] c h
    mg_hco3: NDArray
    na_hco3: NDArray
    ca_co3: NDArray  # [CaCO3] = this * [Ca] c
    mg_co3: NDArray
    na_co3: NDArray
    ca_so4: NDArray  # [CaSO4] = this * [Ca] [SO4]
    mg_so4: NDArray
    na_so4: NDArray
    ca_oh: NDArray  # [CaOH+] = this * [Ca] / h
    mg_oh: NDArray
    calcite: NDArray  # [Ca] c at saturation
    air: NDArray  # [CO2] under a CO2 pressure of 1 atm


class _Free(NamedTuple):
    """What the last round left: free ions and what binds the metals beside hydroxide."""

    calcium: NDArray
    magnesium: NDArray
    sodium: NDArray
    sulphate: NDArray
    calcium_pairs: NDArray  # total Ca = [Ca] * (this + ca_oh / h)
    magnesium_pairs: NDArray


_Trial = Callable[[NDArray], tuple[NDArray, NDArray, NDArray]]
"""From h: the surplus of alkalinity, free carbonate and free calcium."""


def _conditional(k: dict[str, NDArray], gamma_1: NDArray) -> _Conditional:
    gamma_2 = gamma_1**4
    bicarbonate = gamma_2 / (k["second"] * gamma_1)
    return _Conditional(
        h=1.0 / gamma_1,
        hydroxide=k["water"] / gamma_1,
        bicarbonate=bicarbonate,
        co2=gamma_2 / (k["first"] * k["second"]),
        ca_hco3=k["CaHCO3+"] * gamma_2 * bicarbonate,
        mg_hco3=k["MgHCO3+"] * gamma_2 * bicarbonate,
        na_hco3=k["NaHCO3"] * gamma_1**2 * bicarbonate,
        ca_co3=k["CaCO3"] * gamma_2**2,
        mg_co3=k["MgCO3"] * gamma_2**2,
        na_co3=k["NaCO3-"] * gamma_2,
        ca_so4=k["CaSO4"] * gamma_2**2,
        mg_so4=k["MgSO4"] * gamma_2**2,
        na_so4=k["NaSO4-"] * gamma_2,
        ca_oh=k["CaOH+"] * gamma_2 / gamma_1,
        mg_oh=k["MgOH+"] * gamma_2 / gamma_1,
        calcite=k["calcite"] / gamma_2**2,
        air=k["co2_gas"],
    )


def _carbonate_sums(k: _Conditional, free: _Free, calcium: NDArray | float) -> tuple[NDArray, NDArray]:
    """Species with a carbonate per c, and with a bicarbonate per c h; those of calcium if calcium > 0."""
    carbonate = 1.0 + k.ca_co3 * calcium + k.mg_co3 * free.magnesium + k.na_co3 * free.sodium
    bicarbonate = k.bicarbonate + k.ca_hco3 * calcium + k.mg_hco3 * free.magnesium + k.na_hco3 * free.sodium
    return carbonate, bicarbonate


def _magnesium_hydroxide(k: _Conditional, ions: Ions, free: _Free, h: NDArray) -> NDArray:
    bound = k.mg_oh / h
    return ions.magnesium * bound / (free.magnesium_pairs + bound)


def _without_calcite(k: _Conditional, ions: Ions, free: _Free, carbonate_at: Callable) -> _Trial:
    """Surplus of alkalinity when no calcite is offered; `carbonate_at(h, sums)` gives free carbonate."""
    sums = _carbonate_sums(k, free, free.calcium)

    def trial(h):
        c = carbonate_at(h, sums)
        bound = k.ca_oh / h
        calcium = ions.calcium / (free.calcium_pairs + bound)
        bases = k.hydroxide / h - k.h * h + calcium * bound + _magnesium_hydroxide(k, ions, free, h)
        return c * (2.0 * sums[0] + sums[1] * h) + bases - ions.alkalinity, c, calcium

    return trial


def _closed_system(k: _Conditional, ions: Ions, free: _Free, carbon: NDArray) -> _Trial:
    def carbonate_at(h, sums):
        return carbon / (sums[0] + sums[1] * h + k.co2 * h**2)

    return _without_calcite(k, ions, free, carbonate_at)


def _open_system(k: _Conditional, ions: Ions, free: _Free, co2_atm: NDArray) -> _Trial:
    return _without_calcite(k, ions, free, lambda h, sums: k.air * co2_atm / (k.co2 * h**2))


def _with_calcite(k: _Conditional, ions: Ions, free: _Free, calcium_at: Callable) -> _Trial:
    """Surplus of alkalinity with calcite in equilibrium; `calcium_at(h, held, sums)` gives free calcium.

    Free calcium times free carbonate is the solubility product, so the pairs of the two are known at once.
    What settles takes two equivalents of alkalinity with each calcium; alkalinity less 2 Ca is what stays.
    """
    sums = _carbonate_sums(k, free, 0.0)

    def trial(h):
        held = 1.0 + k.ca_oh / h + k.ca_so4 * free.sulphate
        calcium = calcium_at(h, held, sums)
        c = k.calcite / calcium
        bases = k.hydroxide / h - k.h * h + _magnesium_hydroxide(k, ions, free, h)
        bases = bases + c * (2.0 * sums[0] + sums[1] * h)
        metals = calcium * (2.0 * held - k.ca_oh / h) + k.calcite * k.ca_hco3 * h
        return bases - metals - (ions.alkalinity - 2.0 * ions.calcium), c, calcium

    return trial


def _closed_system_with_calcite(k: _Conditional, ions: Ions, free: _Free, carbon: NDArray) -> _Trial:
    surplus = ions.calcium - carbon  # settling takes one of each

    def calcium_at(h, held, sums):
        # held Ca - (calcite / Ca) species(h) = surplus, the positive root written without cancellation
        product = held * k.calcite * (sums[0] + sums[1] * h + k.co2 * h**2)
        root = np.sqrt(surplus**2 + 4.0 * product)
        larger = root + np.abs(surplus)
        return np.where(surplus >= 0.0, larger, 4.0 * product / larger) / (2.0 * held)

    return _with_calcite(k, ions, free, calcium_at)


def _open_system_with_calcite(k: _Conditional, ions: Ions, free: _Free, co2_atm: NDArray) -> _Trial:
    return _with_calcite(k, ions, free, lambda h, held, sums: k.calcite * k.co2 * h**2 / (k.air * co2_atm))


def _ph_by_ridders(trial: _Trial, guess: NDArray | None, shape: tuple[int, ...]) -> NDArray:
    """The pH where the surplus of alkalinity is zero; it rises with pH, so a bracket never loses the root."""
    low, high = np.full(shape, _PH_LOW), np.full(shape, _PH_HIGH)
    if guess is not None:
        # From the second round on the last pH is nearly right. Each side closes in on it only where the sign says that
        # the root is still inside; where it is not, that side keeps the whole range.
        near_low, near_high = guess - 0.05, guess + 0.05
        low = np.where(trial(10.0**-near_low)[0] < 0.0, near_low, low)
        high = np.where(trial(10.0**-near_high)[0] > 0.0, near_high, high)
    f_low, f_high = trial(10.0**-low)[0], trial(10.0**-high)[0]
    last = low
    for _ in range(60):
        middle = 0.5 * (low + high)
        f_middle = trial(10.0**-middle)[0]
        # Ridders: the three values are made to lie on a straight line by an exponential factor, and the line is
        # followed to zero. As f_low < 0 < f_high the square root is real and the new point lies inside the bracket; it
        # is 0 only where the middle and an end are roots already, and then the middle is taken.
        scale = np.sqrt(f_middle**2 - f_low * f_high)
        safe = np.where(scale > 0.0, scale, 1.0)
        ph = middle - (middle - low) * f_middle / safe
        f_ph = trial(10.0**-ph)[0]
        if np.all((np.abs(ph - last) < 1e-11) | (f_ph == 0.0)):
            return ph
        last = ph
        # Both points that were tried may tighten the bracket, each water for itself. A point outside what the one
        # before it left is passed over, so that the bracket only ever shrinks.
        for point, value in ((middle, f_middle), (ph, f_ph)):
            below = (value <= 0.0) & (point >= low)
            above = (value > 0.0) & (point <= high)
            low, f_low = np.where(below, point, low), np.where(below, value, f_low)
            high, f_high = np.where(above, point, high), np.where(above, value, f_high)
    return 0.5 * (low + high)


def _updated(k: _Conditional, ions: Ions, free: _Free, h: NDArray, c: NDArray, calcium: NDArray) -> _Free:
    magnesium = ions.magnesium / (free.magnesium_pairs + k.mg_oh / h)
    with_sulphate = 1.0 + k.ca_so4 * calcium + k.mg_so4 * magnesium + k.na_so4 * free.sodium
    sulphate = ions.sulphate / with_sulphate
    sodium = ions.sodium / (1.0 + k.na_hco3 * c * h + k.na_co3 * c + k.na_so4 * sulphate)
    return _Free(
        calcium=calcium,
        magnesium=magnesium,
        sodium=sodium,
        sulphate=sulphate,
        calcium_pairs=1.0 + k.ca_hco3 * c * h + k.ca_co3 * c + k.ca_so4 * sulphate,
        magnesium_pairs=1.0 + k.mg_hco3 * c * h + k.mg_co3 * c + k.mg_so4 * sulphate,
    )


def _ionic_strength(k: _Conditional, ions: Ions, free: _Free, h: NDArray, c: NDArray) -> NDArray:
    twice = free.calcium + free.magnesium + free.sulphate + c
    once = ions.chloride + free.sodium + k.h * h + k.hydroxide / h + k.bicarbonate * c * h
    pairs = free.calcium * (k.ca_hco3 * c * h + k.ca_oh / h)
    pairs = pairs + free.magnesium * (k.mg_hco3 * c * h + k.mg_oh / h)
    pairs = pairs + free.sodium * (k.na_co3 * c + k.na_so4 * free.sulphate)
    return 2.0 * twice + 0.5 * (once + pairs)


def _state(k: _Conditional, ions: Ions, free: _Free, h: NDArray, c: NDArray) -> State:
    carbonate, bicarbonate = _carbonate_sums(k, free, free.calcium)
    dissolved = free.calcium * (free.calcium_pairs + k.ca_oh / h)
    product = free.calcium * c / k.calcite
    index = np.full(product.shape, -np.inf)
    np.log10(product, out=index, where=product > 0.0)
    return State(
        ph=-np.log10(h),
        carbon=c * (carbonate + bicarbonate * h + k.co2 * h**2),
        saturation_index=index,
        ionic_strength=_ionic_strength(k, ions, free, h, c),
        settled=ions.calcium - dissolved,
    )


def _solve(ions: Ions, temperature_c: ArrayLike, held: ArrayLike, rule: Callable | None) -> State:
    """Rounds of root and update until pH, carbonate and ionic strength stand still.

    `held` is what the rule holds (carbon, a CO2 pressure), or with no rule the pH itself.
    """
    t = checked_temperature(temperature_c)
    *spread, t, held = np.broadcast_arrays(*(np.asarray(p, dtype=float) for p in ions), t, held)
    ions = Ions(*spread)
    constants = {name: 10.0 ** log_k.at(t) for name, log_k in LOG_K.items()}
    slope = debye_huckel_a(t)
    one = np.ones(t.shape)
    # To begin with nothing is paired: every total is free, and the ionic strength is that of the bare ions.
    free = _Free(ions.calcium, ions.magnesium, ions.sodium, ions.sulphate, one, one)
    strength = 2.0 * (ions.calcium + ions.magnesium) + ions.sulphate + 0.5 * (ions.sodium + ions.chloride)
    ph, last = None, np.full((3, *t.shape), np.inf)
    for turn in range(_ROUNDS):
        k = _conditional(constants, 10.0 ** log_activity(strength, slope))
        if rule is None:
            # pH is known, carbon is not. The trial without any carbon gives what the bases alone carry less the
            # alkalinity; carbonate species must make up the rest, two equivalents a carbonate, one a bicarbonate.
            # Where the bases carry more than the alkalinity (demineralised water) there is no carbon at all.
            ph = held
            h = 10.0**-ph
            surplus, _, calcium = _closed_system(k, ions, free, np.zeros(t.shape))(h)
            sums = _carbonate_sums(k, free, free.calcium)
            c = np.maximum(-surplus, 0.0) / (2.0 * sums[0] + sums[1] * h)
        else:
            trial = rule(k, ions, free, held)
            ph = _ph_by_ridders(trial, ph, t.shape)
            h = 10.0**-ph
            _, c, calcium = trial(h)
        # The root was found with the pairs and activities of the round before: now these follow it.
        renewed = _updated(k, ions, free, h, c, calcium)
        if turn >= _UNDAMPED:  # calcium and carbonate swing against each other
            renewed = _Free(*(0.5 * (old + new) for old, new in zip(free, renewed, strict=True)))
        free = renewed
        strength = _ionic_strength(k, ions, free, h, c)
        now = np.stack([ph, c, strength])
        if np.all(np.abs(now - last) <= _TOLERANCE * np.abs(now)):
            return _state(k, ions, free, h, c)
        last = now
    raise ScalemodelError(
        "the carbonate equilibrium of this water did not settle",
        "check pH, hardness and alkalinity for slips of the pen",
    )


def from_ph(ions: Ions, ph: ArrayLike, temperature_c: ArrayLike) -> State:
    """The water as sampled: its carbon and saturation index from pH and alkalinity.

    Arguments broadcast; temperature 0 to 130 [deg C]. Where hydroxide alone carries more than the alkalinity
    (demineralised water), carbon is 0. Raises BadValueError for a temperature outside the range.
    """
    state = _solve(ions, temperature_c, ph, None)
    return state._replace(settled=np.zeros(state.ph.shape))


def closed_system(ions: Ions, carbon: ArrayLike, temperature_c: ArrayLike) -> State:
    """The water at another temperature [deg C], its inorganic carbon [mol/kg] kept; arguments broadcast."""
    state = _solve(ions, temperature_c, carbon, _closed_system)
    return state._replace(settled=np.zeros(state.ph.shape))


def open_system(ions: Ions, temperature_c: ArrayLike, log_co2: ArrayLike = AIR_LOG_CO2) -> State:
    """The water in equilibrium with a CO2 pressure [log10 atm], nothing settled; arguments broadcast."""
    state = _solve(ions, temperature_c, 10.0 ** np.asarray(log_co2, dtype=float), _open_system)
    return state._replace(settled=np.zeros(state.ph.shape))


def closed_system_with_calcite(ions: Ions, carbon: ArrayLike, temperature_c: ArrayLike) -> State:
    """As `closed_system`, with calcite settled or dissolved to equilibrium; `settled` is signed."""
    return _solve(ions, temperature_c, carbon, _closed_system_with_calcite)


def open_system_with_calcite(ions: Ions, temperature_c: ArrayLike, log_co2: ArrayLike = AIR_LOG_CO2) -> State:
    """As `open_system`, with calcite settled or dissolved to equilibrium; `settled` is signed."""
    return _solve(ions, temperature_c, 10.0 ** np.asarray(log_co2, dtype=float), _open_system_with_calcite)
