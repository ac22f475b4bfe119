"""How everything looks: colors, type, and the quantities that maps can show, each with a scale
that stays put.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..acoustics.criteria import CRITERIA
from ..acoustics.feedback import walking_map
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
GRID = "#eef1f4"  # lines behind a chart
# boards, sides of banks and stages, painted lines
FLOOR, SOLID, LINES = ("#e3d3b6", "#d9d4cb", "#fffaf0")
LEVEL_SCALE, STI_SCALE, LENGTH_SCALE, MARGIN_SCALE = "cividis", "viridis", "cividis_r", "PuOr"
INSTEAD = "speech"  # quantity that every use has
UNSEEN_BELOW_DB = 30.0  # a seat out of sight, at minus infinity, is drawn so far below the scale

ROOMS = {"statistical": "textbook formula", "traced": "all rays"}  # what a figure comes from
FEW_RAYS = "few rays"


@dataclass(frozen=True, kw_only=True)
class MapQuantity:
    """Something that a map can show."""

    key: str
    label: str  # what the chooser says
    unit: str
    plain: str  # one sentence for people outside the trade
    scale: str
    step: float  # between contour lines [unit]
    digits: int = 0
    band: int | None = None  # which octave is shown; None: more than one
    needs_room: bool = False  # whether the room's own sound is in it
    values: Callable  # result -> one value per point (point,) [unit]
    ends: Callable  # use -> ends of the color scale; they follow the target, never the picture


def room_words(shown):
    """What the figures of something come from.

    Parameters
    ----------
    shown : Result or Option
        With its room and rays

    Returns
    -------
    words : str
        "few rays", "all rays" or "textbook formula"
    """
    return FEW_RAYS if shown.rays == "few" else ROOMS[shown.room]


def octave_text(label):
    """Octave as text.

    Parameters
    ----------
    label : str
        One of ``bands.LABELS``

    Returns
    -------
    text : str
        E.g. "2 kHz"
    """
    return f"{label[:-1]} kHz" if label.endswith("k") else f"{label} Hz"


def _direct(band, label):
    def ends(use):
        octave = use.target_dba + float(SPEECH_SPECTRUM_DB[band])
        return 3 * round((octave - 15) / 3), 3 * round((octave + 3) / 3)

    return MapQuantity(
        key=f"direct {label}",
        label=f"Direct sound, {octave_text(label)}",
        unit="dB",
        scale=LEVEL_SCALE,
        step=3.0,
        band=band,
        plain=(
            "Sound that reaches the ears straight from the loudspeakers, in the octave around"
            f" {octave_text(label)}."
        ),
        values=lambda result: result.level_db[:, band],
        ends=ends,
    )


def _of_criterion(key, reads, **looks):
    """A map of what a criterion judges, under the criterion's own label and question."""
    c = CRITERIA[key]
    return MapQuantity(key=key, label=c.label, unit=c.unit, plain=f"{c.plain} {reads}", **looks)


def missing_quantity(result, key):
    """Why a use has no values of a quantity.

    Parameters
    ----------
    result : Result
        An evaluation
    key : str
        One of ``QUANTITIES``

    Returns
    -------
    words : str
        Empty where it has
    """
    if key != "image_shift" or result.image_shift_deg is not None:
        return ""
    return (
        f"use '{result.use.name}' has no open microphone and no stage, so there is no voice to"
        f" compare with. The picture shows another quantity: {QUANTITIES[INSTEAD].label}."
    )


def shown_quantity(result, key):
    """The quantity that a picture shows: another one where the use has no values of it.

    Parameters
    ----------
    result : Result
        An evaluation
    key : str
        One of ``QUANTITIES``: what was asked for

    Returns
    -------
    key : str
        The same, or ``INSTEAD``; ``missing_quantity`` says why
    """
    return INSTEAD if missing_quantity(result, key) else key


def _image_shift(result):
    if missing := missing_quantity(result, "image_shift"):
        raise ValueError(missing)
    return result.image_shift_deg


QUANTITIES = {
    q.key: q
    for q in (
        MapQuantity(
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
            values=lambda result: result.speech_dba,
            ends=lambda use: (use.target_dba - 6, use.target_dba + 6),
        ),
        *(_direct(band, label) for band, label in enumerate(LABELS)),
        _of_criterion(
            "speech_to_noise",
            scale=LEVEL_SCALE,
            step=3.0,
            needs_room=True,
            reads="The level of speech above the noise of the crowd and the building.",
            values=lambda result: result.speech_to_noise_db,
            ends=lambda use: (0.0, 30.0),
        ),
        _of_criterion(
            "sti",
            scale=STI_SCALE,
            step=0.05,
            digits=2,
            needs_room=True,
            reads="From 0 (nothing understood) to 1 (everything).",
            values=lambda result: result.sti,
            ends=lambda use: (0.25, 0.75),
        ),
        MapQuantity(
            key="distance",
            label="Distance to the nearest loudspeaker",
            unit="m",
            scale=LENGTH_SCALE,
            step=3.0,
            plain="How far each seat is from the nearest loudspeaker that plays.",
            values=lambda result: result.distance[result.playing].min(axis=0),
            ends=lambda use: (0.0, 30.0),
        ),
        _of_criterion(
            "arrival_spread",
            scale=LENGTH_SCALE,
            step=10.0,
            reads="Time between the first and the last loudspeaker that matters at a seat.",
            values=lambda result: 1000 * result.arrival_spread_s,
            ends=lambda use: (0.0, 60.0),
        ),
        MapQuantity(
            key="image_shift",
            label="Image shift of the voice",
            unit="°",
            scale=LENGTH_SCALE,
            step=15.0,
            plain=(
                "Angle between the talker and the loudspeaker that is heard first; at 0 the voice"
                " comes from the talker."
            ),
            values=_image_shift,
            ends=lambda use: (0.0, 90.0),
        ),
        _of_criterion(
            "feedback_margin",
            scale=MARGIN_SCALE,
            step=3.0,
            needs_room=True,
            reads=(
                "What is in reserve after the safety margin, wherever a microphone may walk over"
                " the floor and the stage; below 0, inside the heavy line, it is about to ring or"
                " rings."
            ),
            values=lambda result: np.concatenate([m.margin_db for m in walking_map(result)]),
            ends=lambda use: (-15.0, 15.0),
        ),
    )
}


def values(result, key):
    """Quantity at every point.

    Parameters
    ----------
    result : Result
        An evaluation
    key : str
        One of ``QUANTITIES``

    Returns
    -------
    values : ndarray
        (point,) float32 [unit of the quantity, SI]

    Raises
    ------
    ValueError
        The image shift in a use without a voice
    """
    found = np.asarray(QUANTITIES[key].values(result), np.float32)
    return np.maximum(found, np.float32(color_range(result, key)[0] - UNSEEN_BELOW_DB))


def color_range(result, key):
    """Ends of the color scale; they follow the use and its target, never the picture, so that the
    eye can compare.

    Parameters
    ----------
    result : Result
        An evaluation
    key : str
        One of ``QUANTITIES``

    Returns
    -------
    low, high : tuple of float
        Ends [unit of the quantity, SI]
    """
    return QUANTITIES[key].ends(result.use)


# what Plotly gives a meaning: tags, entities, pieces of a hover template, formulas between dollars
ENTITIES = {"&": "&amp;", "<": "&lt;", ">": "&gt;", "$": "&#36;", "%{": "&#37;{"}
# the letters of the 3D scene know no entities
LOOK_ALIKE = {"<": "\u2039", ">": "\u203a"}


def plain_text(text, *, entities=True):
    """A name that Plotly shows as it is: no markup, no link, no formula, no piece of a template.

    Parameters
    ----------
    text : str
        Of any origin
    entities : bool
        False for the letters of a 3D scene, which know tags but no entities

    Returns
    -------
    text : str
        Safe in titles, labels, names of traces and hover texts
    """
    meant = ENTITIES if entities else LOOK_ALIKE
    return re.sub(r"%\{|[&<>$]", lambda m: meant.get(m[0], m[0]), str(text))


def per_unit(units):
    """Meters in one unit of drawings and sliders.

    Parameters
    ----------
    units : str
        "m" or "ft"

    Returns
    -------
    meters : float
        1 or 0.3048 [m]
    """
    return FOOT if units == "ft" else 1.0
