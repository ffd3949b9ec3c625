"""From dated tests of one water to its analysis: what is known, and what has to be taken for granted.

Each reading of hardness, calcium or alkalinity is a log-estimate with a standard deviation by its kit. Drop
and laboratory readings are independent and average by precision. From a meter, hardness and alkalinity are
inferred by conductivity; that error is a property of the water, not of the reading, so repeats are averaged
but do not shrink it. Kinds combine by precision. A test's own value of an analyte stands before what its
conductivity implies. The strength of a water is one factor common to hardness and alkalinity; its variance is
the mean of the two. Unknown analytes are filled by `WaterDefaults`, and every filling is said.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import NamedTuple

import numpy as np

from scalemodel.errors import BadValueError, EvidenceError, RecordClashError, Remedy
from scalemodel.logbook.records import PH, TDS_OVER_CONDUCTIVITY, WaterTest
from scalemodel.logbook.units import CACO3_G_MOL, DROP_SIZE, mg_per_unit
from scalemodel.water.carbonate import Ions, from_ph
from scalemodel.water.constants import checked_temperature
from scalemodel.water.defaults import (
    DEFAULTS,
    MOST_US_CM,
    PH_OF_NO_ALKALINITY,
    WaterDefaults,
)
from scalemodel.water.hardness import checked_amount

SODIUM_G_MOL, CHLORIDE_G_MOL, SULPHATE_G_MOL = 22.990, 35.453, 96.06


@dataclass(frozen=True)
class WaterAnalysis:
    """One water, complete.

    hardness, calcium, magnesium, alkalinity : [mg/L as CaCO3]; calcium and magnesium make up hardness.
    sodium, chloride, sulphate : [mg/L of the ion].
    tds_mg_l : dissolved solids as the owner's meter would read them [mg/L].
    conductivity_us_cm : at 25 deg C [uS/cm].
    ph, temperature_c : of the sample [-, deg C].
    log_sd : standard deviation of the log strength, common to all ions.
    assumptions : what was taken for granted, one sentence each.

    Raises BadValueError for a value that is negative, not a number or out of range, RecordClashError if
    calcium and magnesium do not make up hardness.
    """

    hardness: float
    calcium: float
    magnesium: float
    alkalinity: float
    sodium: float
    chloride: float
    sulphate: float
    tds_mg_l: float
    conductivity_us_cm: float
    ph: float
    temperature_c: float
    log_sd: float
    assumptions: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for field in fields(self)[:12]:
            value = getattr(self, field.name)
            if not (math.isfinite(value) and value >= 0.0):
                raise BadValueError(field.name, value, "a number, zero or more")
        checked_temperature(self.temperature_c, "sample temperature")
        _checked_ph(self.ph)
        if abs(self.calcium + self.magnesium - self.hardness) > 0.005 * self.hardness + 1e-6:
            given = f"calcium {self.calcium:g} and magnesium {self.magnesium:g}"
            raise RecordClashError(
                f"{given} do not make up hardness {self.hardness:g} mg/L as CaCO3",
                "hardness is the sum of the other two",
            )

    def ions(self) -> Ions:
        """Totals in mol per kg, one litre taken as one kilogram."""
        return Ions(
            calcium=np.asarray(self.calcium / CACO3_G_MOL * 1e-3),
            magnesium=np.asarray(self.magnesium / CACO3_G_MOL * 1e-3),
            sodium=np.asarray(self.sodium / SODIUM_G_MOL * 1e-3),
            chloride=np.asarray(self.chloride / CHLORIDE_G_MOL * 1e-3),
            sulphate=np.asarray(self.sulphate / SULPHATE_G_MOL * 1e-3),
            alkalinity=np.asarray(self.alkalinity / CACO3_G_MOL * 2e-3),
        )


class _Reading(NamedTuple):
    """One estimate of an analyte [mg/L as CaCO3] with its log-sd; meter ones share their error."""

    amount: float
    log_sd: float
    by_meter: bool


class _Estimate(NamedTuple):
    amount: float
    log_sd: float


def close_charge(hardness: float, alkalinity: float, sulphate: float = 0.0) -> tuple[float, float]:
    """Sodium and chloride [mg/L of the ion] that close the charge balance; one of them is 0.

    Chloride where hardness (mg/L as CaCO3) exceeds alkalinity and sulphate [mg/L], else sodium.
    """
    surplus = 2.0 * (hardness - alkalinity) / CACO3_G_MOL - 2.0 * sulphate / SULPHATE_G_MOL
    return max(0.0, -surplus) * SODIUM_G_MOL, max(0.0, surplus) * CHLORIDE_G_MOL


def analyse_tests(tests: Sequence[WaterTest], defaults: WaterDefaults = DEFAULTS) -> WaterAnalysis:
    """The analysis that all dated tests of one water support together.

    Raises
    ------
    EvidenceError
        If no test tells hardness, calcium, alkalinity, TDS or conductivity.
    BadValueError
        If a value is negative, not a number or absurd.
    RecordClashError
        If calcium exceeds hardness by more than their errors, or TDS and conductivity contradict each other.
    """
    said: list[str] = []
    conductivity, tds_factor = _conductivity(tests, defaults, said)
    hardness, calcium = _hardness_and_calcium(tests, defaults, said)
    alkalinity = _analyte(tests, "alkalinity", defaults.alkalinity_per_us_cm, defaults, said)
    hardness, alkalinity = _each_from_the_other(hardness, alkalinity, defaults, said)
    if calcium is None:
        calcium = hardness.amount * (1.0 - defaults.magnesium_share)
        said.append(f"no calcium measured: {defaults.magnesium_share:.0%} of the hardness taken as magnesium")
    if conductivity is None:
        by_hardness = hardness.amount / defaults.hardness_per_us_cm
        conductivity = 0.5 * (by_hardness + alkalinity.amount / defaults.alkalinity_per_us_cm)
        said.append(f"no TDS measured: {conductivity:.4g} uS/cm inferred from hardness and alkalinity")
    ph, temperature = _sample(tests, defaults, said)
    if ph < PH_OF_NO_ALKALINITY:
        ph, alkalinity = _without_alkalinity(tests, ph, alkalinity, said)
    sodium, chloride = close_charge(hardness.amount, alkalinity.amount)
    closed_with = "sodium" if sodium > 0.0 else "chloride"
    said.append(f"no other ions measured: the charge balance closed with {closed_with}")
    common = math.hypot(hardness.log_sd, alkalinity.log_sd) / math.sqrt(2.0)
    analysis = WaterAnalysis(
        hardness=hardness.amount,
        calcium=calcium,
        magnesium=hardness.amount - calcium,
        alkalinity=alkalinity.amount,
        sodium=sodium,
        chloride=chloride,
        sulphate=0.0,
        tds_mg_l=conductivity * tds_factor,
        conductivity_us_cm=conductivity,
        ph=ph,
        temperature_c=temperature,
        log_sd=min(max(common, defaults.laboratory_log_sd), defaults.most_log_sd),
        assumptions=tuple(dict.fromkeys(said)),
    )
    _refuse_caustic(analysis)
    return analysis


def _each_from_the_other(
    hardness: _Estimate | None, alkalinity: _Estimate | None, defaults: WaterDefaults, said: list[str]
) -> tuple[_Estimate, _Estimate]:
    """Hardness and alkalinity, the missing one inferred from the other; EvidenceError if both are missing."""
    ratio = defaults.alkalinity_per_us_cm / defaults.hardness_per_us_cm
    if hardness is None and alkalinity is None:
        raise EvidenceError(
            "no test of this water tells its hardness, calcium, alkalinity, TDS or conductivity",
            Remedy("one meter reading will do: tds_mg_l", "reading"),
        )
    if alkalinity is None:
        alkalinity = _Estimate(hardness.amount * ratio, math.hypot(hardness.log_sd, defaults.meter_log_sd))
        said.append(f"no alkalinity or TDS measured: {ratio:.2f} of the hardness taken as alkalinity")
    if hardness is None:
        hardness = _Estimate(alkalinity.amount / ratio, math.hypot(alkalinity.log_sd, defaults.meter_log_sd))
        said.append(f"no hardness or TDS measured: alkalinity over {ratio:.2f} taken as hardness")
    return hardness, alkalinity


def _without_alkalinity(
    tests: Sequence[WaterTest], ph: float, alkalinity: _Estimate, said: list[str]
) -> tuple[float, _Estimate]:
    """pH and alkalinity of an acid water; RecordClashError if more than a trace of it was measured."""
    if any(t.alkalinity is not None for t in tests) and alkalinity.amount > 5.0:
        raise RecordClashError(
            f"pH {ph:g} leaves no alkalinity, but {alkalinity.amount:.4g} mg/L as CaCO3 was measured",
            "measure both on one fresh sample",
        )
    said.append(f"pH {ph:g} leaves no alkalinity: none taken, and a pH of {PH_OF_NO_ALKALINITY:g}")
    return PH_OF_NO_ALKALINITY, alkalinity._replace(amount=0.0)


def _checked_ph(ph: float) -> float:
    if not PH.holds(ph):
        raise BadValueError("pH", ph, PH.span)
    return ph


def _refuse_caustic(analysis: WaterAnalysis) -> None:
    """A high pH whose hydroxide alone exceeds the alkalinity contradicts it (traces aside)."""
    if analysis.ph <= 9.0 or analysis.alkalinity < 5.0:
        return
    if float(from_ph(analysis.ions(), analysis.ph, analysis.temperature_c).carbon) == 0.0:
        raise RecordClashError(
            f"pH {analysis.ph:g} needs more alkalinity than {analysis.alkalinity:.4g} mg/L as CaCO3",
            "measure both on one fresh sample",
        )


def _test_conductivity(test: WaterTest, defaults: WaterDefaults) -> float | None:
    """Conductivity at 25 deg C that a test tells [uS/cm], measured or from its TDS reading."""
    for field, given in (
        ("conductivity", test.conductivity_us_cm),
        ("TDS", test.tds_mg_l),
        ("TDS factor", test.tds_factor),
    ):
        if given is not None and not (math.isfinite(given) and 0.0 <= given <= MOST_US_CM):
            raise BadValueError(field, given, f"a number from 0 to {MOST_US_CM:g}")
    if test.tds_factor is not None and not TDS_OVER_CONDUCTIVITY.holds(test.tds_factor):
        raise BadValueError(
            "TDS factor", test.tds_factor, f"{TDS_OVER_CONDUCTIVITY.span} (pocket meters: 0.5 or about 0.7)"
        )
    if test.conductivity_us_cm is not None:
        return test.conductivity_us_cm
    if test.tds_mg_l is not None:
        return test.tds_mg_l / (defaults.tds_factor if test.tds_factor is None else test.tds_factor)
    return None


def _conductivity(tests: Sequence[WaterTest], defaults: WaterDefaults, said: list[str]) -> tuple[float | None, float]:
    """Mean conductivity [uS/cm] of all readings, and the factor by which the owner's meter makes it TDS."""
    readings, factor = [], defaults.tds_factor
    for test in tests:
        reading = _test_conductivity(test, defaults)
        if reading is None:
            continue
        readings.append(reading)
        if test.tds_factor is not None:
            factor = test.tds_factor
        elif test.tds_mg_l is not None and test.conductivity_us_cm:
            factor = test.tds_mg_l / test.conductivity_us_cm
            if not TDS_OVER_CONDUCTIVITY.holds(factor):
                given = f"TDS {test.tds_mg_l:g} mg/L and conductivity {test.conductivity_us_cm:g} uS/cm"
                raise RecordClashError(
                    f"{given} contradict each other", f"TDS is {TDS_OVER_CONDUCTIVITY.span} times conductivity"
                )
        elif test.tds_mg_l is not None:
            factor = defaults.tds_factor
            said.append(f"no meter factor given: TDS taken as {defaults.tds_factor:g} times conductivity")
    if readings and max(readings) > READINGS_APART * max(min(readings), LEAST_US_CM):
        said.append(
            f"conductivity was read from {min(readings):g} to {max(readings):g} uS/cm and the mean is taken: "
            "if one is a slip (a meter not dipped), strike it"
        )
    return (math.fsum(readings) / len(readings) if readings else None), factor


READINGS_APART = 2.0
"""Readings of one water that differ by more than this factor are named."""

LEAST_US_CM = 5.0
"""Below this conductivity a meter tells little, and readings are not compared [uS/cm]."""


def _kit(test: WaterTest) -> str:
    """The kit recorded; left blank, a value of its own is taken to come from drops."""
    return test.kit or "drops"


def _measured(test: WaterTest, analyte: str, defaults: WaterDefaults, said: list[str]) -> _Reading | None:
    """A test's own reading of hardness, calcium or alkalinity."""
    value = getattr(test, analyte)
    if value is None:
        return None
    unit = getattr(test, f"{analyte}_unit") or "mg/L"
    amount = checked_amount(value, unit, analyte)
    kit = _kit(test)
    if kit == "laboratory":
        return _Reading(amount, defaults.laboratory_log_sd, by_meter=False)
    if kit == "meter":
        return _Reading(amount, defaults.meter_log_sd, by_meter=True)
    drop = DROP_SIZE[unit] * mg_per_unit(unit, analyte)
    if amount == 0.0:
        amount = 0.25 * drop
        said.append(f"{analyte} of no drop at all: a quarter of a drop, {amount:.2g} mg/L, taken")
    log_sd = drop / (math.sqrt(12.0) * amount)  # half a drop either way, uniform
    return _Reading(amount, min(log_sd, defaults.most_log_sd), by_meter=False)


def _combined(readings: Sequence[_Reading], trace: float) -> _Estimate | None:
    """Precision-weighted mean of the logs; meter readings share their error and count as one, their plain mean."""
    if len(readings) == 1:
        only = readings[0]
        return _Estimate(only.amount if only.amount > trace else 0.0, only.log_sd)
    shared = [r for r in readings if r.by_meter]
    logs = [(math.log(max(r.amount, trace)), r.log_sd) for r in readings if not r.by_meter]
    if shared:
        mean = math.fsum(r.amount for r in shared) / len(shared)
        logs.append((math.log(max(mean, trace)), shared[0].log_sd))
    if not logs:
        return None
    weights = [sd**-2 for _, sd in logs]
    mean = math.fsum(w * m for w, (m, _) in zip(weights, logs, strict=True)) / math.fsum(weights)
    amount = math.exp(mean) if mean > math.log(trace) + 1e-9 else 0.0
    return _Estimate(amount, math.fsum(weights) ** -0.5)


def _analyte(
    tests: Sequence[WaterTest], analyte: str, per_us_cm: float, defaults: WaterDefaults, said: list[str]
) -> _Estimate | None:
    """Hardness or alkalinity from what was measured, and from conductivity in tests that measured no more."""
    measured, inferred = [], []
    for test in tests:
        own = _measured(test, analyte, defaults, said)
        conductivity = _test_conductivity(test, defaults)
        if own is not None:
            measured.append(own)
        elif conductivity is not None:
            inferred.append(_Reading(per_us_cm * conductivity, defaults.meter_log_sd, by_meter=True))
    trace = defaults.trace_mg_l
    direct, guess = _combined(measured, trace), _combined(inferred, trace)
    if direct is not None and guess is not None:
        apart = abs(math.log(max(direct.amount, trace) / max(guess.amount, trace)))
        if apart > defaults.disagreement_sd * math.hypot(direct.log_sd, guess.log_sd):
            said.append(f"{analyte} by conductivity ({guess.amount:.3g} mg/L) is far from that measured: set aside")
            return direct
    if inferred:
        said.append(f"{analyte} inferred from conductivity: {per_us_cm:g} mg/L as CaCO3 per uS/cm")
    return _combined(measured + inferred, trace)


def _hardness_and_calcium(
    tests: Sequence[WaterTest], defaults: WaterDefaults, said: list[str]
) -> tuple[_Estimate | None, float | None]:
    """Hardness, and calcium where it was measured [mg/L as CaCO3]."""
    readings = [r for r in (_measured(t, "calcium", defaults, said) for t in tests) if r is not None]
    calcium = _combined(readings, defaults.trace_mg_l)
    has_hardness = any(t.hardness is not None for t in tests)
    if calcium is None:
        return _analyte(tests, "hardness", defaults.hardness_per_us_cm, defaults, said), None
    if not has_hardness:
        said.append(f"no hardness measured: {defaults.magnesium_share:.0%} of it taken as magnesium")
        return _Estimate(calcium.amount / (1.0 - defaults.magnesium_share), calcium.log_sd), calcium.amount
    hardness = _analyte(tests, "hardness", defaults.hardness_per_us_cm, defaults, said)
    if calcium.amount > hardness.amount:
        room = 2.0 * math.hypot(calcium.log_sd, hardness.log_sd)
        if hardness.amount == 0.0 or math.log(calcium.amount / hardness.amount) > room:
            raise RecordClashError(
                f"hardness {hardness.amount:.4g} is below calcium {calcium.amount:.4g} mg/L as CaCO3",
                "hardness is calcium and magnesium together; check the two readings and their units",
            )
        said.append("calcium was read above hardness, within their errors: all hardness taken as calcium")
        return hardness, hardness.amount
    return hardness, calcium.amount


def _mean(values: Sequence[float]) -> float:
    return math.fsum(values) / len(values)


def _sample(tests: Sequence[WaterTest], defaults: WaterDefaults, said: list[str]) -> tuple[float, float]:
    """pH and temperature [deg C] of a sample: means of what was recorded, temperatures beside a pH first."""
    acidity = [_checked_ph(t.ph) for t in tests if t.ph is not None]
    warmth = [t.temperature_c for t in tests if t.temperature_c is not None and t.ph is not None]
    warmth = warmth or [t.temperature_c for t in tests if t.temperature_c is not None]
    if not acidity:
        said.append(f"no pH measured: {defaults.ph:g} taken")
    if not warmth:
        said.append(f"no sample temperature measured: {defaults.sample_temperature_c:g} deg C taken")
    ph = _mean(acidity) if acidity else defaults.ph
    temperature = _mean(warmth) if warmth else defaults.sample_temperature_c
    return ph, float(checked_temperature(temperature, "sample temperature"))
