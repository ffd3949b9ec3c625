"""The last safe date against random linear fouling, maintenance by risk as heat exchangers know it.

Fouling grows at a rate B ~ N(b, s^2); the time to a critical level c then has F(t) = Phi((1 - M/t)/sqrt(alpha)) with
M = c/b and sqrt(alpha) = s/b, and a share p has reached it at t_p = M / (1 + sqrt(alpha) z_(1-p)) (Zubair, Sheikh,
Younas & Budair 2000, "A risk based heat exchanger analysis subject to fouling", Energy 25, 427-443, read as an
abstract; the formula is by algebra, and the figures below are from it). It is this project's forecast with no
dispersion, of a boiler just descaled.
"""

import numpy as np
import pytest
from scipy.special import ndtri

from scalemodel import api
from scalemodel.decision.case import Case
from scalemodel.decision.forecast import Forecast, Threshold
from tests.builders import history

MEAN_DAYS = 400.0
"""M: when growth at the mean rate comes to the threshold."""

TABLE = {  # sqrt(alpha): t_p / M at p = 0.05, 0.10, 0.50
    0.2: (0.7525, 0.7960, 1.0),
    0.3: (0.6696, 0.7223, 1.0),
    0.4: (0.6032, 0.6611, 1.0),
}
RISKS = (0.05, 0.10, 0.50)


@pytest.fixture(scope="module")
def prepared():
    """A forecast of a boiler that is clean today."""
    forecast = api.prepare(history(), particles=500).forecast
    vars(forecast.posterior)["deposits"] = np.zeros_like(forecast.posterior.deposits)
    return forecast


def last_safe(prepared, scatter, tolerance, dispersion):
    """The last safe day where growth a day is N(b, s^2), at equal steps of probability."""
    forecast, count = Forecast(prepared.posterior, prepared.plan), prepared.posterior.count
    rate = 1.0 + scatter * ndtri((np.arange(count) + 0.5) / count)
    forecast.irregularity = np.full(count, dispersion)
    vars(forecast).update(growth_a_day=np.maximum(rate, 1e-9) / MEAN_DAYS, growth_to_now=np.zeros(count))
    return Case(forecast, Threshold(1.0, "1 mg/cm2"), tolerance, 4000).last_safe


@pytest.mark.parametrize("scatter", TABLE)
def test_without_dispersion_the_last_safe_date_is_that_of_random_linear_fouling(prepared, scatter):
    """Within a day of rounding and half a day of 2,000 steps of probability."""
    for tolerance, ratio in zip(RISKS, TABLE[scatter], strict=True):
        assert ratio == pytest.approx(1.0 / (1.0 + scatter * ndtri(1.0 - tolerance)), abs=6e-5)
        assert last_safe(prepared, scatter, tolerance, 1e-8) == pytest.approx(ratio * MEAN_DAYS, abs=1.5)


@pytest.mark.parametrize("tolerance", RISKS[:2])
def test_the_more_dispersed_growth_is_the_earlier_the_date(prepared, tolerance):
    dates = [last_safe(prepared, 0.3, tolerance, nu) for nu in (1e-8, 0.01, 0.03, 0.1, 0.3)]
    assert dates == sorted(dates, reverse=True)
    assert dates[0] > 1.3 * dates[-1]
