"""The figure of a calibration run: it shows what was counted, and marks what is off without colour alone."""

from xml.etree import ElementTree

import numpy as np
import pytest
from matplotlib.text import Text
from PIL import Image

from scalemodel.report.calibration_figure import coverage_chart, draw_calibration, rank_chart, reliability_diagram
from scalemodel.report.figure_style import new_figure, save, styled
from scalemodel.validation.calibration import BINS, GROUPS, RANKS, rank_histograms
from scalemodel.validation.reliability import DAYS_AHEAD, Calibration, reliability


@pytest.fixture(scope="module")
def result():
    rng = np.random.default_rng(2)
    true = np.sort(rng.beta(0.4, 0.4, size=(200, len(DAYS_AHEAD))), axis=1)
    ranks = [dict(zip(GROUPS, rng.integers(RANKS, size=len(GROUPS)).tolist(), strict=True)) for _ in range(200)]
    for r in ranks:
        r["residue"] = int(RANKS * rng.beta(0.4, 0.4))
    return Calibration(
        200, 7, 125, rank_histograms(ranks, GROUPS), reliability(true, rng.random((200, 1)) < true), 0, 9.0
    )  # fmt: skip


@pytest.fixture(scope="module")
def figure(result):
    return draw_calibration(result)


def test_a_panel_for_every_unknown_and_two_for_the_whole(figure, result):
    shown = [ax for ax in figure.axes if ax.axison]
    assert len(shown) == 2 + len(result.ranks)
    assert "200 invented boilers, seed 7" in figure.get_suptitle()
    titles = [ax.get_title(loc="left") for ax in shown[2:]]
    assert titles == [("OFF: " if h.name == "residue" else "") + h.words for h in result.ranks]


def test_bars_are_the_counts_and_the_band_is_drawn(result):
    h = result.ranks[0]
    ax = rank_chart(h)
    assert [bar.get_height() for bar in ax.patches] == list(h.counts)
    assert len(ax.patches) == BINS
    levels = sorted(line.get_ydata()[0] for line in ax.lines)
    assert levels == sorted([h.band[0], h.replications / BINS, h.band[1]])


def test_the_diagram_holds_every_bin(result):
    ax = reliability_diagram(result)
    (points,) = [line for line in ax.lines if line.get_label() == "this run"]
    np.testing.assert_allclose(points.get_xdata(), [100 * b.stated for b in result.reliability.bins])
    np.testing.assert_allclose(points.get_ydata(), [100 * b.happened for b in result.reliability.bins])
    assert [t.get_text() for t in ax.texts] == [str(b.forecasts) for b in result.reliability.bins]
    assert ax.get_xlabel().endswith("%")
    assert ax.get_ylabel().endswith("%")


def test_coverage_is_within_the_axis_with_a_shape_a_level(result):
    ax = coverage_chart(result)
    points = [line for line in ax.lines if line.get_label().endswith("interval")]
    assert [line.get_label() for line in points] == ["50 % interval", "80 % interval", "95 % interval"]
    assert len({line.get_marker() for line in points}) == 3
    left, right = ax.get_xlim()
    for k, line in enumerate(points):
        assert list(line.get_xdata()) == [h.coverage[k].z for h in result.ranks]
        assert left < min(line.get_xdata())
        assert max(line.get_xdata()) < right
    assert [t.get_text() for t in ax.get_yticklabels()] == [h.words for h in result.ranks]


def test_no_words_leave_the_page_and_no_titles_overlap(figure, tmp_path):
    save(figure, tmp_path / "c.png")
    renderer, page = figure.canvas.get_renderer(), figure.bbox
    titles = []
    for ax in (ax for ax in figure.axes if ax.axison):
        words = [child for child in ax.get_children() if isinstance(child, Text) and child.get_text()]
        titles += [w.get_window_extent(renderer) for w in words if w.get_text() == ax.get_title(loc="left")]
        labels = [label for label in (ax.xaxis.label, ax.yaxis.label) if label.get_text()]
        parts = [*words, *labels, *([ax.get_legend()] if ax.get_legend() else [])]
        for box in (part.get_window_extent(renderer) for part in parts):
            assert page.x0 <= box.x0 <= box.x1 <= page.x1
            assert page.y0 <= box.y0 <= box.y1 <= page.y1
    assert len(titles) == 2 + len(GROUPS)
    assert not any(a.overlaps(b) for k, a in enumerate(titles) for b in titles[:k])


def test_files_are_whole(figure, tmp_path):
    with Image.open(save(figure, tmp_path / "c.png")) as image:
        assert image.size[0] > 1500
        assert np.asarray(image.convert("L")).std() > 10
    words = " ".join(ElementTree.parse(save(figure, tmp_path / "c.svg")).getroot().itertext())
    assert "residue of a descale" in words


def test_each_takes_the_result_then_axes(result):
    with styled():
        whole = new_figure(8.0, 30.0)
        mine = whole.subplots(2 + len(result.ranks), 1)
    assert draw_calibration(result, mine, legend=False) is whole
    assert not any(ax.get_legend() for ax in mine)
    for draw, of in ((reliability_diagram, result), (coverage_chart, result), (rank_chart, result.ranks[0])):
        ax = draw(of)
        assert ax.get_legend() is not None
        again = draw(of, ax=new_figure(3.0, 3.0).subplots(), legend=False)
        assert again.get_legend() is None
        for wrong in ((result.ranks,), (of, of), (ax, of), (of, None, ax)):
            with pytest.raises(TypeError):
                draw(*wrong)
    with pytest.raises(TypeError, match="axes here, a panel each"):
        draw_calibration(result, mine[:2])
