"""Names of options in plain words, from where their loudspeakers hang."""

import re
from collections import Counter

from ..venue.units import area_text
from .arrangements import ARRANGEMENTS

# of a group's name what says only which one of several alike it is
WHICH = re.compile(r"\b(north|south|east|west|left|right|\d+)\b|,")
ALIKE = ("center", "stage", "from across")  # words that stay as they are for several groups


def plain_names(options, taken=()):
    """Names for options that were given none.

    Parameters
    ----------
    options : dict
        Scenario by the name of its file; arrangements keep their names
    taken : sequence of str
        Names that other options have

    Returns
    -------
    names : list of str
        No two alike: what the loudspeakers hang as, and where that is the same what differs
    """
    scenarios = list(options.values())
    names = [
        name if name in ARRANGEMENTS else _hung(s)
        for name, s in zip(options, scenarios, strict=True)
    ]
    for say in (_count, _treatment, _types):
        said = [say(s) for s in scenarios]
        for name in [n for n, times in Counter(names).items() if times > 1]:
            same = [k for k, n in enumerate(names) if n == name]
            if len({said[k] for k in same}) > 1:
                for k in same:
                    names[k] = f"{name} ({said[k]})"
    return _numbered(names, taken)


def _numbered(names, taken):
    """Names with a number where they are there already."""
    found = []
    for name in names:
        number, one = 1, name
        while one in (*taken, *found):
            number += 1
            one = f"{name}, number {number}"
        found.append(one)
    return found


def _hung(scenario):
    """Kinds of groups: "north row" and "south row" are rows."""
    names = [" ".join(WHICH.sub(" ", g.name).split()) or g.name for g in scenario.groups]
    words = [
        f"{name}s" if times > 1 and not name.endswith("s") and name not in ALIKE else name
        for name, times in Counter(names).items()
    ]
    return " and ".join(filter(None, (", ".join(words[:-1]), *words[-1:]))) or "as it is"


def _count(scenario):
    number = len(scenario.loudspeakers)
    return f"{number} loudspeaker{'s' * (number != 1)}"


def _treatment(scenario):
    area = sum(t.area for t in scenario.treatments if not t.existing)
    return f"{area_text(area, scenario.units)} treated" if area else "untreated"


def _types(scenario):
    return ", ".join(dict.fromkeys(g.loudspeaker for g in scenario.groups))
