"""Where the pieces meet: one scenario and one use in, what every seat gets out."""

from collections import OrderedDict
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..physics import bands, intelligibility, landing, reverberation
from ..physics.decay import RANGES
from ..venue.configuration import HallConfiguration
from ..venue.scenario import Scenario
from ..venue.uses import Use
from .arrivals import echoes, image_shift_deg, spread, talker_place
from .criteria import WORDS, judge, worst_word
from .feedback import feedback_margins
from .reverberant import DiffuseField, TracedField
from .sources import Sources, sources
from .traced import Tracing

COVERAGE_BANDS = slice(3, 6)  # 1, 2 and 4 kHz: the octaves in which evenness is judged
ROOM_EQ_DB = (
    8.0  # most that an octave is turned down for the room [dB]    common practice, no source
)
SPEECH = slice(2, 6)  # 500 Hz to 4 kHz: the octaves in which landing energy is told


@dataclass(frozen=True, kw_only=True, eq=False)
class AreaSummary:
    """What one listening area gets."""

    name: str
    weight: float
    points: slice  # of the result's arrays
    mean_db: float  # direct level, energy sum of 1, 2 and 4 kHz, mean over the points [dB]
    # places out of sight of every loudspeaker that plays; the rest of the direct sound is told
    # without them
    silent: int
    coverage_range_db: tuple  # 5th to 95th percentile of the direct level at 1, 2 and 4 kHz [dB]
    within_3db: float  # share of points within 3 dB of the mean, 0 to 1 [-]
    quietest_db: float  # lowest point re the mean [dB]
    worst: int  # its index in the result's arrays
    quietest_seat: str
    speech_dba: float  # mean over the points [dB(A)]
    speech_to_noise_db: float  # of the mean [dB]
    sti_median: float
    sti_p10: float  # 10th percentile


@dataclass(frozen=True, kw_only=True, eq=False)
class Result:
    """One evaluation: P points, S loudspeakers, seven octaves."""

    scenario: Scenario
    use: Use
    configuration: HallConfiguration  # the hall as it stands in the use
    sources: Sources  # at the setting that reaches the target
    points: np.ndarray  # (P, 3) [m]
    area: np.ndarray  # name per point (P,)
    level_db: np.ndarray  # direct sound (P, 7) [dB]
    total_db: np.ndarray  # direct and reverberant (P, 7) [dB]
    late: DiffuseField | TracedField  # what the room adds: by formula, or traced
    reverberant_db: np.ndarray  # its level, mean over the listeners (7,) [dB]
    noise_db: np.ndarray  # (7,) [dB]
    speech_dba: np.ndarray  # total, A-weighted (P,) [dB(A)]
    speech_to_noise_db: np.ndarray  # (P,) [dB]
    sti: np.ndarray  # (P,)
    direct: np.ndarray  # direct sound of each loudspeaker (S, P, 7) [re 20 uPa squared]
    distance: np.ndarray  # (S, P) [m]
    arrival_s: np.ndarray  # delay and way (S, P) [s]
    arrival_spread_s: (
        np.ndarray
    )  # time between the direct arrivals within 10 dB of the strongest (P,) [s]
    # angle between the talker and the first strong arrival (P,) [deg]; None without a talker
    image_shift_deg: np.ndarray | None
    playing: np.ndarray  # which loudspeakers are on (S,)
    rt: np.ndarray  # Eyring with air (7,) [s]
    rt_sabine: np.ndarray  # (7,) [s]
    absorption: np.ndarray  # (surface, 7)
    parts: tuple  # names of the parts of the room
    # share of each loudspeaker's speech-band energy that meets each part first (S, part)
    first_incidence: np.ndarray
    room_eq_db: np.ndarray  # how far each octave is turned down for all loudspeakers (7,) [dB]
    # each loudspeaker's gain over its sensitivity (speech whose A-weighted level is that of 1 W);
    # -inf
    # when off (S,) [dB]
    loudspeaker_gain_db: np.ndarray
    microphones: tuple = ()  # Clearance of every open microphone
    areas: tuple  # AreaSummary of every listening area of the use
    verdicts: tuple = ()

    @cached_property
    def echoes(self):
        """First reflections and late arrivals at a sample of seats; followed when first
        asked for.
        """
        return echoes(self)

    @property
    def room(self):
        """Which room this is: "statistical" or "traced"."""
        return self.late.room

    @cached_property
    def listeners(self):
        """Points of the areas that listen (point, 3) [m]."""
        return np.concatenate([self.points[a.points] for a in self.areas])

    @cached_property
    def decay_times(self):
        """Decay times of the late sound over the listeners: "edt", "t20" and "t30", each (7,); by
        formula all alike [s].
        """
        if self.room == "statistical":
            return dict.fromkeys(RANGES, self.rt)
        return {measure: self.late.decay_times(self.listeners, measure) for measure in RANGES}

    @property
    def rt_mid(self):
        """Mean reverberation time of 500 Hz, 1 and 2 kHz: Eyring's by formula, T20 where traced
        (Eyring's in an octave without one) [s].
        """
        middle = self.decay_times["t20"][2:5]
        return float(np.where(np.isfinite(middle), middle, self.rt[2:5]).mean())

    @property
    def word(self):
        """The worst verdict."""
        return worst_word(v.word for v in self.verdicts)

    def summary(self, name):
        """Summary of a listening area.

        Parameters
        ----------
        name : str
            Area of the use [-]

        Returns
        -------
        summary : AreaSummary
            One of ``areas``
        """
        return next(a for a in self.areas if a.name == name)


@dataclass(frozen=True, kw_only=True, eq=False)
class AllUses:
    """One installation judged on everything the school does in the hall."""

    scenario: Scenario
    results: dict  # Result by the name of the use

    @property
    def word(self):
        """The worst verdict over all uses."""
        return worst_word(r.word for r in self.results.values())

    @property
    def weakest(self):
        """Verdicts that are not good enough, worst first: (use, Verdict)."""
        found = [
            (name, v) for name, r in self.results.items() for v in r.verdicts if v.word != "holds"
        ]
        return sorted(found, key=lambda pair: -WORDS.index(pair[1].word))


def evaluate_all(scenario, *, room="statistical"):
    """Every use of a scenario side by side.

    Parameters
    ----------
    scenario : Scenario
        Hall, seating, loudspeakers, microphones and uses [-]
    room : str
        "statistical" or "traced", as for ``evaluate`` [-]

    Returns
    -------
    all_uses : AllUses
        Results by use, and the worst verdict over them
    """
    return AllUses(
        scenario=scenario,
        results={use.name: evaluate(scenario, use.name, room=room) for use in scenario.uses},
    )


ROOMS = ("statistical", "traced")


def evaluate(scenario, use=None, *, room="statistical", follow_echoes=True, most_points=None):
    """What every seat hears in one use.

    The loudspeakers play speech, each equalized flat on its axis, all tuned to the room (octaves
    that it builds up are turned down), at one setting that brings the weighted mean level over the
    listening areas to the use's target; group gains and delays stand relative to that setting.

    Parameters
    ----------
    scenario : Scenario
        Hall, seating, loudspeakers and uses [-]
    use : str, optional
        Name of a use; the first when left out [-]
    room : str or TracedField
        "statistical": late sound by formula, fast enough for a slider; "traced": rays are followed
        until the level is good to 0.3 dB, which takes seconds unless they have been followed
        before; or a field that has been traced so far [-]
    follow_echoes : bool
        Whether first reflections are followed and judged at once; while a slider moves they are not
        [-]
    most_points : int, optional
        Places looked at in every area that listens at most, for a draft, which carries no verdicts;
        all places of all areas when left out [-]

    Returns
    -------
    result : Result
        Frozen; levels in dB, times in s, lengths in m

    Sources
    -------
    Direct sound: spherical spreading, ISO 9613-1 air. Late sound, statistical: diffuse field,
    Eyring absorption with air, fed by what remains after the first landing; traced:
    ``physics.tracing``. Clarity: IEC 60268-16 with a complex sum of the arrivals and of the late
    sound.
    """
    if isinstance(room, str) and room not in ROOMS:
        raise ValueError(f"room = {room!r} is unknown. Known: {', '.join(ROOMS)}.")
    use = scenario.use(use)
    configuration = scenario.configuration(use.name)
    areas, surfaces = configuration.areas, configuration.room
    if most_points is not None:
        areas = {
            name: area.thinned(most_points)
            for name, area in areas.items()
            if use.listens.get(name, 0) > 0
        }
    sounding = sources(scenario, use)  # at 1 W
    points = np.concatenate([a.points for a in areas.values()])
    ends = np.cumsum([len(a.points) for a in areas.values()])
    spans = {
        name: slice(end - len(a.points), end)
        for (name, a), end in zip(areas.items(), ends, strict=True)
    }

    loudspeakers, playing = scenario.loudspeakers, sounding.playing
    direct, distance = sounding.direct(points, surfaces.blocking)  # (source, point, band)
    arrival = distance / sounding.speed + sounding.delay_s[:, None]

    absorption = scenario.absorption(use)  # (surface, band)
    # (source, surface, band), (source, band)
    first_incidence, kept = _landing(sounding, surfaces, absorption * surfaces.counted[:, None])
    rt, rt_sabine = (
        reverberation.reverberation_time(
            surfaces.volume,
            surfaces.area,
            absorption,
            air=sounding.decay,
            speed_of_sound=sounding.speed,
            formula=f,
        )
        for f in ("eyring", "sabine")
    )
    if room == "statistical":
        absorbing = reverberation.absorption_area(
            surfaces.area, absorption, air=sounding.decay, volume=surfaces.volume
        )
        late = DiffuseField(
            energy=(sounding.on_axis / sounding.q * kept).sum(axis=0) * 16 * np.pi / absorbing,
            rt=rt,
        )
    else:
        late = (
            Tracing(scenario, use.name).run()
            if room == "traced"
            else room.at_gains_of(sounding, configuration.zones)
        )
    reverberant = late.at(points)  # (point, band)

    weight = {name: w for name, w in use.listens.items() if name in areas and w > 0}
    total = direct.sum(axis=0) + reverberant  # (point, band)
    shares = np.array(list(weight.values())) / sum(weight.values())

    def over_listeners(energy):
        return shares @ np.array([energy[spans[n]].mean(axis=0, dtype=float) for n in weight])

    mean = over_listeners(total)  # (band,)
    room_eq_db = _room_eq(bands.to_level(mean))
    loud_db = float(bands.a_weighted(bands.to_level(mean) + room_eq_db))
    drive_db = use.target_dba - loud_db
    # (band,) of everything computed at 1 W so far
    scale = bands.to_energy(room_eq_db + drive_db).astype(np.float32)
    direct, total, late = direct * scale, total * scale, late.raised(room_eq_db + drive_db)

    mtf = late.modulation(direct, arrival, points)
    total_db = bands.to_level(total)
    noise_db = use.noise
    sti = intelligibility.sti(mtf, speech_db=total_db, noise_db=noise_db)
    speech_dba = bands.a_weighted(total_db)
    level_db = bands.to_level(direct.sum(axis=0))
    parts = tuple(dict.fromkeys(surfaces.parts))
    # (part, surface)
    by_part = np.array([[p == part for p in surfaces.parts] for part in parts], float)

    talker = talker_place(scenario, use, configuration)

    result = Result(
        scenario=scenario,
        use=use,
        configuration=configuration,
        points=points,
        area=np.repeat(list(areas), [len(a.points) for a in areas.values()]),
        level_db=level_db,
        total_db=total_db,
        late=late,
        reverberant_db=bands.to_level(over_listeners(reverberant) * scale),
        room_eq_db=room_eq_db,
        noise_db=noise_db,
        speech_dba=speech_dba,
        speech_to_noise_db=speech_dba - float(bands.a_weighted(noise_db)),
        sti=sti,
        direct=direct,
        distance=distance,
        arrival_spread_s=spread(direct, arrival),
        image_shift_deg=(
            None
            if talker is None
            else image_shift_deg(direct, arrival, sounding.position, points, talker)
        ),
        arrival_s=arrival,
        playing=playing,
        rt=rt,
        rt_sabine=rt_sabine,
        absorption=absorption,
        parts=parts,
        first_incidence=first_incidence[:, :, SPEECH].mean(axis=2) @ by_part.T,
        loudspeaker_gain_db=np.where(
            playing, [use.group_setting(c.group).gain_db for c in loudspeakers], -np.inf
        )
        + drive_db,
        sources=sounding.raised(room_eq_db + drive_db),
        areas=(),
    )
    object.__setattr__(
        result, "areas", tuple(_summary(result, areas[n], spans[n], w) for n, w in weight.items())
    )
    object.__setattr__(result, "microphones", feedback_margins(result))
    if most_points is None:
        object.__setattr__(result, "verdicts", judge(result, follow_echoes=follow_echoes))
    return result


def _room_eq(mean_db):
    """Cuts that bring the octaves below 1 kHz down to the speech spectrum at the mean listener, as
    an installer tunes a system.

    A loudspeaker that is flat on its axis still excites the room most in the low octaves, where it
    is least directional.
    """
    excess = mean_db - intelligibility.SPEECH_SPECTRUM_DB
    excess = excess - excess[COVERAGE_BANDS].mean()  # over what it is at 1, 2 and 4 kHz
    excess[COVERAGE_BANDS.start :] = 0.0
    return -np.clip(excess, 0.0, ROOM_EQ_DB)


def _landing(sounding, room, absorption):
    """Shares of what each loudspeaker radiates that meet each surface first, and the share left
    after air and that surface.
    """
    met, way = _cast(sounding, room.polygons)
    if (met < 0).mean() > 1e-3:
        raise ValueError(
            "a loudspeaker's sound leaves the hall without meeting a surface. Is a loudspeaker in"
            " or behind a wall or the roof?"
        )
    first_incidence, kept = [], []
    for m, r, kind in zip(met, np.where(met < 0, 0, way), sounding.kind, strict=True):
        carried = sounding.types[kind].ray_energy  # (ray, band)
        first_incidence.append(landing.shares(m, carried, len(room.surfaces)))
        kept.append(
            (carried * np.exp(np.multiply.outer(r, -sounding.decay)) * (1 - absorption[m])).sum(
                axis=0
            )
        )
    return np.array(first_incidence), np.array(kept)


def _cast(sounding, polygons):
    """Rays of every loudspeaker to their first surface; those that have not moved are
    remembered.
    """
    keys = [
        (polygons, p.tobytes(), a.tobytes())
        for p, a in zip(sounding.position, sounding.axes, strict=True)
    ]
    new = [n for n, key in enumerate(keys) if key not in _CAST]
    if new:
        for n, met, way in zip(
            new, *landing.cast(sounding.position[new], sounding.axes[new], polygons), strict=True
        ):
            _CAST[keys[n]] = met, way
    found = [_CAST[key] for key in keys]
    for key in keys:
        _CAST.move_to_end(key)
    while len(_CAST) > max(REMEMBERED, len(keys)):
        _CAST.popitem(last=False)
    return tuple(np.array(v) for v in zip(*found, strict=True))


# first landings by room and place of the loudspeaker, the latest used last
_CAST, REMEMBERED = (OrderedDict(), 256)


def _summary(result, area, span, weight):
    octaves = result.level_db[span, COVERAGE_BANDS]
    level = bands.sum_levels(octaves)  # 1, 2 and 4 kHz together
    heard = np.isfinite(level)
    # of mirrored seats the first, whatever the last float says
    worst = int(np.argmax(level <= level.min() + 0.001))
    octaves, level = (
        (octaves[heard], level[heard]) if heard.any() else (np.zeros((1, 3)), np.zeros(1))
    )
    mean = float(level.mean())
    low, high = np.percentile(octaves, [5, 95], axis=0)
    speech = float(result.speech_dba[span].mean())
    return AreaSummary(
        name=area.name,
        weight=weight,
        points=span,
        mean_db=mean,
        coverage_range_db=tuple((high - low).tolist()),
        within_3db=float((np.abs(level - mean) <= 3).mean()),
        silent=int((~heard).sum()),
        quietest_db=float(level.min() - mean),
        worst=span.start + worst,
        quietest_seat=area.place(worst, result.scenario.units),
        speech_dba=speech,
        speech_to_noise_db=float(result.speech_to_noise_db[span].mean()),
        sti_median=float(np.median(result.sti[span])),
        sti_p10=float(np.percentile(result.sti[span], 10)),
    )
