"""Statics of what hangs: legs of a bridle, two points that share a load, a bracket on a wall."""

import numpy as np

from .checks import within

G = 9.80665  # standard gravity, exact by convention (3rd CGPM, 1901) [m/s2]


def bridle_factor(leg_deg):
    r"""Tension of each leg of a level two-leg bridle over its half of the load.

    .. math:: f = 1 / \sin\beta

    Parameters
    ----------
    leg_deg : float or array
        Angle of a leg over the horizontal, 5 to 90; shape (...,) [deg]

    Returns
    -------
    factor : float or ndarray
        As the angle (...,) [-]

    Raises
    ------
    ValueError
        The angle is outside its range

    Sources
    -------
    Equilibrium of a joint, any textbook of statics; sling catalogs print it as the tension factor.

    Examples
    --------
    >>> round(float(bridle_factor(60.0)), 3)
    1.155
    """
    beta = within("leg_deg", leg_deg, 5, 90, "deg", "From the horizontal, not from the vertical.")
    return 1 / np.sin(np.radians(beta))


def bridle_tensions(load, left_deg, right_deg):
    r"""Tensions of two legs that meet over a load, each at its own angle.

    .. math::
        T_l = W \frac{\cos\beta_r}{\sin(\beta_l + \beta_r)}, \qquad
        T_r = W \frac{\cos\beta_l}{\sin(\beta_l + \beta_r)}

    Parameters
    ----------
    load : float
        Weight that hangs at the joint, 0 to 1e6 [N]
    left_deg, right_deg : float
        Angle of either leg over the horizontal, 5 to 90 [deg]

    Returns
    -------
    left, right : tuple of float
        Tension of each leg [N]

    Raises
    ------
    ValueError
        A value is outside its range, or both legs are upright: then they share as they are long

    Sources
    -------
    Equilibrium of a joint, any textbook of statics (Lami's theorem).
    """
    load = float(within("load", load, 0, 1e6, "N"))
    left, right = (
        np.radians(float(within(name, value, 5, 90, "deg")))
        for name, value in (("left_deg", left_deg), ("right_deg", right_deg))
    )
    both = np.sin(left + right)
    if both < 1e-9:
        raise ValueError("left_deg and right_deg are both 90 deg: upright legs are no bridle.")
    return float(load * np.cos(right) / both), float(load * np.cos(left) / both)


def shares(at, first, second):
    r"""Shares of a load on two points that carry it, by the lever rule.

    .. math:: s_1 = \frac{x_2 - x}{x_2 - x_1}, \qquad s_2 = 1 - s_1

    Parameters
    ----------
    at : float
        Where the load acts, -1000 to 1000 [m]
    first, second : float
        Where the two points are on the same axis, 0.001 m apart at least [m]

    Returns
    -------
    shares : tuple of float
        Of the first and of the second; a negative one says that this point would have to push [-]

    Raises
    ------
    ValueError
        A value is outside its range, or the two points coincide

    Sources
    -------
    Equilibrium of moments, any textbook of statics.
    """
    x, one, two = (
        float(within(name, value, -1000, 1000, "m"))
        for name, value in (("at", at), ("first", first), ("second", second))
    )
    if abs(two - one) < 1e-3:
        raise ValueError(f"first and second are both at {one:g} m: one point carries it all.")
    share = (two - x) / (two - one)
    return share, 1 - share


def bracket(load, arm, anchors):
    r"""Shear, moment and pull of a bracket that holds a load off a wall.

    The plate presses on the wall at its lower anchors; the upper ones are pulled out.

    .. math:: V = W, \qquad M = W e, \qquad T = M / s

    Parameters
    ----------
    load : float
        Weight that the bracket holds, 0 to 1e6 [N]
    arm : float
        From the wall to the center of gravity, 0 to 10 [m]
    anchors : float
        From the lower to the upper anchors, 0.02 to 5 [m]

    Returns
    -------
    shear, moment, pull : tuple of float
        Along the wall [N]; at the wall [N m]; of all upper anchors together, out of the wall [N]

    Raises
    ------
    ValueError
        A value is outside its range

    Sources
    -------
    Equilibrium of forces and moments, any textbook of statics (the wall bracket, the cantilever).

    Examples
    --------
    >>> bracket(300.0, 0.4, 0.2)
    (300.0, 120.0, 600.0)
    """
    shear = float(within("load", load, 0, 1e6, "N"))
    moment = shear * float(within("arm", arm, 0, 10, "m"))
    return shear, moment, moment / float(within("anchors", anchors, 0.02, 5, "m"))
