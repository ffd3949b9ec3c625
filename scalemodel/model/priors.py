"""What is believed before any record: every prior, and every constant of the law, as data.

Each unknown is a transform of one standard normal u: ``value = mean + sd * T(u)`` on the scale that
its entry names, T the identity save where a prior has tails of its own. A sampler therefore only ever moves standard
normals.
"""

from __future__ import annotations

from typing import NamedTuple

from scalemodel.model.quantiles import NORMAL, Transform, mixture_of_normals, student_t


class Prior(NamedTuple):
    """A prior on the scale named in ``scale``: normal, unless ``transform`` gives it another shape."""

    mean: float
    sd: float
    scale: str
    meaning: str
    transform: Transform = NORMAL

    def value(self, u, xp=None):
        """The unknown on its scale from its standard normal u, an array of any shape."""
        return self.mean + self.sd * self.transform.value(u, xp)

    def slope(self, u):
        """d value / d u, an array as u."""
        return self.sd * self.transform.slope(u)


CAPTURE = Prior(
    0.0,
    1.0,
    "logit",
    "share of the scaling potential that stays in the boiler at 93 C",
    mixture_of_normals((0.9, 0.0, 1.0), (0.1, -3.0, 1.0)),
)
"""One boiler in ten keeps almost nothing, so that bare metal after a year on hard water is believed."""

ACTIVATION = Prior(30.0, 15.0, "kJ/mol", "temperature effect beyond the chemistry")
DEGASSING = Prior(-0.85, 0.8, "logit", "share of the water that loses its carbon dioxide")
DEGASSING_STEAM = Prior(1.0, 0.8, "logit", "the same in a boiler that makes steam")
IRREGULARITY = Prior(-1.2039728043259361, 0.7, "ln mg/cm2", "variance of growth a unit of mean growth; median 0.3")
READING = Prior(-1.0498221244986778, 0.3, "ln", "reading error of a method; median 0.35")
READING_GLANCE = Prior(-0.5108256237659907, 0.3, "ln", "the same for a glance through water; median 0.6")
LENIENCY = Prior(0.0, 0.25, "ln", "an inspector's shift of every cut point")
RELATIVE = Prior(-0.4, 0.5, "ln", "a site's deposit against the reference surface")
PATCH = Prior(0.6931471805599453, 0.4, "ln", "the worst palm-sized patch over the whole, where grades are of it")
"""Scale gathers where it is hottest and where water stands: twice the mean, 1.2 to 3.3; common practice, no source."""

RESIDUE_FULL = Prior(-2.2, 0.8, "logit", "share of the deposit that a full descale leaves")
RESIDUE_UNSEEN = Prior(-1.0, 1.0, "logit", "share of the deposit that a full descale leaves where nobody looked")
"""Between the two others: that a descale was full is what was meant. A look at the reference surface after it, or the
scale recovered, says that it was one at which such things are seen to."""

RESIDUE_PARTIAL = Prior(-0.4, 0.8, "logit", "share of the deposit that a partial descale leaves")
STRENGTH = Prior(0.0, 1.0, "sd", "a water's concentration, in its own log-sd", student_t(3.0))
"""Heavy tails, in units of what a normal would have at one sd: evidence can say that this is not the water one was told
of."""

FLOOR = Prior(0.6931471805599453, 1.0, "ln mg/L", "supply that no water is without; median 2")
USE = Prior(0.0, 1.0, "sd", "use without a record, in its own log-sd")
INITIAL = Prior(0.6931471805599453, 1.2, "ln mg/cm2", "deposit at the start of an unknown history; median 2")

CUT_POINTS_MG_CM2 = (0.3, 1.5, 6.0, 25.0)
"""Lower edges of grades 1 to 4, on a surface as a careful eye reads it."""

GRADE_WORDS = (
    "bare metal",
    "a haze, metal colour shows",
    "a thin chalky coat, patchy or even",
    "a rough crust, metal hidden",
    "thick, flaking or bridging",
)

LOOK_FLOOR_MG_CM2 = 0.02
"""Added to a deposit before its logarithm, so that bare metal has one."""

LOOK_CONTAMINATION = 0.02
"""Share of grades far too severe that a look's law has room for (`tailed_normal.LOOK_ERROR`)."""

THICKNESS_LOG_SD = 0.3
"""Log-sd of a thickness reading against the site's mean deposit."""

RECOVERED_LOG_SD = 0.3
"""Log-sd of the scale mass weighed after a descale."""

DEPOSIT_DENSITY_G_CM3 = 2.0
"""Bulk density of scale: 1 mg/cm2 is then 5 um thick."""

REFERENCE_TEMPERATURE_C = 93.0
"""Where the capture fraction is stated."""


def thickness_to_deposit(thickness_um: float, density_g_cm3: float = DEPOSIT_DENSITY_G_CM3) -> float:
    """Areal deposit of a layer [mg/cm2] from its thickness [um] and its density [g/cm3].

    >>> thickness_to_deposit(30.0)
    6.0
    """
    return thickness_um * density_g_cm3 / 10.0


def deposit_to_thickness(deposit_mg_cm2: float, density_g_cm3: float = DEPOSIT_DENSITY_G_CM3) -> float:
    """Thickness of a layer [um] from its areal deposit [mg/cm2] and its density [g/cm3].

    >>> deposit_to_thickness(1.0)
    5.0
    """
    return deposit_mg_cm2 * 10.0 / density_g_cm3
