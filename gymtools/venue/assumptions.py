"""What of a scenario is assumed and not confirmed: ``assumed = ["hall.roof", "banks.north
bank.row_rise"]`` in its file.
"""

from dataclasses import fields, is_dataclass

from .finishes import FINISHES
from .paths import by_name, names, value_at
from .quantity import file_fields
from .refusals import Refusal, collect
from .texts import shown
from .typed_values import value_text

# standard deviation of the logarithm of the absorption, mean of 500 Hz to 2 kHz, among finishes of
# the table that such a surface may have: plain and acoustic decks, plasterboard, ceiling tile; bare
# and painted block and brick, plaster, gypsum, wood lining, plywood; wood, synthetic and rubber
# floors    worked out from data/finishes.csv, ``test_assumptions``
ANOTHER = {"roof": 1.2, "walls": 0.8, "floor": 0.5} | dict.fromkeys(
    ("north_wall", "south_wall", "east_wall", "west_wall"), 0.8
)
OTHER = 0.7  # of any other surface    judgment, no source
HINT = 'Give keys as in the file, e.g. assumed = ["hall.roof", "banks.north bank.rows"].'


def key_of(path):
    """A path as a key of the file.

    Parameters
    ----------
    path : tuple
        As for ``paths.changed``

    Returns
    -------
    key : str
        E.g. "banks.north bank.rows"
    """
    return ".".join(str(step) for step in path)


def path_of(scenario, key):
    """The path that a key stands for; names may hold dots.

    Parameters
    ----------
    scenario : Scenario
        Where it leads
    key : str
        E.g. "banks.north bank.rows"

    Returns
    -------
    path : tuple
        As for ``paths.changed``

    Raises
    ------
    ValueError
        It leads nowhere
    """
    steps, thing, rest = [], scenario, key
    while rest:
        known = _called(thing)
        if known is None:  # names of a table
            steps.append(rest)
            break
        step = next((n for n in known if rest == n or rest.startswith(f"{n}.")), None)
        if step is None:
            raise ValueError(f"assumed: {shown(key)} leads nowhere. {HINT}")
        steps.append(step)
        rest = rest[len(step) + 1 :]
        thing = value_at(scenario, tuple(steps)) if rest else None
    return by_name(scenario, tuple(steps))


def _called(thing):
    """Names under a thing, the longest first; None for a table, which may hold any."""
    if isinstance(thing, tuple) and thing and is_dataclass(thing[0]):
        return sorted(names(thing), key=len, reverse=True)
    if is_dataclass(thing):
        return [f.name for f in file_fields(thing)]
    return None if isinstance(thing, dict) else []


def check_assumed(scenario):
    """Refuse assumptions of things that are not there.

    Parameters
    ----------
    scenario : Scenario
        Read from a file

    Raises
    ------
    ValueError
        Keys lead nowhere, a line each
    """
    found = []
    for key in scenario.assumed:
        collect(found, path_of, scenario, key)
    if found:
        raise Refusal(*found)


def is_assumed(scenario, path):
    """Whether the value at a path is assumed, by itself or with the thing that it belongs to.

    Parameters
    ----------
    scenario : Scenario
        Any
    path : tuple
        As for ``paths.changed``

    Returns
    -------
    assumed : bool
        Whether nobody has confirmed it
    """
    return any(key_of(path[: n + 1]) in scenario.assumed for n in range(len(path)))


def assumed_finishes(scenario):
    """Finishes that nobody has confirmed on at least one surface, and how far off they may be.

    Parameters
    ----------
    scenario : Scenario
        Any

    Returns
    -------
    spread : dict
        Standard deviation of the logarithm of the absorption, by the name of a finish, the largest
        of its surfaces
    """
    found = {}
    for key in scenario.assumed:
        try:
            path = path_of(scenario, key)
        except ValueError:  # of a use or a thing that has been left out
            continue
        for surface, name in _finishes_at(path[-1], value_at(scenario, path)):
            found[name] = max(found.get(name, 0.0), ANOTHER.get(surface, OTHER))
    return found


def _finishes_at(surface, value):
    """(Surface, finish) of a value, or of all that a thing or several hold."""
    if isinstance(value, str) and value in FINISHES:
        yield surface, value
    elif isinstance(value, tuple):
        for thing in value:
            yield from _finishes_at(surface, thing)
    elif is_dataclass(value):
        for f in fields(value):
            yield from _finishes_at(f.name, getattr(value, f.name))


def assumed_values(scenario):
    """What is assumed, in words.

    Parameters
    ----------
    scenario : Scenario
        Any

    Returns
    -------
    rows : list of tuple
        (Where it stands, what is taken), in the order of the file's list
    """
    rows = []
    for key in scenario.assumed:
        try:
            path = path_of(scenario, key)
        except ValueError:
            continue
        rows.append((_place(path), _value(scenario, path)))
    return rows


def _place(path):
    """A path in words: "gym: roof", "north bank: row rise"."""
    first = {"hall": "gym"}.get(path[0], path[0].removesuffix("s"))
    steps = [first, *path[1:]] if len(path) < 3 or path[0] == "hall" else path[1:]
    return ": ".join(str(step).replace("_", " ") for step in steps)


def _value(scenario, path):
    """The value at a path in words and in the scenario's units."""
    value = value_at(scenario, path)
    if is_dataclass(value) or (isinstance(value, tuple) and value and is_dataclass(value[0])):
        return "as it is in the list of seats and uses"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return value_text(value, _unit(scenario, path), scenario.units)
    if isinstance(value, tuple | dict):
        return ", ".join(str(v) for v in value) or "none"
    return "none" if value is None else str(value)


def _unit(scenario, path):
    """Unit of the field that a path leads to, as ``typed_values`` has it."""
    thing = value_at(scenario, path[:-1]) if len(path) > 1 else scenario
    if not is_dataclass(thing):
        return "number"
    unit = type(thing).__dataclass_fields__[path[-1]].metadata.get("unit") or "number"
    return {"degC": "°C", "-": "number"}.get(unit, unit)
