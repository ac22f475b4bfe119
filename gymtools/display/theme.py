"""How everything looks: colors, type, and the quantities that maps can show, each with a scale
that stays put.
"""

from dataclasses import dataclass

import numpy as np

from ..physics.bands import LABELS
from ..physics.intelligibility import SPEECH_SPECTRUM_DB
from ..venue.units import FOOT

# Okabe and Ito, "Color Universal Design" (2008): told apart by color-blind people; black is kept
# for lines of the room
GROUP_COLORS = (
    "#D55E00",
    "#0072B2",
    "#009E73",
    "#CC79A7",
    "#E69F00",
    "#56B4E9",
    "#8C6D1F",
    "#5B5B5B",
)
FONT = "system-ui, 'Segoe UI', Helvetica, Arial, sans-serif"
INK, QUIET, FAINT, PAPER = "#1b1f23", "#59636e", "#c9d1d9", "#ffffff"
# boards, sides of banks and stages, painted lines
FLOOR, SOLID, LINES = ("#e3d3b6", "#d9d4cb", "#fffaf0")
LEVEL_SCALE, CLARITY_SCALE, LENGTH_SCALE, SPARE_SCALE = "cividis", "viridis", "cividis_r", "PuOr"

ROOMS = {"statistical": "room by formula", "traced": "room traced"}  # which of the two a map shows


@dataclass(frozen=True, kw_only=True)
class Quantity:
    """Something a map can show."""

    key: str
    label: str  # what the chooser says
    unit: str
    plain: str  # one sentence for people outside the trade
    scale: str
    step: float  # between contour lines, in the unit
    digits: int = 0
    needs_room: bool = False  # whether the room's own sound is in it


def _direct(band, label):
    return Quantity(
        key=f"direct {label}",
        label=f"Direct sound, {label} Hz",
        unit="dB",
        scale=LEVEL_SCALE,
        step=3.0,
        plain=(
            "Sound that reaches the ears straight from the loudspeakers, in the octave around"
            f" {label} Hz."
        ),
    )


QUANTITIES = {
    q.key: q
    for q in (
        Quantity(
            key="speech",
            label="Speech level, all sound",
            unit="dB(A)",
            scale=LEVEL_SCALE,
            step=3.0,
            needs_room=True,
            plain=(
                "How loud speech is: what comes straight from the loudspeakers and what the room"
                " adds."
            ),
        ),
        *(_direct(b, label) for b, label in enumerate(LABELS)),
        Quantity(
            key="over noise",
            label="Level over the noise",
            unit="dB",
            scale=LEVEL_SCALE,
            step=3.0,
            needs_room=True,
            plain="How far speech stands above the noise of the crowd and the building.",
        ),
        Quantity(
            key="sti",
            label="Clarity of speech (STI)",
            unit="",
            scale=CLARITY_SCALE,
            step=0.05,
            digits=2,
            needs_room=True,
            plain=(
                "How well words are understood, from 0 (not at all) to 1 (perfectly); announcements"
                " want 0.50 or more."
            ),
        ),
        Quantity(
            key="distance",
            label="Distance to the nearest loudspeaker",
            unit="m",
            scale=LENGTH_SCALE,
            step=3.0,
            plain="How far each place is from the nearest loudspeaker that is playing.",
        ),
        Quantity(
            key="arrivals",
            label="Arrivals apart",
            unit="ms",
            scale=LENGTH_SCALE,
            step=10.0,
            plain=(
                "Time between the first and the last loudspeaker that matters at a place; over 30"
                " ms they begin to blur speech."
            ),
        ),
        Quantity(
            key="voice",
            label="Voice comes from elsewhere",
            unit="°",
            scale=LENGTH_SCALE,
            step=15.0,
            plain=(
                "Angle between the talker and the loudspeaker that is heard first; 0 is a voice"
                " that comes from the talker."
            ),
        ),
        Quantity(
            key="spare gain",
            label="Where a microphone may walk",
            unit="dB",
            scale=SPARE_SCALE,
            step=3.0,
            needs_room=True,
            plain=(
                "Gain to spare, after a margin of 6 dB, over the floor and the stage; below 0,"
                " inside the heavy line, a microphone is about to ring or rings."
            ),
        ),
    )
}


def values(result, key):
    """A quantity at every point.

    Parameters
    ----------
    result : Result
        An evaluation [-]
    key : str
        One of ``QUANTITIES`` [-]

    Returns
    -------
    values : ndarray
        (P,) float32 [unit of the quantity, SI]
    """
    if key.startswith("direct "):
        found = result.level_db[:, LABELS.index(key.removeprefix("direct "))]
    else:
        found = {
            "speech": lambda: result.speech_dba,
            "over noise": lambda: result.speech_to_noise_db,
            "sti": lambda: result.sti,
            "distance": lambda: result.distance[result.playing].min(axis=0),
            "arrivals": lambda: 1000 * result.arrival_spread_s,
            "voice": lambda: _voice(result),
        }[key]()
    low, _ = color_range(result, key)
    # a place out of sight of every loudspeaker is at minus infinity
    return np.maximum(np.asarray(found, np.float32), np.float32(low - 30))


def _voice(result):
    if result.image_shift_deg is None:
        raise ValueError(
            f"use '{result.use.name}' has no open microphone and no stage, so there is no voice to"
            " compare with."
        )
    return result.image_shift_deg


def color_range(result, key):
    """Ends of the color scale; they follow the use and its target, never the picture, so that the
    eye can compare.

    Parameters
    ----------
    result : Result
        An evaluation [-]
    key : str
        One of ``QUANTITIES`` [-]

    Returns
    -------
    low, high : tuple of float
        Ends [unit of the quantity, SI]
    """
    target = result.use.target_dba
    if key == "speech":
        return target - 6, target + 6
    if key == "over noise":
        return 0.0, 30.0
    if key == "sti":
        return 0.25, 0.75
    fixed = {
        "distance": (0.0, 30.0),
        "arrivals": (0.0, 60.0),
        "voice": (0.0, 90.0),
        "spare gain": (-15.0, 15.0),
    }
    if key in fixed:
        return fixed[key]
    octave = target + float(SPEECH_SPECTRUM_DB[LABELS.index(key.removeprefix("direct "))])
    return 3 * round((octave - 15) / 3), 3 * round((octave + 3) / 3)


def per_unit(units):
    """Meters in one unit of drawings and sliders.

    Parameters
    ----------
    units : str
        "m" or "ft" [-]

    Returns
    -------
    meters : float
        1 or 0.3048 [m]
    """
    return FOOT if units == "ft" else 1.0
