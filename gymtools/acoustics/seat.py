"""One seat looked at closely: its arrivals, its octaves, what limits its clarity, its
comb filter.
"""

from dataclasses import dataclass

import numpy as np

from ..physics import arrivals, bands, intelligibility
from .arrivals import reflected

SHOWN_DB = 25.0  # arrivals this far below the strongest are left out
COMB = np.arange(
    100.0,
    8000.1,
    2.5,
    # frequencies of the coherent response: even, and close enough for teeth of arrivals 0.1 s apart
    # [Hz]
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Seat:
    """What arrives at one seat."""

    index: int
    place: str
    arrival_ms: np.ndarray  # after the first (arrival,) [ms]
    level_db: np.ndarray  # speech octaves, re the strongest (arrival,) [dB]
    name: list  # "N2", or "N2 off the east wall"
    direct_db: np.ndarray  # (7,) [dB]
    total_db: np.ndarray  # (7,) [dB]
    noise_db: np.ndarray  # (7,) [dB]
    sti: float
    without: dict  # STI with one thing removed, by its words
    comb_hz: np.ndarray
    comb_db: np.ndarray  # coherent sum of the direct sounds re the sum of their energies [dB]


def look(result, index):
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
    """
    if not 0 <= index < len(result.points):
        raise ValueError(f"seat {index} is not among the {len(result.points)} places.")
    area = result.configuration.areas[str(result.area[index])]
    start = int(np.flatnonzero(result.area == area.name)[0])
    energy, time = reflected(result.sources, result.surfaces, result.points[index : index + 1])
    names = [""] + [f" off the {s.part}" for s in result.configuration.room.surfaces]
    tags = [c.tag for c in result.scenario.loudspeakers]
    level = energy[:, :, 0, bands.SPEECH].sum(axis=-1)  # (source, way)
    s, k = np.nonzero(level > level.max() * 10 ** (-SHOWN_DB / 10))
    order = np.argsort(time[s, k, 0])
    s, k = s[order], k[order]
    direct = result.direct[:, index]  # (source, band)
    heard = result.playing & (direct.sum(axis=1) > 0)
    return Seat(
        index=index,
        place=f"{area.name}, {area.seat_words(index - start, result.scenario.units)}",
        arrival_ms=1000 * (time[s, k, 0] - time[s, k, 0].min()),
        level_db=bands.to_level(level[s, k] / level.max()),
        name=[f"{tags[a]}{names[b]}" for a, b in zip(s, k, strict=True)],
        direct_db=result.level_db[index],
        total_db=result.total_db[index],
        noise_db=result.noise_db,
        sti=float(result.sti[index]),
        without=_without(result, index),
        comb_hz=COMB,
        comb_db=arrivals.comb_response_db(direct[heard, 3], result.arrival_s[heard, index], COMB),
    )


def _without(result, index):
    """STI with reverberation, noise, masking and threshold, or the time between arrivals removed,
    each by itself.
    """
    energy, time, at = (
        result.direct[:, index : index + 1],
        result.arrival_s[:, index : index + 1],
        result.points[index : index + 1],
    )
    speech, noise = result.total_db[index], result.noise_db

    def transmission(late, time):
        return late.modulation(energy, time, at)[0]

    usual = transmission(result.reverberant, time)
    dry = transmission(result.reverberant.raised(-90.0), time)
    together = transmission(result.reverberant, np.broadcast_to(time.min(axis=0), time.shape))
    masked_by_noise = usual / (1 + bands.to_energy(noise - speech))[:, None]
    return {
        "reverberation": float(intelligibility.sti(dry, speech_db=speech, noise_db=noise)),
        "noise": float(intelligibility.sti(usual, speech_db=speech)),
        "masking by loudness": float(intelligibility.sti(masked_by_noise)),
        "late loudspeakers": float(intelligibility.sti(together, speech_db=speech, noise_db=noise)),
    }
