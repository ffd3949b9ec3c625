"""What was measured rather than judged: thicknesses, recovered masses and later tests of a water, as arrays."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from scalemodel.model.look import RECOVERED, THICKNESS
from scalemodel.model.priors import LOOK_FLOOR_MG_CM2
from scalemodel.model.tailed_normal import MEASURE_ERROR


class Measurements(NamedTuple):
    """The readings of a boiler, each log-normal with tails: T thicknesses, R recovered masses, then tests of waters.

    Attributes
    ----------
    state : array (T + R,)
        Rows of the deposits.
    site : array (T,)
        Rows of the sites' relative deposits.
    descale : array (R,)
        Rows of the residues.
    log_value : array (T + R + tests, 1)
        What was read [ln mg/cm2], of a test the log ratio to the water's mean [ln].
    log_sd : array (T + R + tests, 1)
    """

    state: np.ndarray
    site: np.ndarray
    descale: np.ndarray
    log_value: np.ndarray
    log_sd: np.ndarray

    @classmethod
    def of(cls, thicknesses, recoveries, tests) -> Measurements:
        """From (state, site, mg/cm2), (state, descale, mg/cm2), and (log ratio, log-sd) of each."""
        deposits = [*thicknesses, *recoveries]
        state, row = (np.array([one[k] for one in deposits], dtype=np.intp) for k in (0, 1))
        read = [float(np.log(value + LOOK_FLOOR_MG_CM2)) for *_, value in deposits]
        sds = [THICKNESS.log_sd] * len(thicknesses) + [RECOVERED.log_sd] * len(recoveries)
        column = [[*read, *(value for value, _ in tests)], [*sds, *(log_sd for _, log_sd in tests)]]
        log_value, log_sd = np.reshape(column, (2, -1, 1))
        return cls(state, row[: len(thicknesses)], row[len(thicknesses) :], log_value, log_sd)

    def expected(self, relative: np.ndarray, residue: np.ndarray, states: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Deposits measured, and what each is of that at its state; both (T + R, n)."""
        share = np.concatenate([relative[self.site], 1.0 - residue[self.descale]])
        return share * states[self.state], share

    def misses(self, expected: np.ndarray, path: np.ndarray) -> np.ndarray:
        """How far every reading lies off, in log-sds (T + R + tests, n); tests read the ``path`` (tests, n) [ln]."""
        logs = np.concatenate([np.log(expected + LOOK_FLOOR_MG_CM2), path])
        np.subtract(self.log_value, logs, out=logs)
        logs /= self.log_sd
        return logs

    def log_density(self, misses: np.ndarray) -> np.ndarray:
        """Log density (n,) of all readings together."""
        return MEASURE_ERROR.log_density(misses).sum(axis=0) - float(np.log(self.log_sd).sum())
