"""The decision record: one HTML file that opens offline, prints well, and says what was decided, on
what, and why.
"""

from ...design.revisions import Issue, dated
from .page import Page
from .record_closing import cautions, limits, origin, schedules, signatures
from .record_figures import options, room, uncertainty, uses
from .record_inputs import inputs
from .record_reasons import changes, reasons
from .record_sounds import sounds
from .record_summary import misses, summary, title

WRITERS = {
    "summary": summary,
    "reasons": reasons,
    "options": options,
    "misses": misses,
    "sounds": sounds,
    "changes": changes,
    "inputs": inputs,
    "room": room,
    "uses": uses,
    "uncertainty": uncertainty,
    "schedules": schedules,
    "cautions": cautions,
    "signatures": signatures,
    "limits": limits,
    "origin": origin,
}
PARTS = {  # by who reads it
    "school": ("summary", "reasons", "misses", "sounds", "changes", "cautions", "signatures"),
    "installer": ("summary", "changes", "schedules", "cautions", "signatures"),
    "file": tuple(WRITERS),
}
READERS = tuple(PARTS)
PAPER = {"m": "A4", "ft": "letter"}  # by the units of the school


def record_html(decision, *, reader="file", date=None, issue=None, earlier=None):
    """Decision record as one HTML file.

    Parameters
    ----------
    decision : Decision
        Of ``design.decision.decide``
    reader : str
        "school" (what and why, in plain words), "installer" (with all schedules) or "file"
        (everything)
    date : datetime.date, optional
        Of the record where ``issue`` has none, as given; a blank to write on when left out
    issue : Issue, optional
        Revision, date and for whom; the first revision, the others left blank, when left out
    earlier : Earlier, optional
        The record before, of ``design.revisions.earlier_record``; none when left out

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
    issue, scenario = issue or Issue(), decision.chosen.scenario
    foot = f"{scenario.name}: decision record, revision {issue.revision}"
    page = Page(f"{scenario.name}: decision record", paper=PAPER[scenario.units], foot=foot)
    title(page, decision, dated(issue, date))
    more = {"reasons": (issue,), "changes": (issue, earlier), "origin": (issue,)}
    more["sounds"] = (issue,)
    for part in PARTS[reader]:
        WRITERS[part](page, decision, *more.get(part, ()))
    return page.html()
