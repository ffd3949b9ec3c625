"""Reference rows by PHREEQC (phreeqpython 1.6.2, phreeqc.dat): saturation index and settled calcite.

``python -m tests.outside.phreeqc_rows`` writes two CSV files in ``tests/outside/data``; the tests also call
`heated_row` live where phreeqpython is installed. One litre is taken as one kilogram; chloride closes the
charge, sodium where chloride would fall below 1 mg/L.
"""

import csv
from pathlib import Path
from typing import NamedTuple

DATA = Path(__file__).parent / "data"
TEMPERATURES = (15, 25, 40, 60, 80, 93, 110, 125)
SHARES = tuple(round(0.1 * k, 1) for k in range(1, 11))
CACO3, NA, CL, SO4 = 100.087, 22.990, 35.453, 96.06


class Sample(NamedTuple):
    """calcium, magnesium, alkalinity [mg/L as CaCO3], pH, temperature [deg C], sodium, sulphate [mg/L]."""

    calcium: float
    magnesium: float
    alkalinity: float
    ph: float
    temperature_c: float
    sodium: float
    sulphate: float

    def mmol(self) -> dict[str, float]:
        """Totals [mmol/kg], alkalinity in milli-equivalents."""
        calcium, magnesium = self.calcium / CACO3, self.magnesium / CACO3
        alkalinity, sodium, sulphate = self.alkalinity * 2.0 / CACO3, self.sodium / NA, self.sulphate / SO4
        chloride = 2.0 * (calcium + magnesium - sulphate) + sodium - alkalinity
        short = max(1.0 / CL - chloride, 0.0)
        return {
            "Ca": calcium,
            "Mg": magnesium,
            "Na": sodium + short,
            "Cl": chloride + short,
            "S(6)": sulphate,
            "Alkalinity": alkalinity,
        }


SAMPLES = {
    "aggressive": Sample(20, 8, 15, 6.50, 15, 5, 8),
    "soft": Sample(45, 15, 40, 7.40, 15, 6, 10),
    "target": Sample(51, 17, 40, 7.00, 20, 10, 15),
    "blend": Sample(64, 21, 60, 7.50, 20, 10, 18),
    "moderate": Sample(75, 25, 75, 7.60, 15, 10, 20),
    "tap180": Sample(135, 45, 140, 7.50, 15, 12, 30),
    "tap240": Sample(180, 60, 180, 7.60, 12, 15, 40),
    "hard": Sample(225, 75, 250, 7.40, 12, 15, 35),
    "very_hard": Sample(320, 80, 300, 7.20, 10, 20, 60),
    "permanent": Sample(250, 100, 120, 7.80, 15, 25, 180),
    "softened": Sample(10, 5, 200, 7.80, 15, 95, 20),
    "lime_softened": Sample(60, 30, 50, 9.20, 20, 15, 25),
}
MIXED = ("very_hard", "tap240")

_PUNCH = """SELECTED_OUTPUT 1
 -reset false
USER_PUNCH 1
 -headings ph si ca
 10 PUNCH -LA("H+"), SI("Calcite"), TOT("Ca") * 1000
"""


def _run(engine, text: str) -> dict[str, float]:
    engine.ip.run_string(_PUNCH + text + "END\n")
    names, *rows = engine.ip.get_selected_output_array()
    return dict(zip(names, (float(cell) for cell in rows[-1]), strict=True))


def _solution(sample: Sample) -> str:
    head = f"SOLUTION 1\n units mmol/kgw\n temp {sample.temperature_c}\n pH {sample.ph}\n"
    return head + "".join(f" {name} {amount:.10f}\n" for name, amount in sample.mmol().items())


def heated_row(engine, sample: Sample, temperature_c: float) -> dict[str, float]:
    """The sample heated with its CO2: pH, SI; calcite settled [mg/L], closed and open to air; signed."""
    heat = f"REACTION_TEMPERATURE 1\n {temperature_c}\n"
    cold = _run(engine, _solution(sample))
    hot = _run(engine, _solution(sample) + heat)
    shut = _run(engine, _solution(sample) + heat + "EQUILIBRIUM_PHASES 1\n Calcite 0 10\n")
    air = "EQUILIBRIUM_PHASES 1\n CO2(g) -3.4 10\n Calcite 0 10\n"
    aired = _run(engine, _solution(sample) + heat + air)
    return {
        "ph": hot["ph"],
        "si": hot["si"],
        "closed": (cold["ca"] - shut["ca"]) * CACO3,
        "open": (cold["ca"] - aired["ca"]) * CACO3,
    }


def mixed_row(engine, sample: Sample, share: float) -> dict[str, float]:
    """A share of the sample in pure water: cold pH and SI, and at 93 deg C SI and closed calcite [mg/L]."""
    pure = f"SOLUTION 2\n units mmol/kgw\n temp {sample.temperature_c}\n pH 7 charge\n"
    make = _solution(sample) + pure + f"MIX 1\n 1 {share}\n 2 {1.0 - share}\nSAVE SOLUTION 3\n"
    cold = _run(engine, make)
    hot = _run(engine, "USE SOLUTION 3\nREACTION_TEMPERATURE 1\n 93\n")
    _run(engine, make)
    shut = _run(engine, "USE SOLUTION 3\nREACTION_TEMPERATURE 1\n 93\nEQUILIBRIUM_PHASES 1\n Calcite 0 10\n")
    return {
        "ph": cold["ph"],
        "si": cold["si"],
        "si_93": hot["si"],
        "closed_93": (cold["ca"] - shut["ca"]) * CACO3,
    }


def read(name: str) -> list[dict]:
    """A stored file: names of waters as text, all else as numbers."""
    with open(DATA / name, encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return [{k: v if v in SAMPLES else float(v) for k, v in row.items()} for row in rows]


def _write(name: str, rows: list[dict]) -> None:
    rounded = [{k: round(v, 4) if isinstance(v, float) else v for k, v in row.items()} for row in rows]
    with open(DATA / name, "w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, fieldnames=list(rounded[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rounded)


def main() -> None:
    from phreeqpython import PhreeqPython

    engine = PhreeqPython(database="phreeqc.dat")
    heated = [
        {"water": name, "temperature_c": t, **heated_row(engine, sample, t)}
        for name, sample in SAMPLES.items()
        for t in TEMPERATURES
    ]
    mixes = [{"water": n, "share": x, **mixed_row(engine, SAMPLES[n], x)} for n in MIXED for x in SHARES]
    _write("phreeqc_heated.csv", heated)
    _write("phreeqc_mixed.csv", mixes)


if __name__ == "__main__":
    main()
