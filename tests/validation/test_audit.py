"""The verdict on two samplers, with the second one replaced by draws whose quality is known; and the beliefs."""

import numpy as np
import pytest

from scalemodel import api
from scalemodel.inference.draws import draw
from scalemodel.model.inverse_gaussian import increment
from scalemodel.validation import audit as audit_module
from scalemodel.validation.audit import audit
from scalemodel.validation.pymc_twin import NutsDraws
from scalemodel.validation.sensitivity import sensitivity
from tests.builders import history, look

pytest.importorskip("pymc", reason="the audit extra is not installed")
SEEN = (look(90, 0, 1), look(180, 1), look(270, 1))


def stand_in(seed, r_hat=1.001, spoil=0.0):
    """Our own sampler under another seed, in the shape of NUTS draws; ``spoil`` shifts the first unknown."""

    def run(twin, _seed, draws=1000, progress=False):
        other = draw(twin.source, {}, seed, 1000)
        u, v = twin.source.split(other.x)
        u = u.copy()
        u[0] += spoil
        parameters = twin.source.parameters(u)
        grown = increment(parameters.mean, parameters.dispersion, v)[0][twin.growing]
        shape = (4, 1000)
        deposit = other.deposits[-1].reshape(shape)
        chains = [np.moveaxis(a.reshape(len(a), *shape), 0, -1) for a in (u, grown)]
        return NutsDraws(*chains, deposit, r_hat, 900.0, 0, 1.0, None)

    return run


@pytest.fixture
def asked():
    return api.prepare(history(*SEEN))


def test_two_good_samplers_agree(asked, monkeypatch):
    monkeypatch.setattr(audit_module, "run_nuts", stand_in(seed=77))
    result, _ = audit(asked)
    assert result.verdict().startswith("Both samplers agree")
    assert result.risk[0].date == result.as_of
    assert len(result.risk) >= 3
    assert {p.name for p in result.parameters} == set(asked.forecast.posterior.model.names)


def test_a_spoilt_sampler_is_called_out(asked, monkeypatch):
    monkeypatch.setattr(audit_module, "run_nuts", stand_in(seed=77, spoil=0.3))
    result, _ = audit(asked)
    assert result.worst > 4
    assert result.verdict().startswith("The samplers disagree")


def test_an_unsettled_nuts_proves_nothing(asked, monkeypatch):
    monkeypatch.setattr(audit_module, "run_nuts", stand_in(seed=77, r_hat=1.2))
    assert audit(asked)[0].verdict().startswith("NUTS itself did not settle")


def test_beliefs_move_the_date_the_way_they_must():
    asked = api.prepare(history(*SEEN), particles=1000)
    steps = []
    result = sensitivity(asked, progress=lambda: steps.append(1))
    days = {(lean.belief, lean.change): lean.days for lean in result.leans}
    assert days["capture", "higher"] < days["capture", "lower"]
    assert days["use", "higher"] < result.base_days < days["use", "lower"]
    assert days["leniency", "higher"] < result.base_days < days["leniency", "lower"]
    assert len(steps) == len(result.leans)
    moves = result.moves()
    assert [m[2] for m in moves] == sorted((m[2] for m in moves), reverse=True)
    again = sensitivity(asked)
    assert again == result
