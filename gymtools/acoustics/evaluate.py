"""The evaluation: one scenario and one use in, what every seat gets out."""

from dataclasses import replace

import numpy as np

from ..physics import bands, intelligibility, reverberation
from ..physics.checks import whole
from ..venue.arguments import FROM_LOAD, kind_of, one_of
from ..venue.scenario import Scenario
from . import landing
from .direct import direct_sound
from .divided import balance, half
from .result import AllUses, Result, listening, mean_over, statistical_time
from .reverberant import DiffuseField
from .sources import sources
from .traced import RAYS, Tracing

ROOMS = ("traced", "statistical")
MOST_POINTS = 1_000_000  # of a draft, in every area
# most that an octave is turned down for the room [dB]    common practice, no source
ROOM_EQ_DB = 8.0


def evaluate_all(scenario, *, room="traced", rays="full"):
    """Every use of a scenario side by side.

    Parameters
    ----------
    scenario : Scenario
        Hall, seating, loudspeakers, microphones and uses
    room : str
        "traced" or "statistical", as for ``evaluate``
    rays : str
        "full" or "few", as for ``evaluate``

    Returns
    -------
    all_uses : AllUses
        Results by use, and the worst verdict over them

    Raises
    ------
    ValueError
        As ``evaluate``
    """
    kind_of("scenario", scenario, Scenario, FROM_LOAD)
    results = {
        use.name: evaluate(scenario, use.name, room=room, rays=rays) for use in scenario.uses
    }
    return AllUses(scenario=scenario, results=results)


def evaluate(
    scenario, use=None, *, room="traced", rays="full", follow_echoes=True, most_points=None
):
    """What every seat hears in one use.

    The loudspeakers play speech, each equalized flat on its axis, all equalized to the room
    (octaves that it builds up are turned down), at one level that brings the weighted mean over the
    audience areas to the use's target; group gains and delays stand relative to that level.

    Parameters
    ----------
    scenario : Scenario
        Hall, seating, loudspeakers and uses
    use : str, optional
        Name of a use; the first when left out
    room : str or TracedField
        "traced": the room's own sound from rays; "statistical": by the diffuse-field formula, as a
        cross-check; or a field as far as it has been traced
    rays : str
        "full": as many rays as bring the standard errors down to 0.3 dB in every zone and 5 % of
        the reverberation time, for what is stated; "few": a tenth of them or less, for a search.
        Rays that have been followed before are not followed again
    follow_echoes : bool
        Ignored: echoes are followed when they are first asked for
    most_points : int, optional
        Most seats of every area that listens, for a draft, which carries no verdicts; all seats of
        all areas when left out [-]

    Returns
    -------
    result : Result
        Frozen; levels in dB, times in s, lengths in m

    Raises
    ------
    ValueError
        No scenario, or one without loudspeakers; an unknown room, rays or use; a field that was
        traced for something else; by formula a loudspeaker whose sound leaves the gym;
        ``most_points`` outside 1 to 1,000,000

    Sources
    -------
    Direct sound: spherical spreading, ISO 9613-1 air, screening after ISO 9613-2. Reverberant
    sound, statistical: diffuse field, Eyring absorption with air, fed by what remains after the
    first surface; traced: ``physics.tracing``. STI: IEC 60268-16 with a complex sum of the arrivals
    and of the reverberant sound.
    """
    kind_of("scenario", scenario, Scenario, FROM_LOAD)
    if not scenario.groups:
        raise ValueError(
            f"{scenario.name} has no loudspeakers yet. Take an arrangement, or add [[groups]] to"
            " the scenario file."
        )
    if not hasattr(room, "at_gains_of"):  # no field that has been traced
        one_of("room", room, ROOMS)
    one_of("rays", rays, RAYS)
    if most_points is not None:
        whole("most_points", most_points, 1, MOST_POINTS, "Leave it out for all seats.")
    use = scenario.use(use)
    result = _evaluated(scenario, use, room, rays, most_points)
    return result if use.beside is None else replace(result, spill=_spill(result, room, rays))


def _evaluated(scenario, use, room, rays, most_points):
    """One use, as if nothing went on beside it."""
    configuration = scenario.configuration(use.name)
    points, spans = _points(configuration, use, most_points)
    at_1w = sources(scenario, use)
    of_areas = [points[span] for span in spans.values()]
    screens = configuration.room.screens
    direct, distance, seen = direct_sound(at_1w, of_areas, screens, scenario.memory)
    reverberant = _reverberant(scenario, use, at_1w, room, rays)
    total = direct.sum(axis=0) + reverberant.at(points)  # (point, band)
    room_eq_db, gain_db = _level(total, spans, use)
    raised_db = room_eq_db + gain_db
    scale = bands.to_energy(raised_db).astype(np.float32)  # (band,)
    return Result(
        scenario=scenario,
        use=use,
        sources=at_1w.raised(raised_db),
        spans=spans,
        points=points,
        direct=direct * scale,
        distance=distance,
        seen=seen,
        total=total * scale,
        reverberant=reverberant.raised(raised_db),
        room_eq_db=room_eq_db,
        gain_db=gain_db,
        draft=most_points is not None,
    )


def _spill(result, room, rays):
    """Speech of the use beside this one at its listeners, mean over them (7,)."""
    scenario, use = result.scenario, result.use
    other = scenario.use(use.beside)
    if hasattr(room, "at_gains_of"):  # a field of this use: the other is traced for a draft
        room, rays = "traced", "few"
    heard = _evaluated(scenario, other, room, rays, None)
    total = heard.total
    if room == "statistical":  # its diffuse field is that of its own half
        late = _diffuse(scenario, other, sources(scenario, other), scenario.side(use))
        raised_db = heard.room_eq_db + heard.gain_db
        total = heard.direct.sum(axis=0) + late.raised(raised_db).at(heard.points)
    return mean_over(total, heard.spans, listening(use, heard.spans))


def _points(configuration, use, most):
    """Points of all audience areas, and the slice of each area; of a draft only those that listen,
    thinned.
    """
    areas = configuration.areas
    if most is not None:
        areas = {name: areas[name].thinned(most) for name in areas if use.listens.get(name, 0) > 0}
    ends = np.cumsum([len(a.points) for a in areas.values()])
    spans = {
        name: slice(end - len(a.points), end)
        for (name, a), end in zip(areas.items(), ends, strict=True)
    }
    return np.concatenate([a.points for a in areas.values()]), spans


def _reverberant(scenario, use, at_1w, room, rays):
    """The room's own sound of all loudspeakers at 1 W."""
    if room == "traced":
        return Tracing(scenario, use.name, rays=rays).run()
    if room != "statistical":
        return room.at_gains_of(at_1w, scenario.configuration(use.name).zones)
    return _diffuse(scenario, use, at_1w)


def _diffuse(scenario, use, at_1w, side=None):
    """The diffuse field of all loudspeakers at 1 W; in a divided gym that of one half, the
    listeners' where no other is asked for.
    """
    surfaces = scenario.surfaces(use)
    remaining = landing.remaining_share(at_1w, surfaces, scenario.memory)
    fed = at_1w.on_axis / at_1w.q * remaining  # (source, band)
    if use.divided:
        configuration = scenario.configuration(use.name)
        side = scenario.side(use) if side is None else side
        halves = balance(configuration, surfaces, at_1w.decay)
        of_source = configuration.divider.side_of(at_1w.position)
        fed, absorbing = fed * halves[side, of_source], 1.0
        surfaces = half(configuration, surfaces, side)
    else:
        absorbing = reverberation.absorption_area(
            surfaces.area, surfaces.absorption, air=at_1w.decay, volume=surfaces.volume
        )
    rt = statistical_time(surfaces, surfaces.absorption, at_1w, "eyring")
    return DiffuseField(energy=fed * 16 * np.pi / absorbing, rt=rt)


def _level(total, spans, use):
    """Room equalization (band,), and the gain that brings the listeners to the use's
    target [dB].
    """
    mean_db = bands.to_level(mean_over(total, spans, listening(use, spans)))  # (band,)
    room_eq_db = _room_eq(mean_db)
    return room_eq_db, use.target_dba - float(bands.a_weighted(mean_db + room_eq_db))


def _room_eq(mean_db):
    """Cuts that bring the octaves below 1 kHz down to the speech spectrum at the mean listener, as
    an installer equalizes a system.

    A loudspeaker that is flat on its axis still excites the room most in the low octaves, where it
    is least directional.
    """
    excess = mean_db - intelligibility.SPEECH_SPECTRUM_DB
    excess = excess - excess[bands.COVERAGE].mean()  # over what it is at 1, 2 and 4 kHz
    excess[bands.COVERAGE.start :] = 0.0
    return -np.clip(excess, 0.0, ROOM_EQ_DB)
