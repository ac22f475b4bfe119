"""Options side by side: headline figures over all uses, what is told apart, which one another beats
in everything.
"""

from dataclasses import dataclass, fields, is_dataclass, replace

from ..venue.hall import Treatment
from ..venue.scenario import Scenario
from ..venue.units import length_text, to_file
from .arrangements import ARRANGEMENTS, arrange
from .sweeping import figures
from .treatment import treated

AS_IT_IS = "as it is"


@dataclass(frozen=True, kw_only=True)
class Headline:
    """A figure that options are compared by: the worst of all uses, rounded to what is worth
    telling.
    """

    key: str
    words: str
    unit: str
    digits: int
    better: int  # 1: more is better, -1: less is better
    figure: str | None  # of every use, as in ``sweeping.FIGURES``; None: of the whole


HEADLINES = (
    Headline(key="cost", words="cost", unit="", digits=0, better=-1, figure=None),
    Headline(
        key="missed", words="verdicts that do not hold", unit="", digits=0, better=-1, figure=None
    ),
    Headline(
        key="clarity", words="clarity (STI), worst use", unit="", digits=2, better=1, figure="STI"
    ),
    Headline(
        key="evenness",
        words="evenness, worst use",
        unit="dB",
        digits=1,
        better=-1,
        figure="evenness [dB]",
    ),
    Headline(
        key="spare",
        words="spare gain, worst microphone",
        unit="dB",
        digits=1,
        better=1,
        figure="spare gain [dB]",
    ),
    Headline(
        key="onto",
        words="sound onto people, worst use",
        unit="%",
        digits=0,
        better=1,
        figure="onto people [%]",
    ),
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Option:
    """A design that is kept to be compared."""

    name: str
    scenario: Scenario
    headlines: dict  # by the keys of ``HEADLINES``; None where there is nothing to tell
    row: dict  # all figures
    room: str  # in which they are told


def option(name, scenario, *, room="statistical", prices=None):
    """Keep a design as an option.

    Parameters
    ----------
    name : str
        What it is called [-]
    scenario : Scenario
        The design [-]
    room : str
        As for ``evaluate`` [-]
    prices : PriceBook, optional
        The package's invented one when left out [-]

    Returns
    -------
    option : Option
        Evaluated in all its uses
    """
    row = figures(scenario, room, prices)
    return Option(name=name, scenario=scenario, headlines=headlines(row), row=row, room=room)


def headlines(row):
    """Headline figures of a row of ``figures`` or ``sweep``.

    Parameters
    ----------
    row : dict
        Figures of all uses; of a variation that was not refused [-]

    Returns
    -------
    headlines : dict
        By the keys of ``HEADLINES``, rounded as told
    """
    found, row = {}, {**row, "missed": row["of"] - row["hold"]}
    for h in HEADLINES:
        values = (
            [row[h.key]]
            if h.figure is None
            else [v for k, v in row.items() if k.endswith(f": {h.figure}")]
        )
        values = [v for v in values if v is not None]
        found[h.key] = round((min if h.better > 0 else max)(values), h.digits) if values else None
    return found


def told(headline, value):
    """A headline figure as text.

    Parameters
    ----------
    headline : Headline
        Which [-]
    value : float or None
        Its value [its unit]

    Returns
    -------
    text : str
        Rounded, without its unit; "none" where there is nothing to tell
    """
    if value is None:
        return "none"
    return f"{value:,.0f}" if headline.digits == 0 else f"{value:.{headline.digits}f}"


def dominated_by(one, others):
    """The first of some that is at least as good in every headline and better in one.

    Parameters
    ----------
    one : dict
        Headlines [-]
    others : dict
        Headlines by name [-]

    Returns
    -------
    name : str or None
        None when it is worth looking at; what only one of two has a figure for (a microphone's
        spare gain) leaves both
    """
    for name, other in others.items():
        pairs = [(one[h.key], other[h.key], h.better) for h in HEADLINES]
        if any((a is None) != (b is None) for a, b, _ in pairs):
            continue
        gains = [(b - a) * better for a, b, better in pairs if a is not None]
        if gains and min(gains) >= 0 and max(gains) > 0:
            return name
    return None


def dominated(options):
    """Which options another one beats in everything; figures of the traced room are compared with
    such figures only.

    Parameters
    ----------
    options : sequence of Option
        All that are shown [-]

    Returns
    -------
    names : list of str or None
        For each option the name of one that beats it, or None
    """
    return [
        dominated_by(
            o.headlines, {x.name: x.headlines for x in options if x is not o and x.room == o.room}
        )
        for o in options
    ]


def choices(scenario):
    """What a designer may want to see all combinations of.

    Parameters
    ----------
    scenario : Scenario
        What stands now [-]

    Returns
    -------
    axes : dict
        For ``sweep``: by axis, choices by their words; the first of each leaves it as it is
    """

    def loudspeaker(name):
        return lambda s: replace(s, groups=tuple(replace(g, loudspeaker=name) for g in s.groups))

    def lower(by):
        return lambda s: replace(
            s, groups=tuple(replace(g, height=g.height - by) for g in s.groups)
        )

    say = scenario.say
    areas = (
        (50.0, 100.0, 200.0)
        if scenario.units == "m"
        else tuple(ft2 * 0.3048**2 for ft2 in (500, 1000, 2000))
    )

    def shown(area):
        return f"{to_file(area, 'm2', scenario.units):.0f} {scenario.units}²"

    return {
        "arrangement": {
            AS_IT_IS: {},
            **{a.title: lambda s, key=key: arrange(s, key) for key, a in ARRANGEMENTS.items()},
        },
        "loudspeakers": {
            AS_IT_IS: {},
            **{name: loudspeaker(name) for name in scenario.loudspeaker_types},
        },
        "height": {AS_IT_IS: {}, **{f"{say(by)} lower": lower(by) for by in (0.5, 1.0, 1.5)}},
        "treatment": {
            AS_IT_IS: {},
            **{f"{shown(area)} more": lambda s, area=area: treated(s, area) for area in areas},
        },
    }


def told_apart(a, b):
    """What differs between two designs, in words.

    Parameters
    ----------
    a, b : Scenario
        Two designs [-]

    Returns
    -------
    differences : list of tuple
        (what, in a, in b), lengths in a's units; "-" where one has none of it
    """
    one, other = (_flat(s, a.units) for s in (a, b))
    if [g.name for g in a.groups] != [g.name for g in b.groups]:
        for flat, s in ((one, a), (other, b)):
            for key in [k for k in flat if k.startswith("group ") or "loudspeakers in" in k]:
                del flat[key]
            flat["loudspeakers"] = hung(s)
    keys = [*one, *(k for k in other if k not in one)]
    return [
        (k, one.get(k, "-"), other.get(k, "-"))
        for k in keys
        if one.get(k, "-") != other.get(k, "-")
    ]


def hung(scenario):
    """The loudspeakers of a design in a few words.

    Parameters
    ----------
    scenario : Scenario
        The design [-]

    Returns
    -------
    words : str
        Groups with number and type
    """
    return ", ".join(f"{g.name} ({g.number} {g.loudspeaker})" for g in scenario.groups)


_NAMED = {
    "groups": "group",
    "uses": "use",
    "banks": "bank",
    "floor_seats": "chairs",
    "microphones": "microphone",
    "balconies": "balcony",
    "portable_stages": "stage",
}
_PLAIN = {
    "x": "east of center",
    "y": "north of center",
    "loudspeaker": "type",
    "pan_deg": "pan",
    "downtilt_deg": "tilt",
    "splay_deg": "turned apart",
    "gain_db": "gain",
    "delay_ms": "delay",
    "target_dba": "speech level wanted",
    "noise_dba": "noise",
    "on": "plays",
}


def _flat(scenario, units):
    """Every value of a scenario as text by what it is."""
    found = {}

    def walk(prefix, thing):
        for f in fields(thing):
            value = getattr(thing, f.name)
            if f.name in ("name", "tag", "units", "source") or value == {}:
                continue
            label = (
                f"{prefix}, {_PLAIN.get(f.name, f.name.replace('_', ' '))}"
                if prefix
                else f.name.replace("_", " ")
            )
            if is_dataclass(value):
                walk(label, value)
            elif isinstance(value, tuple) and value and is_dataclass(value[0]):
                for v in value:
                    walk(_titled(f.name, v), v)
            elif isinstance(value, dict) and any(is_dataclass(v) for v in value.values()):
                for name, v in value.items():
                    walk(f"{prefix}, loudspeakers in it, {name}", v)
            else:
                found[label] = _said(value, f.metadata.get("unit"), units)

    walk("", replace(scenario, treatments=()))
    areas = {}
    for t in scenario.treatments:  # several of a kind on one surface count together
        areas[_titled("treatments", t)] = areas.get(_titled("treatments", t), 0.0) + t.area
    return found | {f"{title}, area": _said(area, "m2", units) for title, area in areas.items()}


def _titled(kind, thing):
    if isinstance(thing, Treatment):
        return f"treatment of the {thing.surface} with {thing.finish}" + (
            " that is there" if thing.existing else ""
        )
    return f"{_NAMED[kind]} '{thing.name}'"


def _said(value, unit, units):
    if value is None or value == () or value == {}:
        return "-"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if unit == "m":
        return length_text(value, units)
    if unit == "m2":
        return f"{to_file(value, 'm2', units):.0f} {units}²"
    if isinstance(value, float | int):
        return f"{value:g}" + ({"deg": "°", "": "", "count": "", None: ""}.get(unit, f" {unit}"))
    if isinstance(value, tuple):
        return ", ".join(str(v) for v in value)
    if isinstance(value, dict):
        return ", ".join(f"{k} {v}" for k, v in value.items())
    return str(value)
