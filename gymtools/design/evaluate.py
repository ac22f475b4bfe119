"""Where the pieces meet: one scenario and one use in, what every seat gets out."""

from dataclasses import dataclass

import numpy as np

from ..physics import air, bands, field, geometry, intelligibility, landing, reverberation
from ..venue.scenario import Scenario
from ..venue.uses import Use
from .criteria import judge

EVENNESS = slice(3, 6)  # 1, 2 and 4 kHz: the octaves in which evenness is judged
SPEECH = slice(2, 6)  # 500 Hz to 4 kHz: the octaves in which landing energy is told


@dataclass(frozen=True, kw_only=True, eq=False)
class AreaSummary:
    """What one listening area gets."""

    name: str
    weight: float
    points: slice  # of the result's arrays
    mean_db: float  # direct level, energy sum of 1, 2 and 4 kHz, mean over the points [dB]
    spread_db: tuple  # 5th to 95th percentile of the direct level at 1, 2 and 4 kHz [dB]
    within_3db: float  # share of points within 3 dB of the mean, 0 to 1 [-]
    worst_db: float  # lowest point re the mean [dB]
    worst: int  # its index in the result's arrays
    worst_place: str
    speech_dba: float  # mean over the points [dB(A)]
    over_noise_db: float  # of the mean [dB]
    sti_median: float
    sti_p10: float  # 10th percentile


@dataclass(frozen=True, kw_only=True, eq=False)
class Result:
    """One evaluation: P points, S cabinets, seven octaves."""

    scenario: Scenario
    use: Use
    points: np.ndarray  # (P, 3) [m]
    area: np.ndarray  # name per point (P,)
    level_db: np.ndarray  # direct sound (P, 7) [dB]
    total_db: np.ndarray  # direct and reverberant (P, 7) [dB]
    reverberant_db: np.ndarray  # the same everywhere (7,) [dB]
    noise_db: np.ndarray  # (7,) [dB]
    speech_dba: np.ndarray  # total, A-weighted (P,) [dB(A)]
    over_noise_db: np.ndarray  # (P,) [dB]
    sti: np.ndarray  # (P,)
    distance: np.ndarray  # (S, P) [m]
    arrival_s: np.ndarray  # delay and way (S, P) [s]
    playing: np.ndarray  # which cabinets are on (S,)
    rt: np.ndarray  # Eyring with air (7,) [s]
    rt_sabine: np.ndarray  # (7,) [s]
    absorption: np.ndarray  # (surface, 7)
    parts: tuple  # names of the parts of the room
    lands: np.ndarray  # share of each cabinet's speech-band energy that meets each part first (S, part)
    drive_dbw: np.ndarray  # mean electrical power into each playing cabinet, mid-band; -inf when off (S,) [dB re 1 W]
    areas: tuple  # AreaSummary of every listening area of the use
    verdicts: tuple = ()

    @property
    def rt_mid(self):
        """Mean reverberation time of 500 Hz, 1 and 2 kHz [s]."""
        return float(self.rt[2:5].mean())

    @property
    def word(self):
        """The worst verdict."""
        order = ("holds", "close", "falls short", "out of reach")
        return max((v.word for v in self.verdicts), key=order.index)

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


def evaluate(scenario, use=None):
    """What every seat hears in one use.

    The loudspeakers play speech, each equalised flat on its axis, all at one setting that brings the weighted mean level
    over the listening areas to the use's target; group gains and delays stand relative to that setting.

    Parameters
    ----------
    scenario : Scenario
        Hall, seating, loudspeakers and uses [-]
    use : str, optional
        Name of a use; the first when left out [-]

    Returns
    -------
    result : Result
        Frozen; levels in dB, times in s, lengths in m

    Sources
    -------
    Direct sound: spherical spreading, ISO 9613-1 air. Reverberant level: diffuse field, Eyring absorption with air, fed by
    what remains after the first landing. Clarity: IEC 60268-16 with a complex sum of the arrivals and an exponential tail.
    """
    use = scenario.use(use)
    areas = scenario.areas
    points = np.concatenate([a.points for a in areas.values()])
    ends = np.cumsum([len(a.points) for a in areas.values()])
    spans = {name: slice(end - len(a.points), end) for (name, a), end in zip(areas.items(), ends, strict=True)}

    weather = scenario.air
    conditions = dict(temperature_c=weather.temperature_c, humidity_pct=weather.humidity_pct, pressure_kpa=weather.pressure_kpa)
    decay = air.decay_constant(air.attenuation(bands.EXACT, **conditions))
    speed = float(air.speed_of_sound(weather.temperature_c))

    cabinets, room = scenario.cabinets, scenario.room
    drives = [use.drive(c.group) for c in cabinets]
    playing = np.array([d.on for d in drives])
    types = list({id(c.type): c.type for c in cabinets}.values())
    kind = np.array([types.index(c.type) for c in cabinets])
    position = np.array([c.position for c in cabinets])
    axes = geometry.rotation([c.pan_deg for c in cabinets], [c.tilt_deg for c in cabinets])
    on_axis_db = np.array([c.type.response_db + d.gain_db for c, d in zip(cabinets, drives, strict=True)])
    on_axis = bands.to_energy(on_axis_db + intelligibility.SPEECH_SPECTRUM_DB) * playing[:, None]  # (source, band), 1 W

    direct, distance = _direct(points, position, axes, types, kind, on_axis, decay, room, playing)  # (source, point, band)
    arrival = distance / speed + np.array([d.delay_ms / 1000 for d in drives])[:, None]

    absorption = room.absorption(use.occupied, scenario.treatments)  # (surface, band)
    lands = _landing(position, axes, types, kind, room)  # (source, surface, band)
    rt, rt_sabine = (
        reverberation.reverberation_time(room.volume, room.area, absorption, air=decay, speed_of_sound=speed, formula=f)
        for f in ("eyring", "sabine")
    )
    absorbing = reverberation.absorption_area(room.area, absorption, air=decay, volume=room.volume)
    remains = 1 - np.einsum("skb,kb->sb", lands, absorption)  # of the energy, after the first landing
    q = bands.to_energy(np.array([t.index_db for t in types]))[kind]
    reverberant = (on_axis / q * remains).sum(axis=0) * 16 * np.pi / absorbing  # (band,)

    weight = {name: w for name, w in use.listens.items() if name in areas and w > 0}
    total = direct.sum(axis=0) + reverberant.astype(np.float32)  # (point, band)
    loud = total @ bands.to_energy(bands.A_WEIGHTING)
    mean = sum(w * float(loud[spans[n]].mean()) for n, w in weight.items()) / sum(weight.values())
    setting = bands.to_energy(use.target_dba) / mean
    setting_db = float(bands.to_level(setting))

    mtf = intelligibility.modulation_transfer(direct, arrival, reverberant=np.broadcast_to(reverberant, total.shape), rt=rt)
    total_db = bands.to_level(total) + setting_db
    noise_db = use.noise
    sti = intelligibility.sti(mtf, speech_db=total_db, noise_db=noise_db)
    speech_dba = bands.to_level(loud) + setting_db
    level_db = bands.to_level(direct.sum(axis=0)) + setting_db
    parts = tuple(dict.fromkeys(room.parts))
    by_part = np.array([[p == part for p in room.parts] for part in parts], float)  # (part, surface)

    result = Result(
        scenario=scenario,
        use=use,
        points=points,
        area=np.repeat(list(areas), [len(a.points) for a in areas.values()]),
        level_db=level_db,
        total_db=total_db,
        reverberant_db=bands.to_level(reverberant) + setting_db,
        noise_db=noise_db,
        speech_dba=speech_dba,
        over_noise_db=speech_dba - float(bands.a_weighted(noise_db)),
        sti=sti,
        distance=distance,
        arrival_s=arrival,
        playing=playing,
        rt=rt,
        rt_sabine=rt_sabine,
        absorption=absorption,
        parts=parts,
        lands=lands[:, :, SPEECH].mean(axis=2) @ by_part.T,
        drive_dbw=np.where(playing, [d.gain_db for d in drives], -np.inf) + setting_db,
        areas=(),
    )
    object.__setattr__(result, "areas", tuple(_summary(result, areas[n], spans[n], w) for n, w in weight.items()))
    object.__setattr__(result, "verdicts", judge(result))
    return result


def _direct(points, position, axes, types, kind, on_axis, decay, room, playing):
    free = geometry.in_sight(position, points, room.blocking)
    free[~playing] = False
    return field.direct_energy(points, position, axes, [t.table for t in types], kind, on_axis, decay, free=free)


def _landing(position, axes, types, kind, room):
    met, _ = landing.cast(position, axes, room.polygons)
    carried = [t.ray_energy for t in types]
    return np.array([landing.shares(met[s], carried[kind[s]], len(room.surfaces)) for s in range(len(position))])


def _summary(result, area, span, weight):
    octaves = result.level_db[span, EVENNESS]
    level = bands.sum_levels(octaves)  # 1, 2 and 4 kHz together
    mean = float(level.mean())
    worst = int(np.argmin(level))
    low, high = np.percentile(octaves, [5, 95], axis=0)
    speech = float(result.speech_dba[span].mean())
    return AreaSummary(
        name=area.name,
        weight=weight,
        points=span,
        mean_db=mean,
        spread_db=tuple((high - low).tolist()),
        within_3db=float((np.abs(level - mean) <= 3).mean()),
        worst_db=float(level[worst] - mean),
        worst=span.start + worst,
        worst_place=area.place(worst),
        speech_dba=speech,
        over_noise_db=float(result.over_noise_db[span].mean()),
        sti_median=float(np.median(result.sti[span])),
        sti_p10=float(np.percentile(result.sti[span], 10)),
    )
