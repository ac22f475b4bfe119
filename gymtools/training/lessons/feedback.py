"""Microphones and feedback: a nearer talker, open microphones, room sound through a pattern."""

import numpy as np

from ...physics.feedback import open_mics_db
from ...physics.microphones import BEHIND_LIPS, PATTERNS, directivity_index_db
from ...venue.units import INCH, in_words
from ..exercises import Exercise, Problem, Slip, Step


def nearer(far_m=0.4, near_m=0.2, units="ft"):
    """Feedback margin that a talker wins who steps up to the microphone.

    Parameters
    ----------
    far_m, near_m : float
        From the mouth to the microphone, before and after [m]
    units : str
        "m" or "ft"

    Returns
    -------
    problem : Problem
        In decibels
    """
    ratio = (far_m + BEHIND_LIPS) / (near_m + BEHIND_LIPS)
    gained = float(20 * np.log10(ratio))
    lips = f"{1000 * BEHIND_LIPS:.0f} mm"
    lips = f"{BEHIND_LIPS / INCH:.1f} in ({lips})" if units == "ft" else lips
    return Problem(
        words=(
            f"A talker speaks {in_words(far_m, units)} from the microphone, then steps up to"
            f" {in_words(near_m, units)}. The voice and the listeners' level stay. By how much does"
            " the feedback margin grow?"
        ),
        unit="dB",
        answer=gained,
        near=0.6,
        low=-60,
        high=60,
        hint="The voice at the microphone grows as the distance shrinks. The gain goes down by it.",
        slips=(
            Slip(gained / 2, "That takes 10 log of the distances. Level falls with 20 log."),
            Slip(0.0, "The listeners get the same, but the system needs less gain for it."),
            Slip(-gained, "More or less margin? A nearer talker needs less gain."),
        ),
        steps=(
            Step(
                f"Ratio of the distances, from {lips} behind the lips",
                ratio,
                "",
                2,
            ),
            Step(f"20 log {ratio:.2f}", gained, "dB"),
        ),
        note="A voice seems to start a little behind the lips. That counts only very near.",
    )


def closed(open_mics=3, left_open=1):
    """Feedback margin won by closing microphones.

    Parameters
    ----------
    open_mics, left_open : int
        How many equal ones are open before and after [-]

    Returns
    -------
    problem : Problem
        In decibels

    Raises
    ------
    ValueError
        None is closed
    """
    if not left_open < open_mics:
        raise ValueError(f"{left_open} open is not fewer than {open_mics}.")
    gained = float(open_mics_db(open_mics) - open_mics_db(left_open))
    ratio = open_mics / left_open
    left = "is left" if left_open == 1 else "are left"
    return Problem(
        words=(
            f"{open_mics} equal microphones are open, all at the same gain. Some are closed;"
            f" {left_open} {left} open. By how much does the feedback margin grow?"
        ),
        unit="dB",
        answer=gained,
        near=0.4,
        low=-60,
        high=60,
        hint="Each open microphone brings back its own share. The shares add as energies.",
        slips=(
            Slip(2 * gained, "That takes 20 log, which is for distances. Shares are energies."),
            Slip(
                3.0 * (open_mics - left_open),
                "That counts the same for each one closed. It is the same for each halving.",
            ),
            Slip(-gained, "More or less margin? Fewer open microphones bring back less."),
        ),
        steps=(
            Step(f"How many times as many: {open_mics} / {left_open}", ratio, "times", 2),
            Step(f"10 log {ratio:.2f}", gained, "dB"),
        ),
        note="An automatic mixer that opens one at a time wins the same; common practice.",
    )


def room_share(pattern="cardioid", shift_db=0.0):
    """How much less of the room's own sound a directional microphone picks up than an omni.

    Parameters
    ----------
    pattern : str
        One of ``physics.microphones.PATTERNS``
    shift_db : float
        By how much its gain is set higher than that of the omni [dB]

    Returns
    -------
    problem : Problem
        In decibels
    """
    a = PATTERNS[pattern]
    b, energy = 1 - a, a**2 + (1 - a) ** 2 / 3
    index = float(directivity_index_db(a))
    less = index - shift_db
    set_so = f"It is set {shift_db:g} dB higher." if shift_db else "Both are set alike on the axis."
    return Problem(
        words=(
            f"A microphone with the pattern {a:g} + {b:g} cos ({pattern}) replaces one that picks"
            f" up all around. {set_so} How much less of the room's own sound does it send back?"
        ),
        unit="dB",
        answer=less,
        near=0.3,
        low=-60,
        high=60,
        hint="From all sides it picks up the energy A² + B² / 3. Turn that into decibels.",
        slips=(
            Slip(2 * index - shift_db, "That takes 20 log. A² + B² / 3 is an energy already."),
            Slip(
                float(-10 * np.log10(a**2 + b**2)) - shift_db,
                "Sound from all sides gives B² a third, not the whole.",
            ),
            Slip(-less, "More or less? It picks up less from the sides and from behind."),
        ),
        steps=(
            Step(f"A² + B² / 3 = {a:g}² + {b:g}² / 3", energy, "", 3),
            Step(f"-10 log {energy:.3f}, less the gain set: {shift_db:g} dB", less, "dB"),
        ),
        note="Where the room's sound returns, the margin grows by this.",
    )


def _draw_nearer(chance):
    near = float(chance.integers(6, 30)) / 100
    return dict(near_m=near, far_m=near * float(chance.integers(13, 40)) / 10)


def _draw_closed(chance):
    left = int(chance.integers(1, 4))
    return dict(left_open=left, open_mics=left + int(chance.integers(1, 10)))


EXERCISES = (
    Exercise(
        "feedback.nearer",
        "How much margin does a nearer talker win?",
        problem=nearer,
        draw=_draw_nearer,
        needs_units=True,
        example=dict(far_m=0.45, near_m=0.15),
    ),
    Exercise(
        "feedback.closed",
        "How much margin do closed microphones win?",
        problem=closed,
        draw=_draw_closed,
        example=dict(open_mics=8, left_open=2),
    ),
    Exercise(
        "feedback.room_share",
        "How much of the room does a pattern leave out?",
        problem=room_share,
        draw=lambda chance: dict(
            pattern=str(
                chance.choice(["subcardioid", "cardioid", "supercardioid", "hypercardioid"])
            ),
            shift_db=float(chance.integers(0, 3)),
        ),
        example=dict(pattern="supercardioid"),
    ),
)
