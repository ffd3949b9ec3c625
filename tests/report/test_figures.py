"""Figures: what they show, that the files are whole, and that they need no colour."""

import subprocess
import sys
import warnings
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from matplotlib.colors import to_rgb
from matplotlib.dates import date2num, num2date
from PIL import Image

from scalemodel import api
from scalemodel.decision.deferral import defer_until
from scalemodel.decision.deposit_by_date import future_band, past_band, risk_by_day, span_ahead
from scalemodel.errors import BadValueError
from scalemodel.logbook.records import Descale
from scalemodel.model.priors import GRADE_WORDS
from scalemodel.report import figure_style, figures, hindsight_figure
from scalemodel.report.marks import GRADE_SHADES
from scalemodel.report.scales import DepositScale
from tests.builders import day, history, look

LOOKS = (
    look(90, 1),
    look(150, 1, 2, site="chamber", method="glance"),
    look(180, 2, thickness_um=12.0),
    look(300, 3, 4, method="mirror"),
)
FACTS = history(*LOOKS, descales=(Descale("urn", day(200)),), days=310)
QUESTION = {"threshold_mg_cm2": 20.0, "tolerance": 0.2, "horizon_days": 3650}


@pytest.fixture(scope="module")
def question():
    return api.prepare(FACTS, **QUESTION)


@pytest.fixture(scope="module")
def figure(question):
    return figures.draw_figure(question)


def lines(ax, label):
    return [line for line in ax.lines if line.get_label() == label]


def words(ax):
    legend = [t.get_text() for t in ax.get_legend().get_texts()]
    return legend + [t.get_text() for t in ax.texts] + [ax.get_title(loc="left")]


def dates_of(line):
    return [num2date(x).date() for x in line.get_xdata()]


def test_the_panels_share_the_dates_and_name_their_units(figure):
    above, below, thickness = figure.axes
    assert above.get_xlim() == below.get_xlim()
    assert above.get_ylabel() == "deposit at the wall, mg/cm2"
    assert thickness.get_ylabel() == "thickness, um"
    assert below.get_ylabel() == "risk of scale past\n20 mg/cm2, %"
    assert below.get_xlabel() == "date"
    assert "urn" in figure.get_suptitle()
    for ax in (above, below):
        assert any(f"as of {FACTS.as_of}" in text for text in words(ax))


def test_the_two_scales_of_the_deposit_agree(figure):
    """1 mg/cm2 is 5 um at 2.0 g/cm3: both axes must put them at one height."""
    above, _, thickness = figure.axes
    for deposit in (0.1, 0.3, 1.0, 6.0, 40.0):
        heights = [
            ax.transAxes.inverted().transform(ax.transData.transform((above.get_xlim()[0], value)))[1]
            for ax, value in ((above, deposit), (thickness, 5.0 * deposit))
        ]
        assert heights[0] == pytest.approx(heights[1], abs=1e-9)
    low, knee, high = above.transData.transform([(0, 0.29), (0, 0.30), (0, 0.31)])[:, 1]
    assert high - knee == pytest.approx(knee - low, rel=0.05)  # no kink where linear turns into logarithmic


def test_the_axis_of_the_deposit_is_the_scale_of_the_pages(figure):
    above = figure.axes[0]
    scale = DepositScale(above.get_ylim()[1])
    deposits = [0.0, 0.1, 0.3, 0.31, 1.0, 6.0, 25.0, scale.top]
    heights = above.transAxes.inverted().transform(above.transData.transform([(0, d) for d in deposits]))[:, 1]
    np.testing.assert_allclose(heights, [scale.share(d) for d in deposits], atol=1e-9)
    assert tuple(above.get_yticks()) == scale.ticks


def test_the_medians_and_bands_are_those_of_the_posterior(question, figure):
    forecast = question.forecast
    above = figure.axes[0]
    for words_, band in (
        ("so far", past_band(forecast)),
        ("if nothing is done", future_band(forecast, span_ahead(question))),
    ):
        (median,) = lines(above, f"median {words_}")
        np.testing.assert_array_equal(median.get_ydata(), band.p50)
        assert dates_of(median) == list(band.dates)
        (area,) = [c for c in above.collections if c.get_label() == f"middle 80 % {words_}"]
        corners = area.get_paths()[0].vertices[:, 1]
        assert corners.max() == band.p90.max()
        assert corners.min() == band.p10.min()


def test_looks_stand_over_the_deposits_of_their_grades(figure):
    above = figure.axes[0]
    top = above.get_ylim()[1]
    ranges = {dates_of(line)[0]: list(line.get_ydata()) for line in lines(above, "range of a look")}
    assert ranges == {day(90): [0.3, 1.5], day(150): [0.3, 6.0], day(180): [1.5, 6.0], day(300): [6.0, top]}
    filled = {line.get_markerfacecolor() for line in lines(above, "look at the wall")}
    hollow = {line.get_markerfacecolor() for line in lines(above, "look at the chamber")}
    assert filled == {figure_style.INK}
    assert hollow == {figure_style.PAPER["paper"]}
    assert {line.get_marker() for line in lines(above, "look at the wall")} == {"o", "s"}
    assert lines(above, "look at the chamber")[0].get_marker() == "D"
    assert lines(above, "thickness reading")[0].get_ydata() == [2.4]
    named = {"look, eye", "look, mirror", "look, glance, at another site", "thickness reading"}
    assert named <= set(words(above))


def test_another_site_fills_its_own_looks():
    ax = figures.deposit_band(api.prepare(FACTS, site="chamber", **QUESTION))
    assert lines(ax, "look at the chamber")[0].get_markerfacecolor() == figure_style.INK
    assert lines(ax, "look at the wall")[0].get_markerfacecolor() == figure_style.PAPER["paper"]
    assert ax.get_ylabel() == "deposit at the chamber, mg/cm2"


def test_grades_descales_and_the_threshold_are_marked(figure):
    above = figure.axes[0]
    said = [text.replace("\n", " ") for text in words(above)]
    for grade, meaning in enumerate(GRADE_WORDS):
        assert f"{grade}: {meaning}" in said
    assert "descale" in said
    assert dates_of(lines(above, "_descale")[0]) == [day(200)] * 2
    assert "threshold: 20 mg/cm2 of scale" in said
    assert lines(above, "threshold")[0].get_ydata() == [20.0, 20.0]


def test_the_risk_panel_shows_the_answer(question, figure):
    tolerance = question.tolerance
    below, answer = figure.axes[1], defer_until(question)
    (curve,) = lines(below, "risk")
    dates, risks = risk_by_day(question, span_ahead(question))
    np.testing.assert_allclose(curve.get_ydata(), 100 * risks)
    assert dates_of(curve) == list(dates)
    assert lines(below, "tolerance 20 %")[0].get_ydata() == [100 * tolerance] * 2
    assert dates_of(lines(below, f"_defer until {answer.defer_until}")[0]) == [answer.defer_until] * 2
    assert f"defer until {answer.defer_until}" in words(below)
    for percent, label in ((10, "one in ten"), (50, "even chance"), (90, "nine in ten")):
        when = answer.crossing[f"p{percent}"]
        (mark,) = lines(below, f"{label} by {when}")
        assert (dates_of(mark), list(mark.get_ydata())) == ([when], [percent])


def test_a_past_tolerance_and_a_far_horizon_are_said_in_words():
    past = api.prepare(history(*LOOKS[:3], look(350, 2, 3), look(352, 2, 3)), tolerance=0.01)
    ax = figures.risk_curve(past)
    assert ax.get_title(loc="left").startswith("already past")
    assert "one in ten already" in words(ax)
    again = api.prepare(history(*LOOKS[:3], look(350, 3, 4), look(352, 3, 4)))
    ax = figures.risk_curve(again)
    assert ax.get_title(loc="left").startswith("look again first: grade 3 or worse was seen")
    assert not any(word in words(ax) for word in ("one in ten", "even chance", "defer until"))
    far = api.prepare(history(look(90, 0), tds=60.0), horizon_days=30)
    ax = figures.risk_curve(far)
    assert ax.get_title(loc="left").startswith("beyond the horizon")
    assert "nine in ten beyond the horizon" in words(ax)


def test_no_look_and_no_past_draw_too():
    figure = figures.draw_figure(api.prepare(history(days=0, uses=()), litres_per_day=0.4))
    assert not lines(figure.axes[0], "range of a look")
    assert len(lines(figure.axes[0], "median so far")[0].get_xdata()) == 1


def test_records_before_the_first_day_shown_are_left_out_and_it_is_said():
    looks = [look(400 * k, 1, 2) for k in range(1, 6)]
    facts = history(*looks, descales=(Descale("urn", day(500)), Descale("urn", day(1900))), days=2000)
    ax = figures.deposit_band(api.prepare(facts, threshold_grade=1, horizon_days=60))
    assert f"nothing before {day(2000 - 730)} is shown" in ax.get_xlabel()
    assert [dates_of(line)[0] for line in lines(ax, "range of a look")] == [day(1600), day(2000)]
    assert len(lines(ax, "_descale")) == 1
    assert min(lines(ax, "median so far")[0].get_xdata()) >= date2num(day(2000 - 730))


def test_looks_of_one_day_and_around_a_descale_stand_apart():
    looks = (look(90, 1), look(90, 2, site="chamber"), look(200, 3))
    facts = history(*looks, descales=(Descale("urn", day(200)),))
    ax = figures.deposit_band(api.prepare(facts))
    ranges = lines(ax, "range of a look")
    places = [line.get_transform().transform(line.get_xydata())[0, 0] for line in ranges]
    assert abs(places[0] - places[1]) > 5.0
    assert places[2] < ax.transData.transform((date2num(day(200)), 1.0))[0] - 3.0


def luminance(colour):
    return float(np.dot(to_rgb(colour), (0.2126, 0.7152, 0.0722)))


def test_nothing_rests_on_hue_alone(figure):
    above, below, _ = figure.axes
    dark_to_light = ("line", "past", "ahead", *reversed(GRADE_SHADES))
    assert np.all(np.diff([luminance(figure_style.PAPER[name]) for name in dark_to_light]) > 0.015)
    level = [lines(above, "median so far")[0], lines(above, "median if nothing is done")[0]]
    risk = [lines(below, "risk")[0], lines(below, "tolerance 20 %")[0]]
    for group in ([*level, lines(above, "threshold")[0]], risk):
        assert len({str(line._dash_pattern) for line in group}) == len(group)
    upright = [line for line in below.lines if line.get_label().startswith("_")]
    assert len({str(line._dash_pattern) for line in upright}) == len(upright) == 2


def test_png_and_svg_are_whole_and_the_same_every_time(figure, question, tmp_path):
    for _ in range(2):
        figures.save(figure, tmp_path / "one.png")
    again = figures.draw_figure(question)
    for suffix in (".png", ".SVG"):
        one, two = (figures.save(f, tmp_path / f"{n}{suffix}") for n, f in (("one", figure), ("two", again)))
        assert one.read_bytes() == two.read_bytes()
    with Image.open(tmp_path / "one.png") as picture:
        picture.load()
        assert picture.size == (1575, 1140)
        assert not set(picture.info) & {"Software", "Creation Time"}
        assert np.ptp(np.asarray(picture.convert("L"))) > 200
    text = (tmp_path / "one.SVG").read_text(encoding="utf-8")
    root = ElementTree.fromstring(text)
    assert root.tag.endswith("}svg")
    said = {"".join(e.itertext()) for e in root.iter("{http://www.w3.org/2000/svg}text")}
    assert {"thickness, um", f"as of {FACTS.as_of}", "descale", "tolerance 20 %"} <= said
    assert "<dc:date>" not in text
    assert sorted(p.name for p in tmp_path.iterdir()) == ["one.SVG", "one.png", "two.SVG", "two.png"]


def test_names_with_signs_and_foreign_letters(tmp_path):
    facts = history(look(90, 1), boiler={"boiler": "b\u00fcro $5$ \u53a8\u623f_^x <&>"})
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        path = figures.save(figures.draw_figure(api.prepare(facts)), tmp_path / "x.svg")
        figures.save(figures.draw_figure(api.prepare(facts)), tmp_path / "x.png")
    said = "".join(ElementTree.parse(path).getroot().itertext())
    assert "b\u00fcro $5$ \u53a8\u623f_^x <&>: scale at the wall" in said


@pytest.mark.parametrize("name", ["risk.pdf", "risk", "risk.png.txt", "missing/risk.png"])
def test_other_extensions_and_missing_folders_are_refused(figure, tmp_path, name):
    with pytest.raises(BadValueError, match=r"\.png or \.svg|no folder"):
        figures.save(figure, tmp_path / name)
    assert not list(tmp_path.iterdir())


def test_a_failed_write_leaves_nothing_and_spares_the_old_file(figure, tmp_path, monkeypatch):
    old = tmp_path / "risk.png"
    old.write_bytes(b"old")

    def full(path, data):
        with open(path, "wb") as file:
            file.write(data[:100])
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(Path, "write_bytes", full)
        with pytest.raises(BadValueError, match="No space left"):
            figures.save(figure, old)
    assert old.read_bytes() == b"old"
    (tmp_path / "folder.svg").mkdir()
    with pytest.raises(BadValueError, match="where a file can be written"):
        figures.save(figure, tmp_path / "folder.svg")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["folder.svg", "risk.png"]


def test_drawing_leaves_no_settings_behind_and_heeds_none(question, figure, tmp_path):
    import matplotlib

    before = dict(matplotlib.rcParams)
    usual = figures.save(figure, tmp_path / "usual.svg").read_bytes()
    assert dict(matplotlib.rcParams) == before
    with matplotlib.rc_context({"font.size": 30.0, "axes.facecolor": "black", "svg.fonttype": "path"}):
        other = figures.save(figures.draw_figure(question), tmp_path / "other.svg").read_bytes()
    assert other == usual


def test_a_figure_needs_neither_pyplot_nor_pandas_and_the_module_no_matplotlib(tmp_path):
    code = (
        "import sys\n"
        "import scalemodel.cli.plot, scalemodel.report.figures as figures\n"
        "assert 'matplotlib' not in sys.modules\n"
        "from scalemodel import api\n"
        "from tests.builders import history, look\n"
        f"figures.save(figures.draw_figure(api.prepare(history(look(90, 1)))), {str(tmp_path / 'x.png')!r})\n"
        "assert not {'matplotlib.pyplot', 'pandas', 'scipy.stats'} & set(sys.modules)\n"
    )
    subprocess.run([sys.executable, "-W", "error", "-c", code], check=True, cwd=Path(__file__).parents[2])
    assert (tmp_path / "x.png").stat().st_size > 20_000


def test_axes_of_the_caller_are_used(question):
    with figure_style.styled():
        mine = figure_style.new_figure(8.0, 4.0).subplots(1, 2)
    assert figures.deposit_band(question, mine[0]) is mine[0]
    assert figures.risk_curve(question, mine[1]) is mine[1]


def test_a_figure_takes_a_case_then_axes_and_may_go_without_a_legend(question):
    for draw in (figures.deposit_band, figures.risk_curve):
        ax = draw(question, legend=False)
        assert ax.get_legend() is None
        assert draw(question, ax=ax) is ax
        assert ax.get_legend() is not None
        for wrong in ((ax, question), (FACTS,), (question, question), (question, True)):
            with pytest.raises(TypeError):
                draw(*wrong)


def test_a_figure_of_two_panels_takes_two_axes(question):
    with figure_style.styled():
        whole = figure_style.new_figure(8.0, 8.0)
        mine = whole.subplots(2, 1)
    assert figures.draw_figure(question, mine, legend=False) is whole
    assert [ax.get_legend() for ax in mine] == [None, None]
    for wrong in ((FACTS,), (question, mine[0]), (question, question), (question, None, mine), (mine, question)):
        with pytest.raises(TypeError):
            figures.draw_figure(*wrong)


def test_figures_of_hindsight_take_the_result_then_axes():
    seen = api.hindsight(FACTS, seed=1, particles=60)
    with figure_style.styled():
        whole = figure_style.new_figure(8.0, 8.0)
        mine = whole.subplots(3, 1)
    assert hindsight_figure.draw_hindsight(seen, mine, legend=False) is whole
    assert [ax.get_legend() for ax in mine] == [None] * 3
    assert len(hindsight_figure.draw_hindsight(seen).axes) == 3
    with pytest.raises(TypeError, match="a list of 3 axes"):
        hindsight_figure.draw_hindsight(seen, mine[:2])
    for draw in (hindsight_figure.looks_chart, hindsight_figure.watch_chart, hindsight_figure.rank_chart):
        ax = draw(seen)
        assert ax.get_legend() is not None
        assert draw(seen, ax=ax, legend=False) is ax
        for wrong in ((seen.looks,), (seen, seen), (ax, seen), (seen, None, ax), (seen, mine)):
            with pytest.raises(TypeError):
                draw(*wrong)
