"""The supply law: what a litre can drop in a boiler, and what of it stays.

A litre of a water brings a scaling potential, a floor that no water is without added; the capture fraction of it stays
as scale on the wetted area. Functions that the gradient-based reference shares take the array namespace ``xp``.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from scalemodel.logbook.records import Boiler
from scalemodel.model.priors import REFERENCE_TEMPERATURE_C
from scalemodel.model.quantiles import find_cell
from scalemodel.water.constants import KELVIN
from scalemodel.water.potential import LOG_FACTORS

if TYPE_CHECKING:
    from scalemodel.water.potential import SupplyTable

GAS_CONSTANT_KJ = 8.31446261815324e-3
"""R [kJ/(mol K)]."""


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
        Knots ``log_factor`` and the three ``potentials`` [mg/L as CaCO3], each (49,).
    log_factor : array (n,)
        ln f [-]; beyond the outer knots the outer values hold.

    Returns
    -------
    closed_system, open_system, evaporation_residue : arrays (n,) [mg/L as CaCO3]
    """
    knot, part = find_cell(log_factor, table.log_factor)
    part = np.clip(part, 0.0, 1.0)
    return tuple(v[knot] + (v[knot + 1] - v[knot]) * part for v in table.potentials)


def blend_potential(closed_system, open_system, evaporation_residue, degassing, steam_share: float):
    """Scaling potential of a litre, ``(1-q) [(1-k) S_closed + k S_open] + q S_dry`` [mg/L as CaCO3].

    ``degassing`` is k in (0, 1), ``steam_share`` q in [0, 1]; the three potentials are in mg/L as CaCO3 and
    all arrays broadcast.

    >>> blend_potential(40.0, 110.0, 140.0, 0.3, 0.0)
    61.0
    """
    precipitated = (1.0 - degassing) * closed_system + degassing * open_system
    return (1.0 - steam_share) * precipitated + steam_share * evaporation_residue


def growth_per_litre(boiler: Boiler, table: SupplyTable, log_factor, capture, degassing, floor) -> np.ndarray:
    """Mean growth a litre of a water [mg/cm2/L] (n,): capture fraction x supply / wetted area.

    ``log_factor`` ln f of the water [-], ``capture`` phi in (0, 1) at the boiler's temperature, ``degassing`` k in
    (0, 1) and ``floor`` S_0 [mg/L as CaCO3] are each (n,).
    """
    potential = blend_potential(*read_table(table, log_factor), degassing, boiler.steam_share)
    return capture * (floor + potential) / boiler.wetted_area_cm2


class SupplyTables:
    """The supply tables of many waters, read at once, each row by its own water's.

    The scaling potential is ``base + k gain`` of the degassing k, with ``base = (1-q) S_closed + q S_dry`` and
    ``gain = (1-q) (S_open - S_closed)``: two tables a water instead of three.

    Parameters
    ----------
    tables : sequence of SupplyTable
        A row each, all with the same knots.
    steam_share : float
        q in [0, 1] [-].
    """

    def __init__(self, tables: Sequence[SupplyTable], steam_share: float) -> None:
        self.knots = LOG_FACTORS
        distinct = list({id(table): table for table in tables}.values())
        base = [blend_potential(*table.potentials, 0.0, steam_share) for table in distinct]
        whole = [blend_potential(*table.potentials, 1.0, steam_share) for table in distinct]
        self.base, self.gain = np.ravel(base), np.ravel(whole) - np.ravel(base)
        place = {id(table): k for k, table in enumerate(distinct)}
        self.first = np.array([place[id(table)] * len(LOG_FACTORS) for table in tables], dtype=np.intp)[:, None]

    def _corner(self, log_factor: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        cell, part = find_cell(log_factor, self.knots)
        cell += self.first
        return cell, np.clip(part, 0.0, 1.0)

    def potentials(self, log_factor: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Base and gain (rows, n) [mg/L as CaCO3] at log concentration factors (rows, n) [-]."""
        cell, part = self._corner(log_factor)
        after = cell + 1
        low, gain = self.base[cell], self.gain[cell]
        low += (self.base[after] - low) * part
        gain += (self.gain[after] - gain) * part
        return low, gain

    def slopes(self, log_factor: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """How base and gain rise with ln f (rows, n); they are level at and beyond the outer knots."""
        cell, _ = self._corner(log_factor)
        inside = (log_factor > self.knots[0]) & (log_factor < self.knots[-1])
        step = (self.knots[-1] - self.knots[0]) / (len(self.knots) - 1)
        return tuple(np.where(inside, (v[cell + 1] - v[cell]) / step, 0.0) for v in (self.base, self.gain))
