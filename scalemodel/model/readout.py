"""What the law takes of the static unknowns, all of it at once.

Every quantity of the law is an affine function of unknowns on their priors' scales, then taken as it is, as ``exp`` or
as ``expit`` of it; and an unknown is an affine function of its shaped standard normal (`quantiles.Transform`). So all
of them are one matrix times the shaped rows of u, and two calls of special functions.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

import numpy as np
from scipy.special import expit

from scalemodel.model.priors import Prior
from scalemodel.model.quantiles import Transforms
from scalemodel.model.unknowns import Unknown

Terms = Mapping[Unknown, float]
"""An affine function: what each unknown, on its prior's scale, is multiplied by."""


class Readout:
    """The affine functions of a boiler, by name: rows of one matrix.

    Parameters
    ----------
    unknowns : mapping of Unknown to Prior
        In the order of the rows of u.
    exponential, logistic, plain : mappings of name to functions
        Those that are taken as exp, as expit, and as they are.
    """

    def __init__(
        self,
        unknowns: Mapping[Unknown, Prior],
        exponential: Mapping[str, Iterable[Terms]],
        logistic: Mapping[str, Iterable[Terms]],
        plain: Mapping[str, Iterable[Terms]],
    ) -> None:
        row = {unknown: k for k, unknown in enumerate(unknowns)}
        functions: list[Terms] = []
        self.rows: dict[str, slice] = {}
        ends = [0]
        for group in (exponential, logistic, plain):
            for name, some in group.items():
                first = len(functions)
                functions += some
                self.rows[name] = slice(first, len(functions))
            ends.append(len(functions))
        self.exponential, self.logistic = slice(0, ends[1]), slice(ends[1], ends[2])
        by_unknown = np.zeros((len(functions), len(row)))
        for k, terms in enumerate(functions):
            for unknown, factor in terms.items():
                by_unknown[k, row[unknown]] += factor
        means, sds = (np.array([getattr(prior, what) for prior in unknowns.values()]) for what in ("mean", "sd"))
        self.matrix, self.offset = by_unknown * sds, (by_unknown @ means)[:, None]
        self.transforms = Transforms([prior.transform for prior in unknowns.values()])

    def read(self, u: np.ndarray) -> Quantities:
        """All quantities at static unknowns u (d, n), or at particles that begin with them."""
        values = self.matrix @ self.transforms.value(u[: self.matrix.shape[1]])
        values += self.offset
        some = values[self.exponential]
        np.exp(some, out=some)
        some = values[self.logistic]
        expit(some, out=some)
        return Quantities(values, self.rows)

    def back(self, u: np.ndarray, quantities: Quantities, slopes: Quantities) -> np.ndarray:
        """Slopes by u (d, n), from slopes by the quantities, which are used up."""
        by, at = slopes.values, quantities.values
        by[self.exponential] *= at[self.exponential]
        share = at[self.logistic]
        by[self.logistic] *= share * (1.0 - share)
        return (self.matrix.T @ by) * self.transforms.slope(u)


class Quantities(NamedTuple):
    """Quantities (q, n), or slopes by them, row after row; each name's rows (k, n) by the name."""

    values: np.ndarray
    rows: Mapping[str, slice]

    def of(self, name: str) -> np.ndarray:
        """The rows (k, n) of a name; a view."""
        return self.values[self.rows[name]]

    @property
    def no_slopes(self) -> Quantities:
        """Slopes of nothing by these."""
        return Quantities(np.zeros_like(self.values), self.rows)


def each(unknowns: Sequence[Unknown], factor: float = 1.0) -> list[Terms]:
    """Each of these alone, times ``factor``."""
    return [{unknown: factor} for unknown in unknowns]
