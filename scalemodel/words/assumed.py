"""What the decisions take for granted, a sentence each."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict
from typing import TYPE_CHECKING

from scalemodel.decision import assumed
from scalemodel.wording import Sentence, counted, figure, gathered

if TYPE_CHECKING:
    from scalemodel.decision.assumed import Assumption
    from scalemodel.decision.cost import Cost
    from scalemodel.decision.inspection_value import NextInspection
    from scalemodel.decision.water_plan import WaterPlans

PRICE_WORDS = {
    "descale_materials": "materials of a descale",
    "descale_hours": "hours of a descale",
    "hour_cost": "price of an hour",
    "descale_wear": "wear by a descale",
    "strip_down": "price of a strip-down",
}


def assumed_words(assumptions: Iterable[Assumption]) -> tuple[str, ...]:
    """A sentence each; last what was assumed of waters, once for all of which it is said.

    >>> of_waters = [assumed.OfWater(water, "no pH") for water in ("town", "well")]
    >>> assumed_words([*of_waters, assumed.UnpricedWater("well")])
    ('no price of well is on record: taken as nothing', 'town, well: no pH')
    """
    assumptions = tuple(assumptions)
    of_waters = [(one.water, one.text) for one in assumptions if isinstance(one, assumed.OfWater)]
    return (
        *(_said(one) for one in assumptions if not isinstance(one, assumed.OfWater)),
        *gathered(of_waters),
    )


def answer_object(answer: Cost | NextInspection | WaterPlans) -> dict:
    """An answer as scripts may rely on it: its fields, what was assumed in sentences."""
    return asdict(answer) | {"assumptions": assumed_words(answer.assumptions)}


def _said(one: Assumption) -> str:
    match one:
        case assumed.FoundAtDescale():
            return (
                "scale past the threshold is found out at the descale, and costs a strip-down then; a day above it "
                "counts as much of one as a day counts of the longest age within what you accept"
            )
        case assumed.FromNowOn(water, litres, source):
            return (
                f"from now on {water} at {figure(litres)} L a day ({source}); the next descales leave what a full "
                "descale usually leaves"
            )
        case assumed.MeanUse():
            return "ages are in days of mean use: seasons and absences are left out"
        case assumed.SameUse(litres, source, log_sd):
            return f"{litres:.3g} L a day ({source}), give or take {log_sd:.0%}, of each"
        case assumed.FullDescales():
            return "every descale is full and leaves what one usually leaves, and every interval is like the last"
        case assumed.TreatedPart():
            return "the part of a mix with the lowest TDS is the one from cartridges"
        case assumed.ImpliedFailure(descales, tolerance, at_most):
            kind = "at most" if at_most else "about"
            return (
                f"scale past the threshold counts {kind} {descales:.2g} descales, as the risk of {tolerance:.0%} that "
                "you accept implies"
            )
        case assumed.DayWorth(saves, days, cycle_days):
            worth = f"{days:.0f} days of waiting save what a descale costs"
            if saves is not None:
                worth = f"a day's wait saves {saves:.2g}"
            return f"{worth}: the long-run cost of descaling after every {cycle_days:.0f} days of use"
    return _said_of_prices(one)


def _said_of_prices(one: Assumption) -> str:
    match one:
        case assumed.PricesFrom(day, descale):
            return Sentence("prices from ", day, f"; a descale {figure(descale)} in all")
        case assumed.BlankPrices(columns, water):
            blank = [PRICE_WORDS[column] for column in columns] + ([] if water is None else [f"price of {water}"])
            return f"not on record, so taken as nothing: {', '.join(blank)}"
        case assumed.LooksGoOn(days, looks):
            return f"looks go on as in the last {days} days ({counted(looks, 'look')})"
        case assumed.FreeLooks(sites):
            return f"no price of a look at the {', the '.join(sites)}: taken as free (amend its site, or register it)"
        case assumed.CartridgePrice(water):
            return f"{water} is taken to cost what its cartridges cost"
        case assumed.UnpricedWater(water):
            return f"no price of {water} is on record: taken as nothing"
        case assumed.NoCosts():
            return "no prices of a descale are on record, so no costs (scalemodel add prices)"
        case assumed.WorthInDays():
            return (
                "no price of a descale is on record: values are in days by which the descale can wait; looks that "
                "nobody priced are shown and not advised, save at the easiest site"
            )
    raise TypeError(f"{type(one).__name__} has no words")
