"""How sure the answers are: the same design drawn many times with what is not known, and what that
does to every verdict.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.stats import norm, qmc

from ..acoustics.criteria import CRITERIA, judge
from ..acoustics.evaluate import evaluate
from ..physics.checks import within
from ..venue.paths import changed, value_at

PLACES, FEWER = (
    800,
    150,
    # looked at in every area that listens; for draws of one unknown alone, whose width is told and
    # no more
)
ALONE = 8  # of the draws, one in so many again for every unknown by itself
LEAST = 25  # draws of one unknown by itself
EDGES = (10, 90)  # of the range that is told [percentile]


@dataclass(frozen=True, kw_only=True)
class InputSpread:
    """How far off each of what is not known may be: one standard deviation."""

    # of every finish    after calibration 10 % is the best to hope for: JASA 152 (2022) 1158;
    # tables: judgment, twice that
    absorption_pct: float = 20.0
    noise_db: float = 3.0  # judgment, no source
    occupancy_pct: float = 10.0  # of the places of every area    judgment, no source
    aim_deg: float = 2.0  # pan and tilt of every loudspeaker    judgment, no source
    sensitivity_db: float = 1.0  # of every loudspeaker    judgment, no source

    def __post_init__(self):
        limits = dict(
            absorption_pct=(100, "%"),
            noise_db=(20, "dB"),
            occupancy_pct=(50, "%"),
            aim_deg=(20, "deg"),
            sensitivity_db=(10, "dB"),
        )
        for name, (high, unit) in limits.items():
            within(
                name,
                getattr(self, name),
                0,
                high,
                unit,
                "One standard deviation; 0 takes it as known.",
            )


WORDS = {
    "absorption_pct": "absorption",
    "noise_db": "noise",
    "occupancy_pct": "how full it is",
    "aim_deg": "aim as hung",
    "sensitivity_db": "sensitivity",
}


@dataclass(frozen=True, kw_only=True, eq=False)
class Range:
    """One criterion over all draws."""

    criterion: str
    area: str
    unit: str
    target: float
    value: float  # as designed, all places
    values: np.ndarray  # drawn, over all places as told in ``how_sure`` (draw,)
    chance: float  # share of the draws in which it holds, 0 to 1
    alone: dict  # width of the range by what alone is unknown

    @property
    def low(self):
        """Nine tenths of the draws lie above."""
        return float(np.percentile(self.values, EDGES[0]))

    @property
    def high(self):
        """Nine tenths of the draws lie below."""
        return float(np.percentile(self.values, EDGES[1]))

    @property
    def most(self):
        """What matters most, or None when nothing moves it."""
        name = max(self.alone, key=self.alone.get)
        return name if self.alone[name] > 1e-6 else None


@dataclass(frozen=True, kw_only=True, eq=False)
class Sureness:
    """What may be said of one use for sure, and what not."""

    use: str
    unknowns: InputSpread
    draws: int  # that could be hung
    ranges: tuple

    @property
    def all_hold(self):
        """Least chance of any criterion, 0 to 1."""
        return min(r.chance for r in self.ranges)


def how_sure(scenario, use=None, *, unknowns=None, draws=200, seed=1, progress=None, stop=None):
    """Ranges of every criterion when absorption, noise, occupancy, aim and sensitivity are only
    known about.

    Parameters
    ----------
    scenario : Scenario
        The design [-]
    use : str, optional
        Name of a use; the first when left out [-]
    unknowns : InputSpread, optional
        How far off each may be; the usual ones when left out [-]
    draws : int
        Designs drawn with everything unknown at once; as many again, about, go into telling which
        unknown matters [-]
    seed : int
        The same seed gives the same answer [-]
    progress : callable, optional
        Called with the share that is done, 0 to 1 [-]
    stop : callable, optional
        When it answers true nothing more is drawn [-]

    Returns
    -------
    sureness : Sureness or None
        None when it was stopped

    Notes
    -----
    Normal errors drawn by Latin hypercube (of absorption in its logarithm), every finish, area and
    loudspeaker for itself; by formula, without echoes. What an error changes is found over at most
    800 places an area and added to what the design gives over all of them, so that with nothing
    unknown the design itself comes out. Draws that cannot be hung (an aim error that turns a
    loudspeaker into its neighbor) are left out.
    """
    within("draws", draws, 20, 5000, "")
    unknowns, progress, stop = (
        unknowns or InputSpread(),
        progress or (lambda _: None),
        stop or (lambda: False),
    )
    use = scenario.use(use)
    apart = _each_alone(scenario, use)
    things = {name: _DIALS[name][0](apart) for name in WORDS}
    varied = [name for name in WORDS if getattr(unknowns, name) > 0 and things[name]]
    few = max(draws // ALONE, LEAST)
    designed = judge(evaluate(scenario, use.name), echoes=False)
    plan = [(None, varied, draws), *((name, [name], few) for name in varied)]
    whole, done, found, sample = sum(n for *_, n in plan), 0, {}, _values(apart, PLACES)
    for alone, names, count in plan:
        rows = []
        for errors in _errors([len(things[n]) for n in names], count, seed):
            if stop():
                return None
            changes = {}
            for name, error in zip(names, errors, strict=True):
                changes |= _DIALS[name][1](apart, things[name], error * getattr(unknowns, name))
            try:
                rows.append(_values(changed(apart, changes), PLACES if alone is None else FEWER))
            except ValueError:  # it cannot be hung so
                pass
            done += 1
            progress(done / whole)
        found[alone] = rows
    if not found[None]:
        raise ValueError("none of the draws can be hung. Give smaller spreads.")
    return Sureness(
        use=use.name,
        unknowns=unknowns,
        draws=len(found[None]),
        ranges=tuple(_range(v, sample, found) for v in designed),
    )


def _errors(lengths, count, seed):
    """Standard normal errors, a list of arrays a draw."""
    if not sum(lengths):
        return [[] for _ in range(count)]
    drawn = norm.ppf(qmc.LatinHypercube(sum(lengths), rng=seed).random(count))
    return [np.split(row, np.cumsum(lengths)[:-1]) for row in drawn]


def _values(drawn, places):
    """Values by criterion and area, over a sample of the places."""
    result = evaluate(drawn, most_points=places)
    return {(v.criterion, v.area): v.value for v in judge(result, echoes=False)}


def _range(verdict, sample, found):
    """The designed value, moved by what the errors move over the sample; a criterion without a
    verdict has its target.
    """
    key, most = (verdict.criterion, verdict.area), 100.0 if verdict.unit == "%" else np.inf
    off = verdict.value - sample.get(key, verdict.target)
    values = {
        alone: np.array([row.get(key, verdict.target) for row in rows]) + off
        for alone, rows in found.items()
    }
    if verdict.unit in ("%", "places"):
        values = {alone: np.clip(v, 0.0, most) for alone, v in values.items()}
    chance = np.mean(
        [CRITERIA[verdict.criterion].word(v, verdict.target) == "meets" for v in values[None]]
    )
    width = {
        alone: float(np.diff(np.percentile(v, EDGES))[0])
        for alone, v in values.items()
        if alone and len(v)
    }
    return Range(
        criterion=verdict.criterion,
        area=verdict.area,
        unit=verdict.unit,
        target=verdict.target,
        value=verdict.value,
        values=values[None],
        chance=float(chance),
        alone={name: width.get(name, 0.0) for name in WORDS},
    )


def _each_alone(scenario, use):
    """The scenario with the one use, and every loudspeaker a group of its own, so that each can err
    for itself.
    """
    groups, group_settings = [], {}
    for g in scenario.groups:
        for c in scenario.in_group(g.name):
            single = replace(
                g,
                name=c.tag,
                tag=c.tag,
                number=1,
                spacing=0.0,
                splay_deg=0.0,
                x=c.x,
                y=c.y,
                pan_deg=(c.pan_deg + 180) % 360 - 180,
            )
            groups.append(single)
            group_settings[c.tag] = use.group_setting(g.name)
    return replace(
        scenario, groups=tuple(groups), uses=(replace(use, groups=group_settings),), text=None
    )


def _finishes(scenario):
    """Names of the finishes that absorb in the use."""
    surfaces = scenario.configuration().room.surfaces
    return sorted(
        {n for s in surfaces for n in (s.finish, s.full) if n}
        | {t.finish for t in scenario.treatments}
    )


def _fillable(scenario):
    """Areas with places that may be taken in the use."""
    return sorted({s.part for s in scenario.configuration().room.surfaces if s.full})


def _playing(scenario):
    return [g.name for g in scenario.groups if scenario.uses[0].group_setting(g.name).on]


def _absorbing(scenario, finishes, pct):
    now = [np.array(scenario.absorption_factors.get(name, 1.0)) for name in finishes]
    return {
        ("absorption_factors", name): np.clip(f * np.exp(p / 100), 0.1, 10).tolist()
        for name, f, p in zip(finishes, now, pct, strict=True)
    }


def _noisy(scenario, _things, error_db):
    use = scenario.uses[0]
    if use.noise_dba is None:
        return {
            ("uses", use.name, "noise_db"): tuple(
                np.clip(use.noise + error_db[0], -20, 120).tolist()
            )
        }
    return {("uses", use.name, "noise_dba"): float(np.clip(use.noise_dba + error_db[0], 10, 110))}


def _filled(scenario, areas, pct):
    use = scenario.uses[0]
    return {
        ("uses", use.name, "occupied", a): float(np.clip(use.occupied.get(a, 0.0) + p / 100, 0, 1))
        for a, p in zip(areas, pct, strict=True)
    }


def _turned(scenario, loudspeakers, error_deg):
    """Loudspeakers turned and tilted; tilted over straight down one looks to its other side."""
    changes = {}
    for name, (off_pan, off_tilt) in zip(loudspeakers[::2], error_deg.reshape(-1, 2), strict=True):
        group = value_at(scenario, ("groups", name))
        pan, tilt = group.pan_deg + off_pan, group.downtilt_deg + off_tilt
        if tilt > 90:
            pan, tilt = pan + 180, 180 - tilt
        changes |= {
            ("groups", name, "pan_deg"): (pan + 180) % 360 - 180,
            ("groups", name, "downtilt_deg"): max(tilt, -30.0),
        }
    return changes


def _strengthened(scenario, loudspeakers, error_db):
    use = scenario.uses[0]
    gains = [
        float(np.clip(use.group_setting(name).gain_db + e, -60, 20))
        for name, e in zip(loudspeakers, error_db, strict=True)
    ]
    return {
        ("uses", use.name, "groups", name, "gain_db"): gain
        for name, gain in zip(loudspeakers, gains, strict=True)
    }


_DIALS = {  # by unknown: what errs, each for itself, and the changes that the errors make
    "absorption_pct": (_finishes, _absorbing),
    "noise_db": (lambda s: ["noise"], _noisy),
    "occupancy_pct": (_fillable, _filled),
    "aim_deg": (lambda s: [n for n in _playing(s) for _ in ("pan", "tilt")], _turned),
    "sensitivity_db": (_playing, _strengthened),
}
