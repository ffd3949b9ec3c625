"""The photographs of a boiler on its page: each site's series, small, with what was graded beside each."""

from __future__ import annotations

from base64 import b64encode
from datetime import date
from typing import TYPE_CHECKING

from scalemodel.logbook.photographs import smaller
from scalemodel.logbook.series import photograph_series
from scalemodel.wording import counted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from scalemodel.logbook.series import Series, Shown
    from scalemodel.logbook.store import Logbook

MOST_SHOWN = 12
"""Photographs of a site on a page, at most; the last ones."""

SIDE = 480
"""Pixels of the longer side of a photograph on a page."""


def photographs_for_page(book: Logbook, boiler: str, as_of: date) -> tuple[Series, ...]:
    """The last photographs of each site up to a day, as a page shows them."""
    return photograph_series(book, boiler, as_of, MOST_SHOWN)


def photograph_values(series: Sequence[Series]) -> list[dict]:
    """Each site's photographs as values for the template, oldest first."""
    return [
        {
            "site": one.site,
            "pictures": [_picture(shown) for shown in one.shown],
            "earlier": f"{counted(one.earlier, 'earlier photograph')} in the logbook." if one.earlier else "",
        }
        for one in series
    ]


def _picture(shown: Shown) -> dict:
    from scalemodel.report.charts import look_words

    look, small = shown.look, smaller(shown.photograph, SIDE)
    said = look_words(look).removeprefix(f"{look.site}, ")
    return {
        "src": f"data:image/jpeg;base64,{b64encode(small.jpeg).decode()}",
        "width": small.width,
        "height": small.height,
        "alt": f"{look.site} on {look.date}: {said}",
        "date": look.date,
        "said": said,
        "inspector": look.inspector,
    }
