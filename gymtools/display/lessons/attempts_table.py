"""Attempts at a design task as tables: with names on the learner's page, without in an export."""

from html import escape

from ...equipment.schedules import Schedule
from ...training.added_lines import plain
from ..tables.markup import Num, table

EARLIER = "by an earlier rule"


def attempts_list(found):
    """Attempts so far, and the lines of the file that cannot be read.

    Parameters
    ----------
    found : Attempts
        Of ``training.attempts.read_attempts``

    Returns
    -------
    html : str
        A table
    """
    rows = [
        (
            n,
            escape(a.who),
            escape(plain(a.when)),
            escape(plain(a.school)),
            Num(EARLIER if a.points is None else f"{a.points:.0f}"),
            Num(f"{a.met} of {a.checks}"),
            Num(f"{a.cost:,.0f}"),
            "open" if a.opened else "closed",
            escape(plain(a.arrangement)),
            escape(plain("; ".join(a.changed), 200)),
        )
        for n, a in enumerate(found.attempts, 1)
    ]
    head = ("", "name", "date", "school", Num("points"), Num("verdicts met"), Num("cost"))
    made = (
        table("Attempts so far", (*head, "search", "arrangement", "outside the brief"), rows)
        if rows
        else "<p class='quiet'>No attempt has been kept yet.</p>"
    )
    return made + (f"<p>{escape(found.warning)}</p>" if found.damaged else "")


def attempts_table(found):
    """Attempts as a table for the supervisor: learners by number, in the order of their first one.

    Parameters
    ----------
    found : Attempts
        Of ``training.attempts.read_attempts``

    Returns
    -------
    table : Schedule
        A row for every attempt that can be read; the note names the lines that cannot
    """
    columns = (
        "number",
        "learner",
        "date",
        "school",
        "brief",
        "points",
        "quality",
        "verdicts met",
        "verdicts",
        "cost",
        "search",
        "arrangement",
        "changed outside the brief",
        "scenario file",
    )
    names = list(dict.fromkeys(a.who for a in found.attempts))
    rows = [
        (
            n,
            names.index(a.who) + 1,
            a.when,
            a.school,
            a.brief,
            EARLIER if a.points is None else round(a.points, 1),
            "" if a.quality is None else round(a.quality, 4),
            a.met,
            a.checks,
            round(a.cost, 2),
            "open" if a.opened else "closed",
            a.arrangement,
            "; ".join(a.changed),
            scenario_name(n),
        )
        for n, a in enumerate(found.attempts, 1)
    ]
    return Schedule(title="Attempts", columns=columns, rows=tuple(rows), note=found.warning)


def scenario_name(number):
    """File name of an attempt's scenario in an export.

    Parameters
    ----------
    number : int
        Of the attempt in its file, from 1 [-]

    Returns
    -------
    name : str
        Made of the number alone, whatever the names are
    """
    return f"attempt-{number:03d}.toml"
