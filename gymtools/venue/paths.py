"""Values of a scenario by path: ("groups", "north row", "downtilt_deg"), ("uses", "game",
"target_dba"), ("hall", "length"). Things of which a scenario holds several are found by name.
"""

from dataclasses import is_dataclass, replace
from numbers import Integral

from .arguments import choices
from .finishes import FINISHES
from .measured_room import OCTAVES
from .quantity import file_fields, limits
from .renamed import current_key, warn_renamed
from .texts import shown
from .uses import GroupSetting
from .wiring import Wiring

EXAMPLE = 'Give tuples of names, e.g. {("hall", "length"): 26.0}.'


def changed(scenario, changes):
    """The scenario with some of its values changed, all at once.

    Parameters
    ----------
    scenario : Scenario
        Where to start from
    changes : dict
        New value by path, e.g. ``("hall", "length")``, ``("banks", "north bank", "rows")``,
        ``("uses", "game", "groups", "north row", "gain_db")``, ``("equipment", "wiring",
        "north row", "run")``. A treatment is called by its surface, the second one of a surface
        ``"east wall 2"`` and so on. A dict as value adds to the table that is there [SI]

    Returns
    -------
    scenario : Scenario
        Checked as a whole, so that values which only fit together may change together

    Raises
    ------
    ValueError
        A path leads nowhere, or lies within another; or the scenario cannot be
    """
    check_changes("changes", changes)
    if not changes:
        return scenario
    tree = {}
    for path, value in changes.items():
        *stem, leaf = by_name(scenario, path)
        branch = tree
        for step in stem:
            branch = branch.setdefault(step, {})
            if not isinstance(branch, dict):
                raise ValueError(f"{_written(path)}: a value is given in whole and in part.")
        if isinstance(value, dict):
            value = {**branch.get(leaf, {}), **value}
        elif isinstance(branch.get(leaf), dict):
            raise ValueError(f"{_written(path)}: a value is given in whole and in part.")
        branch[leaf] = value
    return _grown(scenario, tree)


def check_changes(name, changes):
    """Refuse changes that are no values by path, whatever the scenario.

    Parameters
    ----------
    name : str
        What they are, for the message
    changes : dict
        As for ``changed``

    Raises
    ------
    ValueError
        It is no dict; a key is no tuple of names, or a value is none
    """
    if not isinstance(changes, dict):
        raise ValueError(f"{name} = {shown(changes)} must be a dict of values by path. {EXAMPLE}")
    for path in changes:
        if not isinstance(path, tuple):
            raise ValueError(f"{name}: {shown(path)} is no path. {EXAMPLE}")
        for step in path:
            if isinstance(step, bool) or not isinstance(step, str | Integral):
                raise ValueError(f"{name}: {shown(path)} is no path. {EXAMPLE}")


def value_at(scenario, path):
    """The value at a path.

    Parameters
    ----------
    scenario : Scenario
        Where to look
    path : tuple
        As for ``changed``

    Returns
    -------
    value : object
        What the scenario means there: a group that a use does not name plays at gain 0, an area
        without a share is empty, one without a weight counts nothing, a bank of which no number of
        rows is given has None: all that it has are out [SI]

    Raises
    ------
    ValueError
        The path leads nowhere
    """
    return _at(scenario, by_name(scenario, path))


def range_at(scenario, path):
    """The range that the thing itself allows for the value at a path.

    Parameters
    ----------
    scenario : Scenario
        Where to look
    path : tuple
        As for ``changed``

    Returns
    -------
    ends : tuple or None
        Low and high; None where a value has no range of its own [SI]

    Raises
    ------
    ValueError
        The path leads nowhere
    """
    *stem, leaf = by_name(scenario, path)
    thing = _at(scenario, stem)
    if not is_dataclass(thing) or "low" not in type(thing).__dataclass_fields__[leaf].metadata:
        return None
    return limits(type(thing), leaf)[:2]


def names(things):
    """What the things of a scenario's list are called in paths.

    Parameters
    ----------
    things : tuple
        Banks, groups, uses, treatments ...

    Returns
    -------
    names : list of str
        Their names; treatments have none and are called by their surface: "east wall",
        "east wall 2" ...
    """
    found = []
    for thing in things:
        own = getattr(thing, "name", None)
        if own is None:
            own = thing.surface
            earlier = sum(other.surface == own for other in things[: len(found)])
            own = f"{own} {earlier + 1}" if earlier else own
        found.append(own)
    return found


def by_name(scenario, path):
    """A path in the present names; positions and former names are understood and said once.

    Parameters
    ----------
    scenario : Scenario
        Where the path leads
    path : tuple
        As for ``changed``

    Returns
    -------
    path : tuple
        Names, save for the octaves of ``noise_db``, which have numbers

    Raises
    ------
    ValueError
        The path leads nowhere; the refusal lists what is there
    """
    if not path:
        raise ValueError("a path needs at least one name, e.g. ('hall', 'length').")
    steps = []
    for step in path:
        thing = _at(scenario, steps)
        if isinstance(thing, tuple):
            step = _in_tuple(thing, step, steps)
        elif isinstance(thing, dict):
            _check_known(step, UNNAMED[steps[-1]][1](scenario), steps)
        elif is_dataclass(thing):
            step = _in_thing(thing, step, steps)
        else:
            what = "there is none" if thing is None else "holds one value"
            raise ValueError(f"{_written(steps)}: {what}, so {shown(step)} leads nowhere.")
        steps.append(step)
    return tuple(steps)


# tables by names: what stands for a name that the table does not hold, and the names it may hold
UNNAMED = {
    "groups": (GroupSetting(), lambda scenario: names(scenario.groups)),
    "wiring": (Wiring(), lambda scenario: names(scenario.groups)),
    "pulled_out": (None, lambda scenario: names(scenario.banks)),
    "listens": (0.0, lambda scenario: scenario.area_names),
    "occupied": (0.0, lambda scenario: scenario.area_names),
    "absorption_factors": (1.0, lambda scenario: FINISHES),
    "scattering_factors": (1.0, lambda scenario: FINISHES),
    **dict.fromkeys(
        ("t20_s", "edt_s", "noise_db", "measured_s", "fitted_s", "spread_pct"),
        (None, lambda scenario: OCTAVES),
    ),
}


def _at(scenario, steps):
    """Thing, tuple, dict or value that some steps in present names lead to."""
    thing = scenario
    for n, step in enumerate(steps):
        if isinstance(thing, tuple):
            thing = thing[step] if isinstance(step, Integral) else thing[names(thing).index(step)]
        elif isinstance(thing, dict):
            thing = thing.get(step, UNNAMED[steps[n - 1]][0])
        else:
            thing = getattr(thing, step)
    return thing


def _in_tuple(things, step, steps):
    """Name of one of several things; a position is understood."""
    if not things or not is_dataclass(things[0]):
        called = range(len(things))
    else:
        called = names(things)
        if isinstance(step, Integral) and 0 <= step < len(called):
            warn_renamed(f"{_written((*steps, step))}", _written((*steps, called[step])))
            return called[step]
    _check_known(step, called, steps)
    return step


def _in_thing(thing, step, steps):
    """Present name of a field."""
    now = current_key(type(thing), step)
    if now != step:
        warn_renamed(_written((*steps, step)), _written((*steps, now)))
    _check_known(now, [f.name for f in file_fields(thing)], steps)
    return now


def _check_known(step, known, steps):
    if step not in known:
        where = _written(steps) or "scenario"
        raise ValueError(f"{where}: {shown(step)} is unknown. Known: {choices(map(str, known))}.")


def _written(steps):
    """A path in a sentence."""
    return ", ".join(str(step) for step in steps)


def _check_branches(thing, tree, key):
    """A table is given for what is one, with keys that are there."""
    where = [key] if key else []
    if isinstance(thing, tuple):
        known = names(thing) if thing and is_dataclass(thing[0]) else range(len(thing))
    elif is_dataclass(thing):
        known = [f.name for f in file_fields(thing)]
    elif isinstance(thing, dict):
        return
    else:
        raise ValueError(f"{_written(where)}: holds one value, where a table is given.")
    for step in tree:
        _check_known(step, known, where)


def _grown(thing, tree, key=None):
    """A thing, tuple or dict with its branches replaced from the leaves up; ``key`` is the field it
    stands in.
    """
    if not isinstance(tree, dict):
        return tree
    _check_branches(thing, tree, key)
    if isinstance(thing, tuple):
        called = names(thing) if thing and is_dataclass(thing[0]) else range(len(thing))
        return tuple(
            _grown(v, tree[k]) if k in tree else v for k, v in zip(called, thing, strict=True)
        )
    if isinstance(thing, dict):
        grown = {
            k: _grown(thing.get(k) or UNNAMED[key][0], v) if isinstance(v, dict) else v
            for k, v in tree.items()
        }
        return {**thing, **grown}
    return replace(thing, **{k: _grown(getattr(thing, k), v, k) for k, v in tree.items()})
