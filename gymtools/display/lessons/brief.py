"""The brief of a design task in words: the gym, its uses, what hangs there, the budget."""

from html import escape
from pathlib import Path

from ...training.task import Task, judged, yardstick
from ...training.yardstick import beside, read_yardstick
from ...venue.files import load
from .. import tables
from ..tables.markup import Num, bullets, table


def set_task(brief_file):
    """The task of a brief.

    Parameters
    ----------
    brief_file : str or Path
        Scenario file that everybody starts from; its yardstick lies beside it, or is measured now,
        without a search for a better aim

    Returns
    -------
    task : Task
        Brief and scale

    Raises
    ------
    ValueError
        One line: a file cannot be read, or no scale can be made
    """
    brief, file = load(brief_file), beside(Path(brief_file))
    scale = read_yardstick(file) if file.exists() else yardstick(brief, evaluations=0)
    return Task(brief, scale)


def brief_words(task):
    """The brief, as it is shown over the design panel.

    Parameters
    ----------
    task : Task
        Brief and scale

    Returns
    -------
    html : str
        A card: size, uses, what hangs there, what it meets today, the budget
    """
    school, found = task.brief, judged(task.brief)
    sides = (school.hall.length, school.hall.width, school.hall.height)
    size = f"{escape(school.name)}: a gym of {' by '.join(school.say(v) for v in sides)}."
    uses = [
        (
            escape(u.name),
            escape(", ".join(u.listens)),
            Num(f"{u.target_dba:g}"),
            Num(f"{u.noise_dba:g}"),
            escape(", ".join(u.microphones)),
        )
        for u in school.uses
    ]
    head = ("use", "who listens", Num("speech [dB(A)]"), Num("noise [dB(A)]"), "open microphones")
    hangs = bullets(
        f"{escape(g.name)}: {g.number} of {escape(g.loudspeaker)}, {school.say(g.height)} high,"
        f" turned {g.pan_deg:g}° and tilted {g.downtilt_deg:g}°"
        for g in school.groups
    )
    return tables.card(
        f"<p>{size}</p>",
        table("", head, uses),
        f"<p>What hangs there:</p>{hangs}",
        f"<p>Today {found.met} of {found.verdicts} verdicts are met. The weakest use is"
        f" {escape(found.weakest[0])}: {found.weakest[1]} of {found.weakest[2]}. What hangs there"
        f" would cost {found.cost:,.0f} new; the school has <b>{task.yardstick.budget:,.0f}</b>"
        " (invented prices).</p>",
    )
