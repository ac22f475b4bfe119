"""Layers of the picture's section, and the level along its rows."""

import numpy as np

from ...venue.units import length_text
from ..theme import GROUP_COLORS, plain_text
from .view import xy


def room(view):
    """Floor, walls and roof.

    Parameters
    ----------
    view : View
        What is looked at

    Returns
    -------
    moving : dict
        Of a Scatter
    """
    return xy(view.section.outline, view.k)


def steps(view):
    """Rows of the bank.

    Parameters
    ----------
    view : View
        What is looked at

    Returns
    -------
    moving : dict
        Of a Scatter
    """
    return xy(view.section.steps, view.k)


def axis(view):
    """Axis of the loudspeaker that serves these seats.

    Parameters
    ----------
    view : View
        What is looked at

    Returns
    -------
    moving : dict
        Of a Scatter
    """
    return xy(view.section.axis, view.k)


def edges(view):
    """Upper and lower -6 dB edge of its beam.

    Parameters
    ----------
    view : View
        What is looked at

    Returns
    -------
    moving : dict
        Of a Scatter
    """
    lines = [np.concatenate([e, [[np.nan, np.nan]]]) for e in view.section.edges]
    return xy(np.concatenate(lines) if lines else np.full((1, 2), np.nan), view.k)


def loudspeaker(view):
    """Loudspeaker that serves these seats, with its tag, height and downtilt.

    Parameters
    ----------
    view : View
        What is looked at

    Returns
    -------
    moving : dict
        Of a Scatter
    """
    c = view.scenario.loudspeakers[view.section.loudspeaker]
    return dict(
        **xy(view.section.at[None], view.k),
        text=[f" {plain_text(c.tag)} {length_text(c.z, view.units)} up, {c.downtilt_deg:g}° down"],
        marker=dict(color=GROUP_COLORS[view.color(c.group)]),
    )


def seats(view):
    """Seats of the section in the colors of the map.

    Parameters
    ----------
    view : View
        What is looked at

    Returns
    -------
    moving : dict
        Of a Scatter
    """
    uncolored = np.zeros(len(view.along), np.float32)
    return dict(
        **xy(view.section.seats, view.k),
        marker=dict(color=uncolored if view.on_foot else view.along),
    )


def along_the_rows(view):
    """Quantity along the rows.

    Parameters
    ----------
    view : View
        What is looked at

    Returns
    -------
    moving : dict
        Of a Scatter
    """
    return dict(x=xy(view.section.seats, view.k)["x"], y=view.along)
