"""Two designs compared value by value, in words."""

from dataclasses import is_dataclass, replace

from ..acoustics.criteria import CRITERIA, in_sentence
from ..venue.assumptions import assumed_values
from ..venue.hall import Treatment
from ..venue.quantity import file_fields
from ..venue.units import area_text, length_text

NONE = "-"
# how things are called that a scenario holds several of
THINGS = {
    "groups": "group",
    "uses": "use",
    "banks": "bank",
    "floor_seats": "chairs",
    "microphones": "microphone",
    "balconies": "balcony",
    "side_courts": "side court",
    "portable_stages": "stage",
    "tracks": "track",
    "fixtures": "fixture",
}
# values that are called otherwise than their field
VALUES = {
    "hall": "gym",
    "court_x": "court, east of center",
    "court_y": "court, north of center",
    "setback": "from the wall",
    "base_height": "height of its mezzanine",
    "pulled_out": "rows pulled out",
    "x": "east of center",
    "y": "north of center",
    "loudspeaker": "type",
    "pan_deg": "pan",
    "downtilt_deg": "downtilt",
    "splay_deg": "splay",
    "leak_db": "leak beside the axis",
    "gain_db": "gain",
    "delay_ms": "delay",
    "target_dba": "target speech level",
    "noise_dba": "noise",
    "on": "plays",
} | {c.target: in_sentence(c.label) for c in CRITERIA.values() if c.target}
SIZES = ("length", "width", "height", "ridge_height")  # by which one gym is told from another
SAME_SIZE = 0.02  # two readings of one tape differ by no more [m]
UNSAID = ("name", "tag", "units", "source", "assumed")
UNITS = {"deg": "°", "": "", "count": "", None: ""}  # written otherwise than after a space


def differing_values(a, b):
    """What differs between two designs, in words.

    Parameters
    ----------
    a, b : Scenario
        Two designs

    Returns
    -------
    differences : list of tuple
        (what, in a, in b), lengths in a's units; "-" where one has none of it
    """
    one, other = (_values(s, a.units) for s in (a, b))
    if [g.name for g in a.groups] != [g.name for g in b.groups]:
        for values, scenario in ((one, a), (other, b)):
            for what in [w for w in values if w.startswith("group ") or "loudspeakers in" in w]:
                del values[what]
            values["loudspeakers"] = loudspeaker_list(scenario)
    pairs = [(what, one.get(what, NONE), other.get(what, NONE)) for what in {**one, **other}]
    return [(what, here, there) for what, here, there in pairs if here != there]


def check_same_gym(options):
    """Refuse options that are of different gyms: their figures would compare two schools.

    Parameters
    ----------
    options : dict
        Scenario by name; treatment, seats and loudspeakers may differ

    Raises
    ------
    ValueError
        Length, width or height of one gym is not that of the first
    """
    (first, one), *others = options.items()
    for name, other in others:
        for size in SIZES:
            a, b = getattr(one.hall, size), getattr(other.hall, size)
            if (a is None) != (b is None) or (a is not None and abs(a - b) > SAME_SIZE):
                said = [_text(v, "m", one.units) for v in (a, b)]
                raise ValueError(
                    f"'{first}' and '{name}' are different gyms, not options of one:"
                    f" {size.replace('_', ' ')}"
                    f" {said[0]} and {said[1]}. Compare designs of one gym."
                )


def chosen_first(options, chosen=None):
    """Names of options of one gym, the chosen one first.

    Parameters
    ----------
    options : dict
        Scenario by the name of each option
    chosen : str, optional
        Name of the one that is chosen; the first when left out

    Returns
    -------
    names : list of str
        The others in their order

    Raises
    ------
    ValueError
        There are no options, the chosen one is none of them, or they are of different gyms
    """
    if not options:
        raise ValueError("options: give at least one.")
    chosen = next(iter(options)) if chosen is None else chosen
    if chosen not in options:
        raise ValueError(f"chosen = '{chosen}' is none of the options: {', '.join(options)}.")
    check_same_gym(options)
    return [chosen, *(n for n in options if n != chosen)]


def loudspeaker_list(scenario):
    """The loudspeakers of a design in a few words.

    Parameters
    ----------
    scenario : Scenario
        The design

    Returns
    -------
    words : str
        Groups with number and type
    """
    return ", ".join(f"{g.name} ({g.number} {g.loudspeaker})" for g in scenario.groups)


def _values(scenario, units):
    """Every value of a scenario as text by what it is."""
    names = [g.name for g in scenario.groups]
    # a use that does not name a group plays it all the same: said, so that both designs say it
    uses = tuple(
        replace(u, groups=u.groups | {n: u.group_setting(n) for n in names}) for u in scenario.uses
    )
    found = _walk("", replace(scenario, treatments=(), uses=uses), units)
    assumed = "; ".join(where for where, _ in assumed_values(scenario))
    found |= {"assumed, not confirmed": assumed} if assumed else {}
    areas = {}
    for t in scenario.treatments:  # several of a kind on one surface count together
        areas[_title("treatments", t)] = areas.get(_title("treatments", t), 0.0) + t.area
    return found | {f"{title}, area": _text(area, "m2", units) for title, area in areas.items()}


def _walk(title, thing, units):
    """Values of a thing and of all that it holds, by their titles."""
    found = {}
    for f in file_fields(thing):
        value = getattr(thing, f.name)
        if f.name in UNSAID or value == {}:
            continue
        word = VALUES.get(f.name, f.name.replace("_", " "))
        label = f"{title}, {word}" if title else word
        if is_dataclass(value):
            found |= _walk(label, value, units)
        elif isinstance(value, tuple) and value and is_dataclass(value[0]):
            for v in value:
                found |= _walk(_title(f.name, v), v, units)
        elif isinstance(value, dict) and any(is_dataclass(v) for v in value.values()):
            for name, v in value.items():
                found |= _walk(f"{title}, loudspeakers in it, {name}", v, units)
        else:
            found[label] = _text(value, f.metadata.get("unit"), units)
    return found


def _title(kind, thing):
    if isinstance(thing, Treatment):
        there = " that is there" if thing.existing else ""
        return f"treatment of the {thing.surface} with {thing.finish}{there}"
    return f"{THINGS[kind]} '{thing.name}'"


def _text(value, unit, units):
    """A value as it is shown; lengths and areas in the units of the school."""
    if value is None or value == () or value == {}:
        return NONE
    if isinstance(value, bool):
        return "yes" if value else "no"
    if unit == "m":
        return length_text(value, units)
    if unit == "m2":
        return area_text(value, units)
    if isinstance(value, float | int):
        return f"{value:g}" + UNITS.get(unit, f" {unit}")
    if isinstance(value, tuple):
        return ", ".join(map(str, value))
    if isinstance(value, dict):
        return ", ".join(f"{k} {v}" for k, v in value.items())
    return str(value)
