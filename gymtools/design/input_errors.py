"""What is only roughly known of a gym (how long it rings, absorption, noise, occupancy, aim,
sensitivity), how far off it may be, and the scenario with it a little off.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from ..acoustics.measured_room import (
    ABSORPTION_SPREAD,
    SCATTERING_SPREAD,
    decay_effects,
    time_spread,
)
from ..acoustics.model_error import T20_SPREAD
from ..physics import bands
from ..physics.checks import within
from ..venue.assumptions import assumed_finishes, is_assumed
from ..venue.paths import value_at
from .ringing import Ringing

LIMITS = {  # of a standard deviation, with its unit
    "decay_pct": (100, "%"),
    "absorption_pct": (100, "%"),
    "scattering_pct": (200, "%"),
    "noise_db": (20, "dB"),
    "occupancy_pct": (50, "%"),
    "aim_deg": (20, "deg"),
    "sensitivity_db": (10, "dB"),
    "directivity_db": (6, "dB"),
}
ASSUMED_NOISE = 2.0  # times the spread of a noise that was agreed    judgment, no source
MODEL = "decay_pct"  # the model's own error
WORDS = {  # on screen
    MODEL: "the model's ringing",
    "absorption_pct": "absorption",
    "scattering_pct": "scattering",
    "noise_db": "noise",
    "occupancy_pct": "occupancy",
    "aim_deg": "aim as hung",
    "sensitivity_db": "sensitivity",
    "directivity_db": "directivity",
}


@dataclass(frozen=True, kw_only=True)
class InputSpread:
    """How far off each input may be: one standard deviation."""

    # of the decay that the model gives    as left in the published gyms, ``acoustics.model_error``
    decay_pct: float = round(100 * T20_SPREAD, 1)
    absorption_pct: float = 100 * ABSORPTION_SPREAD  # of every finish    judgment, no source
    # of floor, walls and roof together    judgment, no source
    scattering_pct: float = 100 * SCATTERING_SPREAD
    noise_db: float = 3.0  # judgment, no source
    occupancy_pct: float = 10.0  # of the seats of every area    judgment, no source
    aim_deg: float = 2.0  # pan and downtilt of every loudspeaker    judgment, no source
    sensitivity_db: float = 1.0  # of every loudspeaker    judgment, no source
    # directivity index of every type that was not measured    what generic balloons and a reference
    # manual's figures differ by, ``physics.directivity``
    directivity_db: float = 1.0

    def __post_init__(self):
        hint = "One standard deviation; 0 means that it is known exactly."
        for name, (high, unit) in LIMITS.items():
            within(name, getattr(self, name), 0, high, unit, hint)

    @classmethod
    def usual(cls, scenario, use=None):
        """What is usually unknown of a gym.

        Parameters
        ----------
        scenario : Scenario
            Where its room is fitted to what was measured, little is left unknown of it
        use : str, optional
            Name of a use; the first when left out

        Returns
        -------
        spread : InputSpread
            Finishes, scattering and the model's own error together are what published gyms leave.
            Where the room is fitted the finishes are not drawn one by one: what is left unknown of
            them is in the decay
        """
        use = scenario.use(use)
        if scenario.room_fit is not None:
            left = time_spread(scenario, use)[bands.MIDDLE].mean()
            return cls(
                decay_pct=round(100 * float(left), 1), absorption_pct=0.0, scattering_pct=0.0
            )
        # the published gyms, with tables and scattering as here, tell the error of all together
        parts = float(decay_effects(scenario, use).spread[bands.MIDDLE].mean())
        left = np.sqrt(max(T20_SPREAD**2 - parts**2, 0.0))
        return cls(decay_pct=round(100 * float(left), 1))


@dataclass(frozen=True, kw_only=True)
class InputError:
    """One of the inputs that may be off."""

    subjects: Callable  # scenario -> things that err, each for itself
    # (scenario, subjects, errors) -> changes for ``venue.paths.changed``
    changes: Callable | None = None
    # (Ringing, subjects, errors) -> logarithm of how many times as long it rings (7,)
    rings: Callable | None = None
    # (scenario, subjects) -> how many times as far off each is as the spread says (subject,)
    wider: Callable | None = None
    empty_too: bool = True  # whether the gym rings so with nobody in it


def ungrouped(scenario, use):
    """The scenario with one use and what goes on beside it, and every loudspeaker a group of its
    own, so that each can err for itself.

    Parameters
    ----------
    scenario : Scenario
        The design
    use : Use
        One of its uses

    Returns
    -------
    scenario : Scenario
        It sounds alike, the use first; its groups are called by the tags of the loudspeakers
    """
    kept = [use] if use.beside is None else [use, scenario.use(use.beside)]
    groups, settings = [], [{} for _ in kept]
    for g in scenario.groups:
        for c in scenario.in_group(g.name):
            alone = dict(number=1, spacing=0.0, splay_deg=0.0)
            pan = (c.pan_deg + 180) % 360 - 180
            groups.append(replace(g, name=c.tag, tag=c.tag, x=c.x, y=c.y, pan_deg=pan, **alone))
            for one, of_use in zip(kept, settings, strict=True):
                of_use[c.tag] = one.group_setting(g.name)
    uses = [replace(one, groups=of_use) for one, of_use in zip(kept, settings, strict=True)]
    return replace(scenario, groups=tuple(groups), uses=tuple(uses), text=None)


def _finishes(scenario):
    """Names of the finishes that absorb in the use."""
    surfaces = scenario.configuration().room.surfaces
    return sorted(
        {n for s in surfaces for n in (s.finish, s.full) if n}
        | {t.finish for t in scenario.treatments}
    )


def _wider_finishes(scenario, finishes):
    """A finish that is assumed may be another one."""
    assumed = assumed_finishes(scenario)
    return np.array([max(assumed.get(n, 0.0) / ABSORPTION_SPREAD, 1.0) for n in finishes])


def _wider_noise(scenario, subjects):
    """A noise that is assumed was neither measured nor agreed."""
    use = scenario.uses[0].name
    assumed = any(is_assumed(scenario, ("uses", use, key)) for key in ("noise_dba", "noise_db"))
    return np.full(len(subjects), ASSUMED_NOISE if assumed else 1.0)


def _one(_scenario):
    return ["the gym"]


def _noise(_scenario):
    return ["noise"]


def _noisy(scenario, _subjects, error_db):
    use = scenario.uses[0]
    if use.noise_dba is None:
        noise = np.clip(use.noise + error_db[0], -20, 120)
        return {("uses", use.name, "noise_db"): tuple(noise.tolist())}
    return {("uses", use.name, "noise_dba"): float(np.clip(use.noise_dba + error_db[0], 10, 110))}


def _fillable(scenario):
    """Areas with seats that may be taken in the use."""
    return sorted({s.part for s in scenario.configuration().room.surfaces if s.full})


def _playing(scenario):
    return [g.name for g in scenario.groups if scenario.uses[0].group_setting(g.name).on]


def _turning(scenario):
    """Every loudspeaker twice: pan and downtilt."""
    return [name for name in _playing(scenario) for _ in ("pan", "downtilt")]


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


def _generic(scenario):
    """Names of the types that play and were not measured; all loudspeakers of a type err alike."""
    types = scenario.loudspeaker_types
    names = {value_at(scenario, ("groups", g)).loudspeaker for g in _playing(scenario)}
    return sorted(n for n in names if types[n].measured_db is None)


def _leaking(scenario, types, error_db):
    """Loudspeakers that radiate more or less beside their axis than their type says."""
    leak = dict(zip(types, error_db.tolist(), strict=True))
    playing = ((name, value_at(scenario, ("groups", name))) for name in _playing(scenario))
    return {
        ("groups", name, "leak_db"): float(np.clip(leak[group.loudspeaker], -6, 6))
        for name, group in playing
        if group.loudspeaker in leak
    }


INPUTS = {  # by the fields of ``InputSpread``
    MODEL: InputError(subjects=_one),  # ``Ringing.together`` says what it does
    "absorption_pct": InputError(
        subjects=_finishes, rings=Ringing.absorption, wider=_wider_finishes
    ),
    "scattering_pct": InputError(subjects=_one, rings=Ringing.scattering),
    "noise_db": InputError(subjects=_noise, changes=_noisy, wider=_wider_noise),
    "occupancy_pct": InputError(subjects=_fillable, rings=Ringing.people, empty_too=False),
    "aim_deg": InputError(subjects=_turning, changes=_turned),
    "sensitivity_db": InputError(subjects=_playing, changes=_strengthened),
    "directivity_db": InputError(subjects=_generic, changes=_leaking),
}
