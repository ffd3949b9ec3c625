"""The PyMC twin: same log-likelihood at random points, same priors, finite gradient, and the same posterior by NUTS."""

import warnings
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from scalemodel.errors import BadValueError, MissingPackageError
from scalemodel.inference.posterior import draw, solve
from scalemodel.model.beliefs import parse_priors
from scalemodel.model.inverse_gaussian import increment
from scalemodel.validation.pymc_twin import as_posterior, audit_packages, build_twin, export_draws, mean_error, run_nuts
from tests.builders import day, history, look
from tests.model.test_boiler import make, rich

pytest.importorskip("pymc", reason="the audit extra is not installed")


@pytest.fixture(
    scope="module",
    params=["", "cut_points_mg_cm2 = [0.5, 2, 5, 30]\ndensity_g_cm3 = 1.4\ncontamination = 0.1"],
    ids=["the house", "own"],
)
def pair(request):
    model, _ = make(replace(rich(), beliefs=parse_priors(request.param)))
    return model, build_twin(model)


def test_log_likelihoods_are_equal(pair):
    model, twin = pair
    x = model.draw_prior(np.random.default_rng(1), 50)
    u, v = model.split(x)
    parameters = model.parameters(u)
    grown, _ = increment(parameters.mean, parameters.dispersion, v)
    compiled = twin.model.compile_fn(
        twin.log_likelihood, inputs=[twin.model["u"], twin.model["growth"]], on_unused_input="ignore"
    )
    theirs = [float(compiled({"u": u[:, i], "growth": grown[twin.growing, i]})) for i in range(50)]
    np.testing.assert_allclose(model.evaluate(x)[1], theirs, rtol=1e-9, atol=1e-9)


def test_priors_are_equal_in_distribution(pair):
    pm, _ = audit_packages()
    model, twin = pair
    n = 4000
    with twin.model, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = pm.draw([twin.model["u"], twin.model["growth"], twin.model["deposit"]], draws=n, random_seed=2)
    x = model.draw_prior(np.random.default_rng(3), n)
    u, v = model.split(x)
    parameters = model.parameters(u)
    grown, _ = increment(parameters.mean, parameters.dispersion, v)
    pairs = [(u[k], theirs[0][:, k]) for k in range(model.static_dim)]
    pairs += [(grown[j], theirs[1][:, k]) for k, j in enumerate(twin.growing)]
    pairs += [(model.deposits(x)[-1], theirs[2])]
    worst = min(stats.ks_2samp(a, b).pvalue for a, b in pairs)
    assert worst > 1e-4


def test_the_gradient_at_the_start_is_finite(pair):
    _, twin = pair
    point = twin.model.initial_point()
    gradient = twin.model.compile_dlogp()(point)
    assert np.all(np.isfinite(gradient))


def test_nuts_draws_the_same_posterior():
    facts = history(look(90, 1), look(250, 2, site="chamber"), days=300)
    quick = solve(facts, particles=2000)
    twin = build_twin(quick.model)
    nuts = run_nuts(twin, seed=4, draws=400, tune=600, chains=2)
    theirs = as_posterior(twin, nuts, quick)
    np.testing.assert_allclose(theirs.deposits[-1], nuts.deposit.ravel(), rtol=1e-6)
    for ours, its in [
        (np.log(quick.deposits[-1] + 0.02), np.log(nuts.deposit + 0.02)),
        *((quick.x[k], nuts.u[:, :, k]) for k in range(quick.model.static_dim)),
    ]:
        error = np.hypot(mean_error(its), ours.std() / np.sqrt(0.6 * quick.count))
        assert abs(ours.mean() - its.mean()) < 5 * error
        assert its.std() == pytest.approx(ours.std(), rel=0.15)


def test_draws_export_to_arviz_and_come_back(tmp_path):
    _, az = audit_packages()
    posterior = solve(history(look(90, 1)), particles=100)
    path = export_draws(posterior, tmp_path / "draws.nc")
    data = az.from_netcdf(str(path))
    assert data.posterior["capture"].shape == (4, 100)
    np.testing.assert_allclose(
        np.asarray(data.posterior["deposit"])[..., -1].ravel(), posterior.deposits[-1], rtol=1e-12
    )
    assert [p.name for p in tmp_path.iterdir()] == ["draws.nc"]
    for bad in (tmp_path / "draws.csv", tmp_path / "no" / "draws.nc"):
        with pytest.raises(BadValueError, match="posterior file"):
            export_draws(posterior, bad)


def test_a_missing_package_is_said_with_the_command_that_mends_it(monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "pymc", None)
    with pytest.raises(MissingPackageError, match=r"pip install 'scalemodel\[audit\]'"):
        audit_packages()


def test_a_model_with_no_look_is_its_prior():
    posterior = draw(make(history(days=day(5).toordinal() - day(0).toordinal()))[0], {}, particles=2000)
    assert abs(posterior.x[0].mean()) < 5 / np.sqrt(posterior.count)
