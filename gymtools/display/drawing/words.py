"""What the drawing says of a handle and of a seat, in plain words."""

from functools import lru_cache

import numpy as np

from ...acoustics.criteria import in_sentence
from ...acoustics.feedback import limit_name
from ...acoustics.seat import REMOVED, sti_without
from ...venue.locations import spot
from ...venue.units import length_text
from ..theme import QUANTITIES, per_unit
from .judging import judged

CENTERED = 0.005  # nearer to the center line counts as on it [m]
CLEAR = 0.01  # of STI that a seat gains at least where something is said to limit it


def handle_words(handle, group, end, units):
    """Name and present value of a handle.

    Parameters
    ----------
    handle : dragging.Handle
        The handle
    group : Group
        Its row
    end : array
        Where the axis of its member lands (3,) [m]
    units : str
        "m" or "ft"

    Returns
    -------
    label, words : tuple of str
        E.g. "north row, height" and "25 ft 0 in up"
    """
    label = f"{group.name}, {'aim point' if handle.kind == 'aim' else handle.kind}"
    if handle.kind == "position":
        return label, _place_text(group.x, group.y, units)
    if handle.kind == "height":
        return label, f"{_length(group.height, units)} up"
    turned = f"tilts {group.downtilt_deg:.0f}° down, pan {group.pan_deg:.0f}°"
    return label, f"{turned}, lands {_place_text(end[0], end[1], units)}"


def mark_words(name, point, plane, units):
    """What a section says of a marked point that is drawn in it.

    Parameters
    ----------
    name : str
        What the point is
    point : array
        (3,) [m]
    plane : tuple of ndarray
        A point of the section's plane, and the direction across it, each (3,) [m, -]
    units : str
        "m" or "ft"

    Returns
    -------
    words : str
        E.g. "worst, 12 ft off the section"; without the distance where it lies in it
    """
    foot, across = plane
    off = abs(float((np.asarray(point) - foot) @ across)) / per_unit(units)
    return f"{name}, {off:.0f} {units} off the section" if round(off) else name


@lru_cache(maxsize=2048)
def _length(meters, units):
    """A length in words, worked out once: most of them stand still while one moves."""
    return length_text(meters, units)


def _place_text(x, y, units):
    """Place in the plan, to the half inch or centimeter."""
    sides = [
        f"{_length(abs(float(v)), units)} {names[int(v < 0)]}"
        for v, names in ((x, ("east", "west")), (y, ("north", "south")))
        if abs(v) > CENTERED
    ]
    return f"{', '.join(sides)} of center" if sides else "at the center"


def seat_sentence(view, index):
    """One sentence on a point of the map: where it is, its value, the word, what limits it.

    Parameters
    ----------
    view : scene.View
        What is looked at
    index : int
        Which of the map's points [-]

    Returns
    -------
    sentence : str
        For people outside the trade first

    Raises
    ------
    ValueError
        No such point
    """
    if not 0 <= index < len(view.values):
        raise ValueError(f"point {index} is not among the {len(view.values)} of the map.")
    where, limit = _microphone(view, index) if view.on_foot else _seat(view, index)
    return f"{where}: {_value_text(view, index)}{_word_text(view, index)}. {limit}".strip()


def _value_text(view, index):
    quantity = QUANTITIES[view.quantity]
    value = f"{view.values[index]:.{quantity.digits or 1}f} {view.unit}".strip()
    return f"{in_sentence(quantity.label)} {value}"


def _word_text(view, index):
    found = judged(view)
    word = "" if found is None else found.word(index)
    return f", {word} ({found.words})" if word else ""


def _seat(view, index):
    result = view.result
    area = result.configuration.areas[str(result.area[index])]
    place = area.seat_words(index - result.spans[area.name].start, view.units)
    without = sti_without(result, index)
    limit = max(without, key=without.get)
    if without[limit] < float(result.sti[index]) + CLEAR:
        return f"{area.name}, {place}", ""
    clear = f"STI {result.sti[index]:.2f}, {without[limit]:.2f} without it"
    return f"{area.name}, {place}", f"{REMOVED[limit].capitalize()} limits clarity most ({clear})."


def _microphone(view, index):
    start = 0
    for walk in view.walks:
        if index < start + len(walk.positions):
            break
        start += len(walk.positions)
    limit = limit_name(view.result, walk.limited_by[index - start])
    place = spot(walk.positions[index - start], view.units)
    return f"microphone {place}", f"Limited by {limit}."
