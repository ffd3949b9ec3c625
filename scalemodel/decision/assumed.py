"""What a decision takes for granted, as fields; `scalemodel.words.assumed` says it in sentences."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True)
class PricesFrom:
    """The prices begun on a day, by which a descale costs so much in all [money]."""

    day: date
    descale: float


@dataclass(frozen=True)
class BlankPrices:
    """Prices that are not on record and count as nothing: columns of the prices, and the water where that has none."""

    columns: tuple[str, ...]
    water: str | None


@dataclass(frozen=True)
class FoundAtDescale:
    """Scale past the threshold is found out at the descale; a day above it counts a share of a strip-down."""


@dataclass(frozen=True)
class FromNowOn:
    """The water and the use to come [L/day], and where that comes from; descales leave what is usual."""

    water: str
    litres_per_day: float
    source: str


@dataclass(frozen=True)
class MeanUse:
    """Ages are in days of mean use."""


@dataclass(frozen=True)
class LooksGoOn:
    """Looks are made as often as in the last so many days."""

    days: int
    looks: int


@dataclass(frozen=True)
class FreeLooks:
    """Sites at which a look has no price on record, and counts as free."""

    sites: tuple[str, ...]


@dataclass(frozen=True)
class CartridgePrice:
    """A water costs what its cartridges cost."""

    water: str


@dataclass(frozen=True)
class UnpricedWater:
    """A water has no price on record, and counts as free."""

    water: str


@dataclass(frozen=True)
class SameUse:
    """As much of every water is drawn [L/day]; the use to come, where it comes from, and its log-sd."""

    litres_per_day: float
    source: str
    log_sd: float


@dataclass(frozen=True)
class FullDescales:
    """Every descale is full and leaves what one usually leaves; every interval is like the last."""


@dataclass(frozen=True)
class TreatedPart:
    """The part of a mix with the lowest TDS is the one from cartridges."""


@dataclass(frozen=True)
class NoCosts:
    """No prices of a descale are on record, so there are no costs."""


@dataclass(frozen=True)
class OfWater:
    """What the analysis of a water took for granted, where its tests are silent."""

    water: str
    text: str


@dataclass(frozen=True)
class WorthInDays:
    """No price of a descale is on record: worths are days by which it can wait."""


@dataclass(frozen=True)
class ImpliedFailure:
    """Scale past the threshold counts so many descales, or at most so many, as the accepted risk implies."""

    descales: float
    tolerance: float
    at_most: bool


@dataclass(frozen=True)
class DayWorth:
    """A day's wait saves so much [money]; without prices (None) so many of them save what a descale costs.

    It is the long-run cost of descaling after so many days of use.
    """

    saves: float | None
    days_a_descale: float
    cycle_days: float


Assumption = (
    PricesFrom
    | BlankPrices
    | FoundAtDescale
    | FromNowOn
    | MeanUse
    | LooksGoOn
    | FreeLooks
    | CartridgePrice
    | UnpricedWater
    | SameUse
    | FullDescales
    | TreatedPart
    | NoCosts
    | OfWater
    | WorthInDays
    | ImpliedFailure
    | DayWorth
)
