"""One seat looked at closely: its arrivals, its octaves, what limits its STI, its comb filter."""

from dataclasses import dataclass

import numpy as np

from ..physics import arrivals, bands, intelligibility
from .arrivals import first_reflections
from .criteria import CRITERIA, in_sentence

SHOWN_DB = 25.0  # arrivals further below the strongest are left out [dB]
COMB_BAND = 3  # 1 kHz, whose levels the coherent sum takes
# frequencies of the coherent response: equal steps, close enough for the teeth of arrivals 0.1 s
# apart [Hz]
COMB = np.arange(100.0, 8000.1, 2.5)
NOTHING_DB = -90.0  # of reverberant sound that is taken away [dB]
REMOVED = {  # what the STI of a seat is computed without, and what it is called on screen
    "reverberation": "reverberation",
    "noise": "noise",
    "masking": "masking by loudness",
    "arrival_spread": in_sentence(CRITERIA["arrival_spread"].label),
}


@dataclass(frozen=True, kw_only=True, eq=False)
class Seat:
    """What arrives at one seat."""

    index: int  # of the result's points
    place: str  # area, row and seat, in words
    loudspeaker: tuple  # tag, by arrival
    surface: tuple  # part of the room that reflects, by arrival; "" for direct sound
    arrival_ms: np.ndarray  # after the first (arrival,) [ms]
    level_db: np.ndarray  # 500 Hz to 4 kHz, re the strongest (arrival,) [dB]
    direct_db: np.ndarray  # direct sound (7,) [dB]
    total_db: np.ndarray  # direct and reverberant sound (7,) [dB]
    noise_db: np.ndarray  # (7,) [dB]
    sti: float
    sti_without: dict  # STI with one thing removed, by the keys of ``REMOVED``
    comb_hz: np.ndarray  # (frequency,) [Hz]
    comb_db: np.ndarray  # coherent sum of the direct sounds re their energy sum (frequency,) [dB]

    @property
    def direct(self):
        """Which arrivals are direct sound (arrival,)."""
        return np.array([not surface for surface in self.surface])

    @property
    def names(self):
        """Name of every arrival: "N2", or "N2 off the east wall"."""
        pairs = zip(self.loudspeaker, self.surface, strict=True)
        return [f"{tag} off the {part}" if part else tag for tag, part in pairs]

    @property
    def limited_by(self):
        """What costs the seat most STI, one of ``REMOVED``."""
        return max(self.sti_without, key=self.sti_without.get)


def inspect_seat(result, index):
    """Everything about one seat.

    Parameters
    ----------
    result : Result
        An evaluation
    index : int
        Which of the result's points [-]

    Returns
    -------
    seat : Seat
        Arrivals in order of time

    Raises
    ------
    ValueError
        No such point
    """
    if not 0 <= index < len(result.points):
        raise ValueError(f"seat {index} is not among the {len(result.points)} seats.")
    area = result.configuration.areas[str(result.area[index])]
    number = index - result.spans[area.name].start
    direct = result.direct[:, index]  # (source, band)
    heard = result.playing & (direct.sum(axis=1) > 0)
    return Seat(
        index=index,
        place=f"{area.name}, {area.seat_words(number, result.scenario.units)}",
        **_arrivals(result, index),
        direct_db=result.level_db[index],
        total_db=result.total_db[index],
        noise_db=result.noise_db,
        sti=float(result.sti[index]),
        sti_without=sti_without(result, index),
        comb_hz=COMB,
        comb_db=arrivals.comb_response_db(
            direct[heard, COMB_BAND], result.arrival_s[heard, index], COMB
        ),
    )


def _arrivals(result, index):
    """Arrivals at one seat in order of time, as fields of ``Seat``."""
    point = result.points[index : index + 1]
    energy, time = first_reflections(result.sources, result.surfaces, point)
    level = energy[:, :, 0, bands.SPEECH].sum(axis=-1)  # (source, direct and surface)
    time = time[:, :, 0]
    source, way = np.nonzero(level > level.max() * bands.to_energy(-SHOWN_DB))
    order = np.argsort(time[source, way])
    source, way = source[order], way[order]
    tags = [c.tag for c in result.scenario.loudspeakers]
    parts = ["", *result.configuration.room.parts]
    return dict(
        loudspeaker=tuple(tags[s] for s in source),
        surface=tuple(parts[k] for k in way),
        arrival_ms=1000 * (time[source, way] - time[source, way].min()),
        level_db=bands.to_level(level[source, way] / level.max()),
    )


def sti_without(result, index):
    """STI of one seat with one thing removed at a time.

    Parameters
    ----------
    result : Result
        An evaluation
    index : int
        Which of the result's points [-]

    Returns
    -------
    sti_without : dict
        By the keys of ``REMOVED``; the highest limits the seat most
    """
    at = slice(index, index + 1)
    energy, time, point = result.direct[:, at], result.arrival_s[:, at], result.points[at]
    speech, noise = result.total_db[index], result.noise_db
    together = np.broadcast_to(time.min(axis=0), time.shape)
    dry = result.reverberant.raised(NOTHING_DB)

    def transmission(field, time):
        return field.modulation(energy, time, point)[0]  # (band, modulation)

    usual = transmission(result.reverberant, time)
    mtf = {
        "reverberation": transmission(dry, time),
        "noise": usual,
        "masking": usual / (1 + bands.to_energy(noise - speech))[:, None],
        "arrival_spread": transmission(result.reverberant, together),
    }
    heard = dict(speech_db=speech, noise_db=noise)
    levels = {"noise": dict(speech_db=speech), "masking": {}}
    return {key: float(intelligibility.sti(mtf[key], **levels.get(key, heard))) for key in REMOVED}
