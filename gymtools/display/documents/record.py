"""The decision record: one HTML file that opens offline, prints well, and says what was decided, on
what, and why.
"""

import datetime

from .page import Page, quoted
from .record_closing import cautions, limits, origin, schedules, signatures
from .record_figures import options, room, uncertainty, uses
from .record_inputs import inputs
from .record_summary import summary

WRITERS = {
    "summary": summary,
    "inputs": inputs,
    "options": options,
    "room": room,
    "uses": uses,
    "uncertainty": uncertainty,
    "schedules": schedules,
    "cautions": cautions,
    "limits": limits,
    "origin": origin,
    "signatures": signatures,
}
PARTS = {  # by who reads it
    "school": ("summary", "cautions", "signatures"),
    "installer": ("summary", "schedules", "cautions", "signatures"),
    "file": tuple(WRITERS),
}
READERS = tuple(PARTS)


def record_html(decision, *, reader="file", date=None):
    """Decision record as one HTML file.

    Parameters
    ----------
    decision : Decision
        Of ``design.decision.decide``
    reader : str
        "school" (what and why, in plain words), "installer" (with all schedules) or "file"
        (everything)
    date : datetime.date, optional
        Printed in the one line that differs from day to day; today when left out

    Returns
    -------
    html : str
        Opens offline, asks for nothing

    Raises
    ------
    ValueError
        ``reader`` is none of the three
    """
    if reader not in READERS:
        raise ValueError(f"reader = {reader!r} is unknown. Known: {', '.join(READERS)}.")
    name = decision.chosen.scenario.name
    page = Page(f"{name}: decision record")
    page.add(
        f"<h1>{quoted(name)}: the sound system</h1>",
        '<p class="quiet" id="made-on">Written on'
        f" {(date or datetime.date.today()).isoformat()}.</p>",
    )
    for part in PARTS[reader]:
        WRITERS[part](page, decision)
    return page.html()
