"""What is hard to believe of a water test: by itself, and beside other tests of the same water (house figures)."""

from __future__ import annotations

import math
from collections.abc import Iterator

from scalemodel.logbook.doubt import Doubt, Known
from scalemodel.logbook.records import QUANTITIES, TDS_OVER_CONDUCTIVITY, WaterTest
from scalemodel.logbook.units import DAYS_A_YEAR, DROP_SIZE, ROUNDING, mg_per_unit

CONDUCTIVITY_US_CM = (20.0, 4000.0)
TDS_MG_L = (1.0, 2000.0)
TDS_FACTOR = 0.5
"""What makes a conductivity of a TDS reading whose meter's factor is not recorded, for comparison only."""

HARDEST_MG_L = 900.0
SOFTEST_MG_L = 30.0
"""A number in mg/L below this may be one of degrees whose unit was left out [mg/L as CaCO3]."""

TESTS_APART = 3.0
"""Two tests of one water that differ by more than this factor are doubted, unless another bears one out."""

METER_REPEATS, LABORATORY_REPEATS = 0.07, 0.05
"""Log-sd of a reading taken again of the same water; what a meter makes of every sample of it alike does not count."""

WANDERS = 0.15
"""Log-sd by which a water's concentration wanders in a year, and by the square root of the time in any other."""

CHANGED = 2.0
"""A test that is off the one before it by more than so many standard deviations asks whether the water changed."""

LEAST_COMPARED = {"conductivity_us_cm": 10.0, "hardness": 5.0, "calcium": 5.0, "alkalinity": 5.0}
"""Below this a reading tells little, and counts as so much where it is compared [uS/cm, mg/L as CaCO3]."""

PH = (5.0, 10.0)
WARMEST_SAMPLE_C = 40.0


def strength(test: WaterTest, known: Known) -> Iterator[Doubt]:
    if any(_agree("conductivity_us_cm", compared(test), compared(other)) for other in known.near):
        return
    low, high = CONDUCTIVITY_US_CM
    conductivity, tds = test.conductivity_us_cm, test.tds_mg_l
    if conductivity is not None and not low <= conductivity <= high:
        as_ms = f"; {conductivity:g} mS/cm would be {conductivity * 1000:g}"
        hint = as_ms if low <= conductivity * 1000.0 <= high else ""
        usual = f"drinkable water has {low:g} to {high:g} uS/cm{hint}"
        yield Doubt("conductivity_us_cm", f"{conductivity:g} uS/cm", usual)
    least, most = TDS_MG_L
    if tds is not None and (tds > most or 0.0 < tds < least):
        yield Doubt("tds_mg_l", f"{tds:g} mg/L", f"a meter reads {least:g} to {most:g} mg/L in drinkable water")


def hardness_range(test: WaterTest, known: Known) -> Iterator[Doubt]:
    """A number of degrees that lost its unit, or of mg/L that was given one."""
    own = compared(test)
    for field in QUANTITIES:
        if field not in own or any(_agree(field, own, compared(other)) for other in known.near):
            continue
        value, unit, amount = getattr(test, field), getattr(test, f"{field}_unit"), own[field]
        weak = any(compared(one).get("conductivity_us_cm", 1e9) < 5.0 * SOFTEST_MG_L for one in (test, *known.near))
        if amount > HARDEST_MG_L:
            given = f"{value:g} {unit}" + ("" if unit == "mg/L" else f", {amount:.0f} mg/L as CaCO3")
            yield Doubt(field, given, f"drinkable water has at most {HARDEST_MG_L:g} mg/L as CaCO3; check the unit")
        elif unit == "mg/L" and 0.0 < amount < SOFTEST_MG_L and not weak:
            yield Doubt(
                field, f"{value:g} mg/L as CaCO3", f"that is very soft; degrees need their unit, '{value:g} dH'"
            )


def one_sample(test: WaterTest, known: Known) -> Iterator[Doubt]:
    """What one sample cannot have at once."""
    tds, conductivity, ratio = test.tds_mg_l, test.conductivity_us_cm, TDS_OVER_CONDUCTIVITY
    if tds is not None and conductivity and not ratio.holds(tds / conductivity):
        given = f"{tds:g} mg/L beside {conductivity:g} uS/cm"
        yield Doubt("tds_mg_l", given, f"TDS is {ratio.span} times the conductivity")
    own = compared(test)
    carried = own.get("conductivity_us_cm")
    for field in QUANTITIES if carried else ():
        if own.get(field, 0.0) > max(carried, LEAST_COMPARED[field]):
            given = f"{own[field]:.3g} mg/L as CaCO3 beside {carried:.3g} uS/cm"
            yield Doubt(field, given, f"so much {field} makes about twice as many uS/cm; check the unit")
    if own.get("calcium", 0.0) > 1.25 * own.get("hardness", 1e9):
        given = f"{own['calcium']:.3g} beside a hardness of {own['hardness']:.3g} mg/L as CaCO3"
        yield Doubt("calcium", given, "hardness is calcium and magnesium together")


def acidity_and_warmth(test: WaterTest, known: Known) -> Iterator[Doubt]:
    low, high = PH
    if test.ph is not None and not low <= test.ph <= high:
        yield Doubt("ph", f"pH {test.ph:g}", f"drinkable water has a pH of {low:g} to {high:g}")
    warmth = test.temperature_c
    if warmth is not None and warmth > WARMEST_SAMPLE_C:
        as_f = f"{(warmth - 32) / 1.8:.0f} C"
        yield Doubt("temperature_c", f"{warmth:g} C", f"a sample is seldom so warm; {warmth:g} F would be {as_f}")


def tests_agree(test: WaterTest, known: Known) -> Iterator[Doubt]:
    """More than three times off every other test of this water that tells the same."""
    own = compared(test)
    for field in own:
        others = [(told[field], other.date) for other in known.near if field in (told := compared(other))]
        if not others or any(_agree(field, own, {field: told}) for told, _ in others):
            continue
        told, day = min(others, key=lambda one: abs((one[1] - test.date).days))
        usual = f"a test of {test.water!r} on {day} said {told:.3g}: more than {TESTS_APART:g} times off"
        yield Doubt(_measured_by(test, field), _amount(test, field), usual)


def changed(test: WaterTest, known: Known) -> Iterator[Doubt]:
    """More than two of its errors off the last test before it that tells the same, though not a slip by its size.

    Averaged with what stood before, such a test would hide that the water is another one.
    """
    before = [other for other in known.near if other.date < test.date]
    own = compared(test)
    if not known.typed:
        return
    for field, value in own.items():
        last = next((one for one in reversed(before) if field in compared(one)), None)
        if last is None or not _agree(field, own, compared(last)):
            continue  # nothing to compare, or so far off that `tests_agree` asks
        told, least = compared(last)[field], LEAST_COMPARED[field]
        years = (test.date - last.date).days / DAYS_A_YEAR
        error = math.hypot(repeats(test, field), repeats(last, field), WANDERS * math.sqrt(years))
        if abs(math.log(max(value, least) / max(told, least))) > CHANGED * error:
            by = _measured_by(test, field)
            alike = by == "tds_mg_l" == _measured_by(last, field)  # told as it was read, where both were read so
            now, then = (f"{one.tds_mg_l:.3g} mg/L" if alike else _amount(one, field) for one in (test, last))
            way = "stronger" if value > told else "weaker"
            usual = (
                f"on {last.date} {test.water!r} had {then}: it is {way} now, is it another water since then? "
                f"If so give it a name of its own, with this test and a fill from the day of the change"
            )
            yield Doubt(by, now, usual)
            return


def repeats(test: WaterTest, field: str) -> float:
    """Log-sd of a test's own reading of a field, taken again; of drops half a drop, so that one more never asks."""
    if field == "conductivity_us_cm" or test.kit == "meter":
        return METER_REPEATS
    if test.kit == "laboratory":
        return LABORATORY_REPEATS
    unit = getattr(test, f"{field}_unit") or "mg/L"
    drop = DROP_SIZE[unit] * mg_per_unit(unit, field)
    return 0.5 * drop / max(compared(test)[field], drop)


def _measured_by(test: WaterTest, field: str) -> str:
    """The column that tells a field."""
    return "tds_mg_l" if field == "conductivity_us_cm" and test.conductivity_us_cm is None else field


def _amount(test: WaterTest, field: str) -> str:
    """What a test tells of a field, with the unit in which it is compared."""
    return f"{compared(test)[field]:.3g} {'uS/cm' if field == 'conductivity_us_cm' else 'mg/L as CaCO3'}"


def compared(test: WaterTest) -> dict[str, float]:
    """What a test tells that can be compared with other tests: conductivity [uS/cm], amounts in mg/L as CaCO3."""
    told = {}
    if test.conductivity_us_cm is not None:
        told["conductivity_us_cm"] = test.conductivity_us_cm
    elif test.tds_mg_l is not None:
        told["conductivity_us_cm"] = test.tds_mg_l / (test.tds_factor or TDS_FACTOR)
    for field in QUANTITIES:
        if (value := getattr(test, field)) is not None:
            told[field] = value * mg_per_unit(getattr(test, f"{field}_unit") or "mg/L", field)
    return told


def _agree(field: str, one: dict[str, float], other: dict[str, float]) -> bool:
    """Whether two tests both tell a field and are not more than three times apart."""
    if field not in one or field not in other:
        return False
    low, high = sorted(max(told[field], LEAST_COMPARED[field]) for told in (one, other))
    return high <= TESTS_APART * low * (1.0 + ROUNDING)
