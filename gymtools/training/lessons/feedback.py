"""Microphones and feedback: a nearer talker, open microphones, room sound through a pattern."""

import numpy as np

from ...physics.feedback import open_mics_db
from ...physics.microphones import BEHIND_LIPS, PATTERNS, directivity_index_db
from ...venue.units import INCH
from ..exercises import Exercise, Problem, Slip, Step
from ..round_lengths import round_length

CM = 0.01  # [m]
FAR_ENOUGH = 2.0  # a slip must be so many tolerances away from the answer [-]


def gained_db(far_m, near_m):
    """Feedback margin that a talker wins who steps up to the microphone.

    Parameters
    ----------
    far_m, near_m : float
        From the mouth to the microphone, before and after [m]

    Returns
    -------
    gained : float
        Distances count from a little behind the lips [dB]
    """
    return float(20 * np.log10((far_m + BEHIND_LIPS) / (near_m + BEHIND_LIPS)))


def nearer(far_m=0.4, near_m=0.2, units="ft"):
    """Feedback margin that a talker wins who steps up to the microphone.

    Parameters
    ----------
    far_m, near_m : float
        From the mouth to the microphone, before and after; to the whole inch or centimeter [m]
    units : str
        "m" or "ft"

    Returns
    -------
    problem : Problem
        In decibels

    Raises
    ------
    ValueError
        The talker does not come nearer
    """
    far_m, near_m = (round_length(value, units, INCH, CM) for value in (far_m, near_m))
    if not near_m < far_m:
        raise ValueError("the second distance is not less than the first one.")
    unit = INCH if units == "ft" else CM
    far, near, lips = far_m / unit, near_m / unit, round(BEHIND_LIPS / unit, 2)
    ratio = round((far + lips) / (near + lips), 3)
    parts = f"({far:.0f} + {lips:g}) / ({near:.0f} + {lips:g})"
    gained, seems = gained_db(far_m, near_m), f"{lips:g} {'in' if units == 'ft' else 'cm'}"
    return Problem(
        words=(
            f"A talker speaks {at_mouth(far_m, units)} from the microphone, then steps up to"
            f" {at_mouth(near_m, units)}. The voice seems to start {seems}"
            f" ({1000 * BEHIND_LIPS:.0f} mm) behind the lips. The voice and the listeners' level"
            " stay. By how much does the feedback margin grow?"
        ),
        unit="dB",
        answer=gained,
        near=0.6,
        low=-60,
        high=60,
        hint=(
            "The voice at the microphone grows by 20 log of the ratio of the distances. The gain"
            " goes down by as much."
        ),
        slips=(
            Slip(gained / 2, "That takes 10 log of the distances. Level falls with 20 log."),
            Slip(0.0, "The listeners get the same, but the system needs less gain for it."),
            Slip(-gained, "More or less margin? A nearer talker needs less gain."),
        ),
        steps=(
            Step(
                f"Ratio of the distances from where the voice starts: {parts}", ratio, "", 3, 0.02
            ),
            Step(f"The voice grows by so much, the gain shrinks: 20 log {ratio:.3f}", gained, "dB"),
        ),
        note="The little way behind the lips counts only very near.",
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
    before, after = (round(float(open_mics_db(count)), 2) for count in (open_mics, left_open))
    gone = open_mics - left_open
    return Problem(
        words=(
            f"A system has {open_mics} equal microphones open, all at the same gain. Then"
            f" {gone} {'is' if gone == 1 else 'are'} closed and {left_open}"
            f" {'stays' if left_open == 1 else 'stay'} open. By how much does the feedback margin"
            " grow?"
        ),
        unit="dB",
        answer=gained,
        near=0.4,
        low=-60,
        high=60,
        hint="Each open microphone brings back its own share. The shares add as energies.",
        slips=_far_enough(
            gained,
            0.4,
            Slip(2 * gained, "That takes 20 log, which is for distances. Shares are energies."),
            Slip(
                3.0 * gone,
                "That counts the same for each one closed. It is the same for each halving.",
            ),
            Slip(-gained, "More or less margin? Fewer open microphones bring back less."),
        ),
        steps=(
            Step(f"Cost before: 10 log {open_mics}", before, "dB", 2, 0.1),
            Step(f"Cost after: 10 log {left_open}", after, "dB", 2, 0.1),
            Step(f"The margin grows by: {before:.2f} − {after:.2f}", gained, "dB"),
        ),
        note="An automatic mixer that opens one at a time wins the same; common practice.",
    )


def room_share(a=0.5, shift_db=0.0):
    """How much less of the room's own sound a directional microphone picks up than an omni.

    Parameters
    ----------
    a : float
        A of its pattern A + B cos, 0 to 1 [-]
    shift_db : float
        By how much its gain is set higher than that of the omni [dB]

    Returns
    -------
    problem : Problem
        In decibels
    """
    a = round(float(a), 2)
    b, energy = round(1 - a, 2), round(a**2 + (1 - a) ** 2 / 3, 4)
    index = float(directivity_index_db(a))
    less, shown = index - shift_db, round(-10 * np.log10(energy), 2)
    name = next((f" ({name})" for name, share in PATTERNS.items() if share == a), "")
    set_so = f"It is set {shift_db:g} dB higher." if shift_db else "Both are set alike on the axis."
    return Problem(
        words=(
            f"A microphone with the pattern {a:g} + {b:g} cos{name} replaces one that picks"
            f" up all around. {set_so} How much less of the room's own sound does it send back?"
        ),
        unit="dB",
        answer=less,
        near=0.3,
        low=-60,
        high=60,
        hint="From all sides it picks up the energy A² + B² / 3. Turn that into decibels.",
        slips=_far_enough(
            less,
            0.3,
            Slip(2 * index - shift_db, "That takes 20 log. A² + B² / 3 is an energy already."),
            Slip(
                float(-10 * np.log10(a**2 + b**2)) - shift_db,
                "Sound from all sides gives B² a third, not the whole.",
            ),
            Slip(-less, "More or less? It picks up less from the sides and from behind."),
        ),
        steps=(
            Step(f"A² + B² / 3: {a:g} · {a:g} + {b:g} · {b:g} / 3", energy, "", 4, 0.005),
            Step(f"Less than all around by: −10 log {energy:.4f}", shown, "dB", 2, 0.1),
            Step(f"Less the gain that it is set higher: {shown:.2f} − {shift_db:g}", less, "dB"),
        ),
        note="Where the room's sound returns, the margin grows by this.",
    )


def at_mouth(meters, units):
    """A distance from the mouth in words.

    Parameters
    ----------
    meters : float
        Distance [m]
    units : str
        "m" or "ft"

    Returns
    -------
    words : str
        To the whole inch and centimeter, the chosen unit first: "8 in (20 cm)"
    """
    inches, cm = f"{meters / INCH:.0f} in", f"{meters / CM:.0f} cm"
    return f"{inches} ({cm})" if units == "ft" else f"{cm} ({inches})"


def _far_enough(answer, near, *slips):
    """The slips that an answer nearly right cannot be taken for."""
    return tuple(slip for slip in slips if abs(slip.value - answer) > FAR_ENOUGH * near)


def _draw_nearer(chance):
    near = int(chance.integers(4, 13))  # inches, or as many times 2.5 cm
    far = near + int(chance.integers(max(2, near // 2), 19))
    return dict(near_m=near * INCH, far_m=far * INCH)


def _draw_closed(chance):
    left = int(chance.integers(1, 7))
    return dict(left_open=left, open_mics=left + int(chance.integers(left // 4 + 1, 15)))


EXERCISES = (
    Exercise(
        "feedback.nearer",
        "How much margin does a nearer talker win?",
        problem=nearer,
        draw=_draw_nearer,
        needs_units=True,
        example=dict(far_m=18 * INCH, near_m=6 * INCH),
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
            a=float(chance.integers(20, 76)) / 100, shift_db=float(chance.integers(0, 4)) / 2
        ),
        example=dict(a=PATTERNS["supercardioid"]),
    ),
)
