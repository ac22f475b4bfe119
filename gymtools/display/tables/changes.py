"""Who gains and who loses by a change: one line over all uses, and what was changed, in words."""

import re
from dataclasses import dataclass, fields

from ...acoustics.criteria import CRITERIA, WORDS

MOST_NAMED = 3  # things that a line names one by one
THINGS = {  # fields of a scenario that have no name of their own
    "hall": "the gym",
    "air": "the air",
    "stage": "the stage",
    "targets": "the targets",
    "equipment": "the equipment",
    "treatments": "the treatment",
    "court": "the court",
}
NUMBERS = re.compile(r"(?<= )\d[\d.,/]*")  # of a tag as "W1" none
SAID = ("units", "name", "source", "text", "memory")  # no part of a design
RULE = (
    "A check gains or loses when its word changes: meets, close, misses, out of reach. Numbers that"
    " change within a word stand in the cells."
)


def changed_things(before, after):
    """What differs between two designs, in words.

    Parameters
    ----------
    before, after : Scenario
        Of one school

    Returns
    -------
    words : str
        E.g. "north row and the gym"; empty where nothing differs
    """
    names = []
    for f in fields(before):
        old, new = getattr(before, f.name), getattr(after, f.name)
        if f.name in SAID or old == new:
            continue
        named = f.name not in THINGS and isinstance(new, tuple) and hasattr((*old, *new)[0], "name")
        names += _differing(old, new) if named else [THINGS.get(f.name, f.name.replace("_", " "))]
    names = list(dict.fromkeys(names))
    if len(names) > MOST_NAMED:
        return f"{len(names)} things"
    return " and ".join(filter(None, (", ".join(names[:-1]), *names[-1:])))


def _differing(old, new):
    """Names of things that were added, removed or changed."""
    was, now = ({thing.name: thing for thing in things} for things in (old, new))
    return [name for name in {**was, **now} if was.get(name) != now.get(name)]


def new_warnings(before, after):
    """What a change asks to look at, e.g. a loudspeaker that now hangs low over the court; one
    that has hung low before is no news, whatever its height.

    Parameters
    ----------
    before, after : Scenario
        Of one school

    Returns
    -------
    words : str
        The first new warning, and how many more the verdicts name; empty where there is none
    """
    known = {NUMBERS.sub("", warning) for warning in before.warnings}
    new = [warning for warning in after.warnings if NUMBERS.sub("", warning) not in known]
    if not new:
        return ""
    more = f" ({len(new) - 1} more in Verdicts)" if len(new) > 1 else ""
    return f"Warning: {new[0]}{more}"


@dataclass(frozen=True, kw_only=True, eq=False)
class Change:
    """A check whose word has changed in a use."""

    use: str
    before: object  # Verdict
    after: object  # Verdict

    @property
    def words(self):
        """How many words it has become better by, negative where it lost [-]."""
        return WORDS.index(self.before.word) - WORDS.index(self.after.word)

    @property
    def steps(self):
        """What its margin has gained, in steps of the criterion's ``close`` [-]."""
        c = CRITERIA[self.after.criterion]
        before, after = ((v.value, v.target) for v in (self.before, self.after))
        return c.steps(*after) - c.steps(*before)

    @property
    def sentence(self):
        """The check with its area, its number and the word it has now."""
        c, v = CRITERIA[self.after.criterion], self.after
        where = f", {v.area}" if v.area else ""
        return f"{c.quantity}{where}: {c.text(v.value)}, now {v.word}"


def changes(before, after):
    """Checks of one use whose word has changed.

    Parameters
    ----------
    before, after : JudgedUse
        Of the same use and the same rays

    Returns
    -------
    changes : list of Change
        Checks that are judged in both
    """
    former = {(v.criterion, v.area): v for v in before.verdicts}
    pairs = ((former.get((v.criterion, v.area)), v) for v in after.verdicts)
    found = (Change(use=after.use, before=a, after=b) for a, b in pairs if a is not None)
    return [change for change in found if change.words]


def change_sentence(what, before, after):
    """Who gains and who loses, use by use.

    Parameters
    ----------
    what : str
        What was changed, in words
    before, after : sequence of JudgedUse
        In the same order, each pair of the same use and rays

    Returns
    -------
    words : str
        E.g. "Since north row was changed: game gains 2 checks, graduation loses 3 (worst: ...)."
    """
    found = [changes(*pair) for pair in zip(before, after, strict=True)]
    said = [f"{c[0].use} {_count(c)}" for c in found if c]
    lost = [change for c in found for change in c if change.words < 0]
    start = f"Since {what} {'were' if ' and ' in what or ' things' in what else 'was'} changed"
    if not said:
        return f"{start}: no check gains or loses."
    first, *others = said
    unit = " check" if first.split()[-1] == "1" else " checks"
    words = ", ".join((first + unit, *others))
    if lost:
        worst = min(lost, key=lambda change: (change.words, change.steps))
        of = f"{worst.use}, " if len({change.use for change in lost}) > 1 else ""
        words += f" (worst: {of}{worst.sentence})"
    return f"{start}: {words}."


def _count(found):
    gains = sum(change.words > 0 for change in found)
    losses = len(found) - gains
    return " and ".join([f"gains {gains}"] * bool(gains) + [f"loses {losses}"] * bool(losses))
