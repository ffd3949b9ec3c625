"""The law of one boiler in coordinates in which a sampler moves more easily: total growth in the place of capture.

Looks tell how much has grown, and that is the capture fraction times what the litres could drop; how much that was the
floor, the water's strength and its path say together, each within its own belief. So the capture fraction, as soon as
looks say anything, bends with all of these: where they leave more to drop, less of it stays. A Gaussian does not bend.
Hence the shear

    y = u + k ln(G / G_0),    k = 1 / ((1 - c_0) b)

in the place of capture's u: G is the growth of the whole history if all that could drop stayed, G_0 and c_0 that and
the capture fraction at the medians of the priors, b how its logit rises with u there. A logit moves by 1 / (1 - c)
where a logarithm moves by 1, so near c_0 growth is a function of y alone. A shear keeps volumes: nothing of the
law changes but where it is looked at from. Of forty invented boilers four took three to five times the evaluations
without it, and half of the work of all; the others as many.
"""

from __future__ import annotations

import numpy as np

from scalemodel.model import unknowns
from scalemodel.model.boiler import BoilerModel, Parameters
from scalemodel.model.evaluation import Evaluation
from scalemodel.model.gradient import back_through_litres, gradient_of
from scalemodel.model.readout import Quantities

_LEAST = 1e-300
"""So little can have grown where nothing was drawn [mg]: there is no shear then."""


class ShearedTarget:
    """A boiler's target in sheared coordinates y (d + J, n); `opened` gives the model's own.

    Attributes
    ----------
    model : BoilerModel
    dim, static_dim : int
    """

    def __init__(self, model: BoilerModel) -> None:
        self.model, self.dim, self.static_dim = model, model.dim, model.static_dim
        line = model.timeline
        self.recorded, self.planned = line.recorded_l.sum(axis=0), line.planned_l.sum(axis=0)
        self.row = list(model.unknowns).index(unknowns.CAPTURE)
        medians = model.readout.read(np.zeros((self.static_dim, 1)))
        self.total = self._total(medians, model.potential(medians)[0])
        self.prior = model.unknowns[unknowns.CAPTURE]
        rise = self.prior.sd * float(self.prior.transform.slope(np.zeros(1))[0])
        self.reach = 1.0 / ((1.0 - float(medians.of("capture")[0, 0])) * rise)

    def _total(self, found: Quantities, potential: np.ndarray) -> np.ndarray:
        """What the litres of the whole history could drop (n,) [mg as CaCO3]."""
        total = self.recorded @ potential + _LEAST
        return total + found.of("use")[0] * (self.planned @ potential) if len(found.of("use")) else total

    def _open(self, y: np.ndarray) -> tuple[np.ndarray, Quantities, np.ndarray]:
        """The model's own particles x (d + J, n), what is read of their static unknowns, and the spans' potential."""
        found = self.model.readout.read(y)
        potential, _ = self.model.potential(found)
        ratio = self._total(found, potential) / self.total
        x = y.copy()
        x[self.row] -= self.reach * np.log(ratio)
        own, sheared = self.prior.transform.value(np.stack([x[self.row], y[self.row]]))
        capture = found.of("capture")  # at y: the logit is too high by sd times the difference
        capture /= capture + (1.0 - capture) * np.exp(self.prior.sd * (sheared - own))
        return x, found, potential

    def opened(self, y: np.ndarray) -> np.ndarray:
        """The model's own particles x (d + J, n)."""
        return self._open(y)[0]

    def closed(self, x: np.ndarray) -> np.ndarray:
        """The inverse of `opened`."""
        found = self.model.readout.read(x)
        y = x.copy()
        y[self.row] += self.reach * np.log(self._total(found, self.model.potential(found)[0]) / self.total)
        return y

    def draw_prior(self, rng: np.random.Generator, count: int) -> np.ndarray:
        """Particles y (d + J, count) from the prior."""
        return self.closed(self.model.draw_prior(rng, count))

    def evaluate(self, y: np.ndarray) -> Evaluation:
        """The target at particles y (d + J, n)."""
        x, *read = self._open(y)
        return self._seen_from(y, x, self.model.evaluate_by(x, self.model.parameters_of(*read)))

    def evaluate_with_gradient(self, y: np.ndarray, exponent: np.ndarray) -> tuple[Evaluation, np.ndarray]:
        """What `evaluate` gives, and the gradient (d + J, n) of ``exponent`` (n,) x the log-likelihood and what else
        a standard normal in y does not hold."""
        x, *read = self._open(y)
        parameters = self.model.parameters_of(*read)
        there, gradient = gradient_of(self.model, x, parameters, exponent)
        by_capture = gradient[self.row] - x[self.row]
        gradient[self.row] += y[self.row] - x[self.row]
        gradient[: self.static_dim] -= self._rise(x, parameters) * (self.reach * by_capture)
        return self._seen_from(y, x, there), gradient

    def _rise(self, x: np.ndarray, parameters: Parameters) -> np.ndarray:
        """How ln G rises with the static unknowns (d, n); not with capture."""
        found, total = parameters.quantities, parameters.mean.sum(axis=0) + _LEAST
        slopes = found.no_slopes
        by_recorded, by_planned = (litres[:, None] / total for litres in (self.recorded, self.planned))
        back_through_litres(self.model, found, by_recorded, by_planned, slopes)
        slopes.of("capture")[:] = 0.0
        return self.model.readout.back(x[: self.static_dim], found, slopes)

    def _seen_from(self, y: np.ndarray, x: np.ndarray, there: Evaluation) -> Evaluation:
        """The same with the prior ratio to a standard normal in y."""
        gained = 0.5 * (y[self.row] + x[self.row]) * (y[self.row] - x[self.row])
        return there._replace(log_prior_ratio=there.log_prior_ratio + gained)
