"""Published gyms with a measured decay, each built as a scenario, so that the model can be held
against them.

The files lie in ``data/halls``: what a source gives, and what had to be assumed, in words. They are
part of the package because the model's stated error rests on them and a workbook shows them.
"""

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

import numpy as np

from ..physics.bands import NAMES, NOMINAL
from ..physics.directivity import AZIMUTH_DEG, ELEVATION_DEG
from ..venue.court import Court
from ..venue.hall import Hall, Treatment
from ..venue.loudspeakers import Group, LoudspeakerType
from ..venue.quantity import quantity
from ..venue.scenario import Scenario
from ..venue.uses import Use
from .evaluate import evaluate

USE = "as measured"  # name of the only use
SOURCE_HEIGHT = 2.2  # of the loudspeakers, the lowest that a gym may have [m]
SOURCES = 4  # loudspeakers in each of two lines: decays are means over many positions (ISO 3382-2)
FREE_FLOOR = Court(level="free floor", length=8.0, width=5.0, source="the middle of a small room")
COURT_LENGTH = 18.0  # shorter rooms have no court [m]    volleyball, FIVB rule 1.1


@dataclass(frozen=True, kw_only=True)
class _Room(Hall):
    """A hall that may be smaller than any gym: some that were measured are."""

    length: float = quantity("m", 3, 100)
    width: float = quantity("m", 3, 100)
    height: float = quantity("m", 2, 20)
    clear_height: float = quantity("m", 2, 20)


@dataclass(frozen=True, kw_only=True)
class _SmallScenario(Scenario):
    """A scenario whose room is too small for any court."""

    @property
    def lines(self):
        """A free floor in place of the court."""
        return FREE_FLOOR


@dataclass(frozen=True, kw_only=True)
class MeasuredDecay:
    """One published decay time."""

    octaves: tuple  # indices of the octaves it is the mean of, one for most
    seconds: float

    @property
    def label(self):
        """Octave in words, e.g. "500 Hz" or "mean of 125 Hz to 4 kHz"."""
        first, last = (NAMES[k] for k in (self.octaves[0], self.octaves[-1]))
        return first if len(self.octaves) == 1 else f"mean of {first} to {last}"


@dataclass(frozen=True, kw_only=True)
class HallState:
    """A hall as it was when it was measured."""

    name: str
    floor: str
    roof: str
    walls: str
    treatments: tuple  # of Treatment
    decays: tuple  # of MeasuredDecay


@dataclass(frozen=True, kw_only=True)
class MeasuredHall:
    """A published hall, in one state or several."""

    name: str
    source: str
    volume: float  # as published [m3]
    length: float  # [m]
    width: float  # [m]
    height: float  # of a flat roof [m]
    counts: bool  # its finishes are published; others are shown, and no error rests on them
    assumed: tuple  # sentences
    states: tuple  # of HallState

    def scenario(self, state):
        """The hall as a scenario: empty, eight loudspeakers that play alike in all directions.

        Parameters
        ----------
        state : HallState
            One of ``states``

        Returns
        -------
        scenario : Scenario
            With the one use ``USE``
        """
        hall = _Room(
            length=self.length,
            width=self.width,
            height=self.height,
            clear_height=self.height,
            floor=state.floor,
            roof=state.roof,
            walls=state.walls,
        )
        kind = _SmallScenario if self.length < COURT_LENGTH else Scenario
        return kind(
            name=self.name,
            units="m",
            source=self.source,
            court="volleyball",
            hall=hall,
            treatments=state.treatments,
            groups=tuple(_line(side, self.length, self.width) for side in (-1, 1)),
            uses=(Use(name=USE, target_dba=80, noise_dba=30, listens={"court": 1.0}),),
            measured_types=(_every_direction(),),
        )


@dataclass(frozen=True, kw_only=True)
class DecayComparison:
    """A published decay time beside what formula and tracer give."""

    hall: MeasuredHall
    state: HallState
    decay: MeasuredDecay
    formula: float  # Eyring [s]
    traced: float  # T20 [s]
    error: float  # standard error of the traced one [s]

    @property
    def log_ratio(self):
        """Natural logarithm of measured over traced [-]."""
        return float(np.log(self.decay.seconds / self.traced))

    @property
    def log_ratio_formula(self):
        """Natural logarithm of measured over formula [-]."""
        return float(np.log(self.decay.seconds / self.formula))


def compare_decays(halls=None):
    """Every published decay time beside what formula and tracer give.

    Parameters
    ----------
    halls : sequence of MeasuredHall, optional
        Halls of ``measured_halls``; all of them when left out

    Returns
    -------
    comparisons : tuple of DecayComparison
        Hall by hall
    """
    found = []
    for hall in measured_halls() if halls is None else halls:
        for state in hall.states:
            result = evaluate(hall.scenario(state), USE, room="traced")
            traced = result.decay_times["t20"]
            errors = result.reverberant.decay_errors(result.points, "t20")
            for decay in state.decays:
                at = list(decay.octaves)
                found.append(
                    DecayComparison(
                        hall=hall,
                        state=state,
                        decay=decay,
                        formula=float(result.rt[at].mean()),
                        traced=float(traced[at].mean()),
                        error=float(errors[at].mean()),
                    )
                )
    return tuple(found)


@lru_cache(maxsize=1)
def measured_halls():
    """Published halls of the package.

    Returns
    -------
    halls : tuple of MeasuredHall
        Those whose finishes are published first
    """
    folder = resources.files("gymtools").joinpath("data", "halls")
    files = sorted(f.name for f in folder.iterdir() if f.name.endswith(".toml"))
    halls = [_hall(tomllib.loads(folder.joinpath(f).read_text(encoding="utf-8"))) for f in files]
    return tuple(sorted(halls, key=lambda hall: (not hall.counts, hall.name)))


def _hall(table):
    """A hall from its file."""
    plain = ("name", "source", "volume", "length", "width", "height")
    return MeasuredHall(
        **{key: table[key] for key in plain},
        counts=table["finishes"] == "published",
        assumed=tuple(table["assumed"]),
        states=tuple(_state(state) for state in table["states"]),
    )


def _state(table):
    """One state of a hall, from its file."""
    octaves = NOMINAL.tolist()
    decays = [
        MeasuredDecay(octaves=(octaves.index(int(octave)),), seconds=seconds)
        for octave, seconds in table.get("measured", {}).items()
    ]
    if "mean" in table:
        first, last = (octaves.index(octave) for octave in table["mean"]["octaves"])
        over = tuple(range(first, last + 1))
        decays.append(MeasuredDecay(octaves=over, seconds=table["mean"]["seconds"]))
    return HallState(
        **{key: table[key] for key in ("name", "floor", "roof", "walls")},
        treatments=tuple(Treatment(**one) for one in table.get("treatments", ())),
        decays=tuple(decays),
    )


def _line(side, length, width):
    """One of the two lines of loudspeakers, shifted so that no two positions mirror each other."""
    return Group(
        name=f"line {side + 2}",
        tag="A" if side < 0 else "B",
        loudspeaker="every direction",
        number=SOURCES,
        x=side * 0.06 * length,
        y=(0.05 + 0.22 * side) * width,
        height=SOURCE_HEIGHT,
        spacing=0.21 * length,
        pan_deg=0,
        downtilt_deg=0,
    )


@lru_cache(maxsize=1)
def _every_direction():
    """A loudspeaker that plays alike in all directions, as decays are measured with."""
    return LoudspeakerType(
        name="every direction",
        description="plays alike in all directions",
        horizontal_deg=180,
        vertical_deg=180,
        mouth_width=0.1,
        mouth_height=0.1,
        lobes=1,
        lobe_tilt_deg=0,
        sensitivity_db=(90.0,) * 7,
        rated_w=100,
        impedance_ohm=8,
        width=0.1,
        height=0.1,
        depth=0.1,
        weight_kg=1,
        source="ideal",
        measured_db=np.zeros((len(AZIMUTH_DEG), len(ELEVATION_DEG), 7)),
        fingerprint="every direction",
    )
