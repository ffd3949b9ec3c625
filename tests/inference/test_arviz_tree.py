"""The posterior for ArviZ: what each group holds, and that it needs no PyMC."""

import subprocess
import sys
import warnings
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from scalemodel.errors import MissingPackageError
from scalemodel.inference.arviz_tree import arviz_packages, python_names
from scalemodel.inference.look_probabilities import grade_probabilities
from scalemodel.inference.posterior import solve
from scalemodel.logbook.records import Descale
from scalemodel.model.unknowns import CAPTURE, DISPERSION, leniency, relative
from tests.builders import day, history, look

LOOKS = (
    look(60, 1, inspector="J. S."),
    look(90, 1, 2, site="chamber", method="glance", inspector="J S"),
    look(120, 0, 4),
    look(200, 2, thickness_um=12.0),
    look(200, 0, after_descale=True),
)
FACTS = history(*LOOKS, descales=(Descale("urn", day(200)),), days=250)
GROUPS = {"posterior", "prior", "posterior_predictive", "observed_data", "log_likelihood", "sample_stats"}


@pytest.fixture(scope="module")
def posterior():
    return solve(FACTS, seed=3, particles=400)


@pytest.fixture(scope="module", params=["as installed", "a tree"])
def data(posterior, request):
    arviz, _ = arviz_packages()
    with pytest.MonkeyPatch.context() as patch:
        if request.param == "a tree" and "InferenceData" in vars(arviz):  # as in later versions
            patch.delattr(arviz, "InferenceData")
        return posterior.to_arviz()


def values(data, group, name):
    return np.asarray(data[group][name])


def test_every_group_says_whose_it_is(data):
    for name in GROUPS:
        told = data[name].attrs
        assert (told["boiler"], told["as_of"], told["seed"], told["particles"]) == ("urn", str(FACTS.as_of), 3, 400)
        assert told["version"]
        assert told["priors"] == "the house's"
    assert data.attrs["boiler"] == "urn"


def test_draws_are_those_of_the_posterior_with_units_and_meaning(data, posterior):
    drawn = values(data, "posterior", "capture")
    assert drawn.shape == (4, 400)
    np.testing.assert_array_equal(drawn.ravel(), posterior.unknown(CAPTURE))
    deposit = values(data, "posterior", "deposit")
    np.testing.assert_allclose(np.moveaxis(deposit, -1, 0).reshape(len(posterior.deposits), -1), posterior.deposits)
    told = data["posterior"]["irregularity"].attrs
    assert (told["scale"], told["units"], told["unknown"]) == ("ln", "mg/cm2", "irregularity")
    assert told["meaning"] == posterior.model.unknowns[DISPERSION].meaning
    assert data["posterior"]["deposit"].attrs["units"] == "mg/cm2"
    assert data["posterior"]["activation"].attrs["units"] == "kJ/mol"


def test_names_are_python_names_and_tell_subjects_apart(data, posterior):
    names = [str(name) for name in data["posterior"].data_vars]
    assert all(name.isidentifier() for name in names)
    assert len(names) == 1 + posterior.model.static_dim
    assert {"relative_chamber", "leniency_J_S", "leniency_J_S_2", "residue_0", "strength_tap"} <= set(names)
    assert data["posterior"]["leniency_J_S"].attrs["subject"] == "J. S."
    assert data["posterior"]["leniency_J_S_2"].attrs["subject"] == "J S"
    assert list(python_names([relative("a 2"), relative("a"), leniency("x"), relative("a-2")]).values()) == [
        "relative_a_2", "relative_a", "leniency_x", "relative_a_2_2",
    ]  # fmt: skip
    assert all(
        name.isidentifier()
        for name in python_names([relative("\u00bd \u00b5m \u6c34 ^\u00b2"), relative("9")]).values()
    )


def test_dates_are_coordinates(data, posterior):
    line = posterior.model.timeline
    states = values(data, "posterior", "state_date")
    assert states.dtype.kind == "M"
    assert tuple(states.astype("datetime64[D]").astype(date)) == line.state_dates
    looks = values(data, "observed_data", "look_date").astype("datetime64[D]").astype(date)
    assert list(looks) == [one.date for _, one in line.looks]
    assert list(values(data, "observed_data", "look_inspector")) == [one.inspector for _, one in line.looks]


def test_what_was_seen_and_how_likely_it_was(data, posterior):
    looks = [one for _, one in posterior.model.timeline.looks]
    assert list(values(data, "observed_data", "grade_low")) == [one.grade_low for one in looks]
    assert list(values(data, "observed_data", "grade_high")) == [one.grade_high for one in looks]
    every = grade_probabilities(posterior)
    logs = values(data, "log_likelihood", "grade")
    for k, one in enumerate(looks):
        summed = every[k, one.grade_low : one.grade_high + 1].sum(axis=0)
        np.testing.assert_allclose(logs[..., k].ravel(), np.log(summed), atol=1e-9)
    total = values(data, "sample_stats", "log_likelihood").ravel()
    left = posterior.model.evaluate(posterior.x).log_likelihood - total
    np.testing.assert_allclose(left, 0.0, atol=1e-9)
    np.testing.assert_array_equal(values(data, "sample_stats", "log_evidence"), posterior.info.log_evidence)


def test_predictive_grades_come_as_often_as_their_chances(data, posterior):
    grades, chances = values(data, "posterior_predictive", "grade"), grade_probabilities(posterior).mean(axis=2)
    assert grades.shape == (4, 400, len(LOOKS))
    for k in range(len(LOOKS)):
        shares = np.bincount(grades[..., k].ravel(), minlength=5) / 1600
        assert np.all(np.abs(shares - chances[k]) < 5 * np.sqrt(chances[k] * (1 - chances[k]) / 1600) + 1e-3)


def test_the_prior_is_the_prior(data, posterior):
    prior = posterior.model.unknowns[DISPERSION]
    drawn = values(data, "prior", "irregularity")
    assert abs(drawn.mean() - prior.mean) < 5 * prior.sd / np.sqrt(drawn.size)
    assert drawn.std() == pytest.approx(prior.sd, rel=0.1)
    assert set(data["prior"].data_vars) == set(data["posterior"].data_vars)


def test_the_same_posterior_gives_the_same_tables(posterior):
    one, two = posterior.to_arviz(), posterior.to_arviz()
    for name in GROUPS:
        assert (
            one[name].to_dataset().identical(two[name].to_dataset())
            if hasattr(one[name], "to_dataset")
            else one[name].identical(two[name])
        )


def test_it_is_written_and_read_again(data, posterior, tmp_path):
    path = tmp_path / "draws.nc"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        data.to_netcdf(str(path))
    arviz, xarray = arviz_packages()
    if hasattr(data, "to_datatree"):
        again = arviz.from_netcdf(str(path))
    else:
        again = xarray.open_datatree(str(path), engine="h5netcdf")
    for name in GROUPS:
        assert set(again[name].data_vars) == set(data[name].data_vars)
    np.testing.assert_array_equal(values(again, "posterior", "state_date"), values(data, "posterior", "state_date"))
    assert again["posterior"]["capture"].attrs == data["posterior"]["capture"].attrs
    again.close()


def test_without_looks_there_is_nothing_of_them():
    data = solve(history(days=30), particles=50).to_arviz()
    names = set(data.groups()) if callable(data.groups) else {name.strip("/") for name in data.groups} - {""}
    assert names == {"posterior", "prior", "sample_stats"}


def test_pymc_is_not_needed():
    code = (
        "import sys, warnings\nwarnings.simplefilter('ignore')\nsys.modules['pymc'] = sys.modules['pytensor'] = None\n"
        "from tests.inference.test_arviz_tree import FACTS\nfrom scalemodel import posterior\n"
        "made = posterior(FACTS, particles=50)\nassert 'arviz' not in sys.modules\nmade.to_arviz()\n"
        "assert sys.modules['pymc'] is None\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True, cwd=Path(__file__).parents[2])


def test_without_arviz_it_says_what_to_install(posterior, monkeypatch):
    monkeypatch.setitem(sys.modules, "arviz", None)
    with pytest.raises(MissingPackageError, match=r"arviz.*pip install 'scalemodel\[audit\]'"):
        posterior.to_arviz()


def test_arviz_reads_it(posterior):
    arviz, _ = arviz_packages()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        data = posterior.to_arviz()
        table = arviz.summary(data, var_names=["capture", "leniency_J_S_2"])
        telling = [one for one in LOOKS if one.tells]  # of one that says nothing ArviZ from 1.0 on has no diagnostic
        left_out = arviz.loo(solve(replace(FACTS, inspections=tuple(telling)), seed=3, particles=100).to_arviz())
    assert list(table.index) == ["capture", "leniency_J_S_2"]
    assert float(table.loc["capture", "mean"]) == pytest.approx(posterior.unknown("capture").mean(), abs=0.01)
    assert left_out.n_data_points == len(telling)
