"""Boilers that do not behave as the model believes: the same luck in every world, and each world's doing alone."""

import numpy as np
import pytest

from scalemodel.logbook.records import WALL
from scalemodel.validation.other_worlds import (
    AHEAD,
    CHAMBER,
    DIRTY_WALL,
    PAST,
    SOUND,
    SOUND_AT_CHAMBER,
    THRESHOLD,
    WORLDS,
    World,
    changed_on,
    day,
    draw_luck,
    live,
    pace,
)


@pytest.fixture(scope="module")
def luck():
    return draw_luck(1, seed=4)


@pytest.mark.parametrize("world", WORLDS, ids=lambda world: world.name)
def test_every_world_gives_records_and_a_truth_that_only_grows_after_the_question(luck, world):
    lived = live(luck, world)
    assert lived.facts == live(luck, world).facts  # the same luck, the same life
    assert lived.facts.as_of == day(PAST)
    assert all(look.date < day(PAST) for look in lived.facts.inspections)
    assert len(lived.wall) == PAST + AHEAD + 1
    assert np.all(np.diff(lived.wall[PAST:]) >= 0.0)
    assert lived.passed_by(day(PAST + AHEAD)) == (lived.wall[-1] >= THRESHOLD)


def test_another_boiler_has_another_luck(luck):
    assert draw_luck(2, seed=4).growth_a_litre != luck.growth_a_litre
    assert draw_luck(1, seed=5).looks != luck.looks


def test_the_sound_pace_is_the_law_and_a_change_begins_on_its_day(luck):
    assert np.all(pace(luck, SOUND) == 1.0)
    twice = World("twice", stronger=2.0, since="the middle")
    assert changed_on(luck, twice) == PAST // 2
    assert changed_on(luck, SOUND) is None
    assert set(pace(luck, twice)[: PAST // 2]) == {1.0}
    assert set(pace(luck, twice)[PAST // 2 :]) == {2.0}


def test_spurts_and_seasons_leave_the_mean_as_it_is():
    paces = [
        [pace(draw_luck(n, 4), world).mean() for n in range(40)]
        for world in (World("spurts", spurts=6.0), World("season", season=0.3))
    ]
    spread = np.std(paces[0]) / np.sqrt(40)
    assert abs(np.mean(paces[0]) - 1.0) < 4.0 * spread
    assert abs(np.mean(paces[1]) - 1.0) < 0.02


def test_mistakes_change_the_records_and_not_the_boiler(luck):
    sound = live(luck, SOUND)
    mild = live(luck, World("mild", milder=(1, 1)))
    *before, last, very_last = zip(sound.facts.inspections, mild.facts.inspections, strict=True)
    assert all(one == other for one, other in before)
    assert all(other.grade_low == max(0, one.grade_low - 1) for one, other in (last, very_last))
    short = live(luck, World("short", recorded=0.7))
    assert np.array_equal(short.wall, sound.wall)
    drawn = [sum(u.litres_drawn for u in lived.facts.uses) for lived in (sound, short)]
    assert 0.69 * drawn[0] < drawn[1] < drawn[0]


def test_a_descale_may_leave_the_wall_as_it_was():
    for number in range(30):
        luck = draw_luck(number, seed=4)
        clean, dirty = live(luck, SOUND_AT_CHAMBER), live(luck, DIRTY_WALL)
        assert {look.site for look in dirty.facts.inspections} == {CHAMBER}
        assert [look.grade_low for look in dirty.facts.inspections] == [e.grade_low for e in clean.facts.inspections]
        assert dirty.wall[-1] >= clean.wall[-1]
        assert len(clean.facts.descales) >= 1
    assert {look.site for look in live(luck, SOUND).facts.inspections} == {WALL}


def test_a_fleet_shares_its_water_and_nothing_else():
    """With all else the same the growth of two boilers of a fleet differs; another fleet has another water."""
    one, other = draw_luck(5, 4, fleet=1), draw_luck(6, 4, fleet=1)
    assert one.water == other.water == "middling"
    assert one.growth_a_litre != other.growth_a_litre
    elsewhere = draw_luck(5, 4, fleet=4)  # the same water by its meter, but another strength, and all else the same
    assert elsewhere.water == one.water
    assert elsewhere.spread == one.spread
    assert elsewhere.growth_a_litre != one.growth_a_litre
