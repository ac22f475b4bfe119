"""Measured directivity brought onto the package's grid: any directions, any frequencies, to octaves
by energy.
"""

import numpy as np
from scipy.spatial import ConvexHull, QhullError, cKDTree

from .bands import EDGE_RATIOS, EXACT, NOMINAL, to_energy, to_level
from .directivity import directions

SAME = 1e-5  # two directions nearer than this are one [rad]
FLOOR_DB = -60.0  # least level re the axis that is kept [dB]
REACH = 20.0  # furthest that a grid direction may lie from any measured one [deg]
# how far the axis may lie below the loudest direction of an octave [dB]: lobes of a tilted or
# crossed-over loudspeaker take some 10 dB from its axis; 30 dB below, the axis was not measured or
# the file means another front    common practice, no source
AXIS_BELOW_DB = 30.0
LOUDEST_DB = (-160.0, 200.0)  # re anything: from a normalized response to a level in pascals [dB]
MOST_DIRECTIONS = 70_000  # the whole sphere degree by degree is 65,160
MOST_FREQUENCIES = 20_000
# highest that a loudspeaker is measured at: half of a sampling rate of 96 kHz, and the last third
# of the audible range where octaves or thirds are given    common practice, no source [Hz]
HIGHEST, HIGHEST_BAND = 50_000.0, 24_000.0
THIRD = 1.2  # ratio of neighbors above which frequencies are octaves or thirds [-]
NEEDED = (250, 500, 1000, 2000, 4000)  # octaves that must have been measured [Hz]
WIDEST_STEP = 30.0  # between the angles of a polar    common practice, no source [deg]
CHUNK = 256  # directions looked up at a time
NEAR_FACES = 32  # triangles that are looked at before all others


def check_frequencies(frequency):
    """Refuse frequencies that no measurement of a loudspeaker has.

    Parameters
    ----------
    frequency : array
        (frequency,) [Hz]

    Returns
    -------
    frequency : ndarray
        As float (frequency,) [Hz]

    Raises
    ------
    ValueError
        None or too many, not finite, not above 0, not rising, all beside 125 Hz to 8 kHz, beyond
        HIGHEST, or none within one of the octaves NEEDED
    """
    frequency = np.asarray(frequency, float).ravel()
    if not 1 <= len(frequency) <= MOST_FREQUENCIES:
        raise ValueError(f"has {len(frequency)} frequencies. Give 1 to {MOST_FREQUENCIES}.")
    bad = ~(np.isfinite(frequency) & (frequency > 0))
    if bad.any():
        raise ValueError(
            f"has a frequency of {frequency[bad][0]:g} Hz. Frequencies are finite and above 0 Hz."
        )
    fall = np.flatnonzero(np.diff(frequency) <= 0)
    if len(fall):
        one, other = frequency[fall[0]], frequency[fall[0] + 1]
        raise ValueError(f"its frequencies must rise, but {other:g} Hz follows {one:g} Hz.")
    if frequency[-1] < NOMINAL[0] or frequency[0] > NOMINAL[-1]:
        raise ValueError(
            f"its frequencies reach from {frequency[0]:g} to {frequency[-1]:g} Hz."
            " Kilohertz given by mistake?"
        )
    _check_octaves(frequency)
    return frequency


def _check_octaves(frequency):
    """Refuse frequencies that leave out an octave, or that are too high for hertz."""
    in_bands = len(frequency) > 1 and frequency[-1] / frequency[-2] > THIRD
    highest = HIGHEST_BAND if in_bands else HIGHEST
    if frequency[-1] > highest:
        raise ValueError(
            f"its frequencies reach up to {frequency[-1]:g} Hz, more than {highest:g} Hz. Radians"
            " per second given by mistake?"
        )
    measured = dict(zip(NOMINAL, _lines_of(frequency), strict=True))
    missing = [f"{octave} Hz" for octave in NEEDED if not measured[octave].any()]
    if missing:
        slip = (
            "Radians per second given by mistake?"
            if np.abs(np.log(frequency[0] / (2 * np.pi * NOMINAL[0]))) < 0.03
            else "Is a column missing?"
        )
        raise ValueError(
            f"it has no frequency in the octaves of {', '.join(missing)}. Measure octaves or thirds"
            f" from {NEEDED[0]} to {NEEDED[-1]} Hz at least. {slip}"
        )


def _lines_of(frequency, exact=EXACT):
    """Which frequencies lie within each octave's edges (band, frequency)."""
    lower, upper = (np.asarray(exact)[:, None] * ratio for ratio in EDGE_RATIOS)
    return (frequency >= lower) & (frequency < upper)


def octaves_taken(frequency):
    """Octaves that no frequency lies in, and where their levels come from.

    Parameters
    ----------
    frequency : array
        As ``check_frequencies`` returns it (frequency,) [Hz]

    Returns
    -------
    words : tuple of str
        e.g. "125 Hz taken from 250 Hz"; empty where every octave was measured
    """
    said = []
    for octave, middle, inside in zip(NOMINAL, EXACT, _lines_of(frequency), strict=True):
        if not inside.any():
            below, above = frequency[frequency < middle][-1:], frequency[frequency > middle][:1]
            both = [f"{f:g}" for f in (*below, *above)]
            between = "from" if len(both) == 1 else "between"
            said.append(f"{octave} Hz taken {between} {' and '.join(both)} Hz")
    return tuple(said)


def re_axis(balloon_db, axis_db):
    """Levels relative to the axis, refused where the axis cannot be one.

    Parameters
    ----------
    balloon_db : array
        (..., band) [dB]
    axis_db : array
        Of the axis (band,) [dB]

    Returns
    -------
    balloon_db : ndarray
        FLOOR_DB at least (..., band) [dB]

    Raises
    ------
    ValueError
        A level is not finite; the loudest is outside LOUDEST_DB; the axis lies more than
        AXIS_BELOW_DB below the loudest direction
    """
    if not np.isfinite(balloon_db).all():
        raise ValueError("a level of it is not finite.")
    loudest = balloon_db.reshape(-1, balloon_db.shape[-1]).max(axis=0)  # (band,)
    low, high = LOUDEST_DB
    for band, most in zip(NOMINAL, loudest, strict=True):
        if not low <= most <= high:
            raise ValueError(
                f"its loudest level at {band} Hz is {most:.0f} dB, outside {low:g} to {high:g} dB."
                " Are its data all zero, or in another unit?"
            )
    below = loudest - axis_db
    if below.max() > AXIS_BELOW_DB:
        worst = int(below.argmax())
        raise ValueError(
            f"its axis lies {below[worst]:.0f} dB below its loudest direction at {NOMINAL[worst]}"
            f" Hz, more than {AXIS_BELOW_DB:g} dB. Is the axis measured, and the front right?"
        )
    return np.maximum(balloon_db - axis_db, FLOOR_DB)


def octave_energy(energy, frequency, *, exact=EXACT):
    """Mean energy in each octave.

    Parameters
    ----------
    energy : array
        Squared magnitude (..., frequency) [-]
    frequency : array
        Increasing (frequency,) [Hz]
    exact : array
        Mid-bands (band,) [Hz]

    Returns
    -------
    energy : ndarray
        Mean over the lines inside each octave's edges; where there is none, between its neighbors
        in the logarithm of frequency (..., band) [-]

    Sources
    -------
    Band edges: IEC 61260-1:2014, mid-band times 10^(-0.15) and 10^(0.15).
    """
    frequency = np.asarray(frequency, float)
    found = []
    for middle, inside in zip(exact, _lines_of(frequency, exact), strict=True):
        if inside.any():
            found.append(energy[..., inside].mean(axis=-1))
            continue
        # beyond the ends: the last one
        at = np.interp(np.log(middle), np.log(frequency), np.arange(len(frequency)))
        low, part = int(at), at - int(at)
        high = min(low + 1, len(frequency) - 1)
        found.append((1 - part) * energy[..., low] + part * energy[..., high])
    return np.stack(found, axis=-1)


def unit_vectors(vectors):
    """Directions of length 1.

    Parameters
    ----------
    vectors : array
        Directions of any length (direction, 3) [any]

    Returns
    -------
    vectors : ndarray
        (direction, 3) [-]

    Raises
    ------
    ValueError
        There are more than MOST_DIRECTIONS; one is zero or not finite, and named by its number
    """
    vectors = np.asarray(vectors, float)
    if len(vectors) > MOST_DIRECTIONS:
        raise ValueError(f"{len(vectors)} directions are more than {MOST_DIRECTIONS}.")
    largest = np.abs(vectors).max(axis=1, initial=0.0)
    bad = np.flatnonzero(~(np.isfinite(largest) & (largest > 0)))
    if len(bad):
        raise ValueError(
            f"direction {bad[0] + 1} of {len(vectors)} is {_numbers(vectors[bad[0]])}, which points"
            " nowhere."
        )
    vectors = vectors / largest[:, None]  # so that squares of huge numbers stay finite
    return vectors / np.linalg.norm(vectors, axis=1, keepdims=True)


def on_grid(vectors, level_db):
    """Levels at any directions of the sphere, brought onto the package's grid.

    Parameters
    ----------
    vectors : array
        Directions in the loudspeaker's frame, front, left, up (direction, 3) [-]
    level_db : array
        (direction, band) [dB]

    Returns
    -------
    balloon_db : ndarray
        Level re the axis (azimuth, elevation, band) [dB]

    Raises
    ------
    ValueError
        A direction is not finite or zero, or there are too many; they leave part of the sphere
        out; or as ``re_axis``

    Notes
    -----
    Between directions along the triangles of their convex hull, in decibels; a grid direction that
    was measured is taken as it is.

    Sources
    -------
    Linear interpolation in triangles of the convex hull; e.g. scipy.spatial.ConvexHull (Qhull).
    """
    level_db = np.asarray(level_db, float)
    if not np.isfinite(level_db).all():
        raise ValueError("a level of it is not finite.")
    vectors, level_db = _once(unit_vectors(vectors), level_db)
    if len(vectors) < 6:
        raise ValueError(
            f"only {len(vectors)} directions were measured. A balloon needs them all round."
        )
    grid = directions()
    wanted = grid.reshape(-1, 3)
    nearest, gap = _nearest(vectors, wanted)
    widest = float(np.degrees(gap.max()))
    if widest > REACH:
        away = wanted[int(gap.argmax())]
        raise ValueError(
            f"no direction was measured within {widest:.0f}° of {_said(away)}. A balloon needs them"
            " all round."
        )
    found = level_db[nearest]
    between = np.flatnonzero(gap > SAME)
    if len(between):
        try:
            faces = ConvexHull(vectors).simplices
        except QhullError:
            raise ValueError(
                "the measured directions lie in one plane. A balloon needs them all round."
            ) from None
        found[between] = _along_triangles(
            vectors, faces, level_db, wanted[between], nearest[between]
        )
    axis = found[int((wanted @ [1.0, 0, 0]).argmax())]
    return re_axis(found, axis).reshape(*grid.shape[:2], -1)


def _numbers(vector):
    return ", ".join(f"{v:g}" for v in vector)


def _once(vectors, level_db):
    """Directions that stand there several times (poles, seams), once, by their mean energy."""
    _, first, which = np.unique(
        np.round(vectors, 6) + 0.0, axis=0, return_index=True, return_inverse=True
    )
    which = which.ravel()
    if len(first) == len(vectors):
        return vectors, level_db
    energy = np.zeros((len(first), level_db.shape[1]))
    np.add.at(energy, which, to_energy(level_db))
    alone = np.bincount(which) == 1
    mean = to_level(energy / np.bincount(which)[:, None])
    mean[alone] = level_db[first[alone]]
    return vectors[first], mean


def _nearest(vectors, wanted):
    """Index of the nearest direction of each, and the angle to it."""
    near = np.concatenate(
        [(wanted[n : n + CHUNK] @ vectors.T).argmax(axis=1) for n in range(0, len(wanted), CHUNK)]
    )
    return near, 2 * np.arcsin(np.clip(np.linalg.norm(wanted - vectors[near], axis=1) / 2, 0, 1))


def _along_triangles(vectors, faces, level_db, wanted, nearest):
    """Barycentric mix in the triangle that each direction passes through; the nearest where a
    sliver holds none.
    """
    inverse = np.linalg.pinv(np.swapaxes(vectors[faces], 1, 2))  # (face, 3, 3)
    middles = vectors[faces].mean(axis=1)
    few = min(NEAR_FACES, len(faces))
    _, near = cKDTree(middles).query(wanted, k=few)
    near = np.sort(np.reshape(near, (-1, few)), axis=1)  # (direction, some faces)
    found = level_db[nearest].copy()
    for n, direction in enumerate(wanted):
        for among in (near[n], slice(None)):  # a long triangle's middle may be far
            weights = inverse[among] @ direction
            inside = np.flatnonzero((weights > -1e-9).all(axis=1) & (weights.sum(axis=1) > 0.5))
            if len(inside):
                w = np.clip(weights[inside[0]], 0, None)
                found[n] = (w / w.sum()) @ level_db[faces[among][inside[0]]]
                break
    return found


def from_polars(horizontal_deg, horizontal_db, vertical_deg, vertical_db):
    """A balloon from a horizontal and a vertical polar.

    Parameters
    ----------
    horizontal_deg : array
        Increasing, positive to the left, once round or 0 to 180 for both sides alike; across the
        rear it closes (angle,) [deg]
    horizontal_db : array
        (angle, band) [dB]
    vertical_deg : array
        Increasing, positive up (angle,) [deg]
    vertical_db : array
        (angle, band) [dB]

    Returns
    -------
    balloon_db : ndarray
        Level re the axis (azimuth, elevation, band) [dB]

    Raises
    ------
    ValueError
        Angles that do not increase, that leave out 0, that reach less than -90 to 90 deg or lie
        further apart than WIDEST_STEP; or as ``re_axis``

    Notes
    -----
    At each angle off the axis the two polars are mixed in decibels by the squares of cosine and
    sine of the direction around the axis (common practice, no source). Where patterns are not
    separable this can be several decibels off between the planes.

    Sources
    -------
    Common practice, no source.
    """
    sides = [
        _both_sides("horizontal", horizontal_deg, horizontal_db),
        _both_sides("vertical", vertical_deg, vertical_db),
    ]
    forward, left, up = np.moveaxis(directions(), -1, 0)
    off = np.degrees(np.arccos(np.clip(forward, -1, 1)))
    around = np.arctan2(up, left)
    planes = []
    for (angle, level), side in zip(sides, (np.sign(left), np.sign(up)), strict=True):
        signed = off * np.where(side < -1e-9, -1, 1)
        planes.append(
            np.stack(
                [np.interp(signed, angle, level[:, b]) for b in range(level.shape[1])], axis=-1
            )
        )
    share = (np.cos(around) ** 2)[..., None]
    balloon = share * planes[0] + (1 - share) * planes[1]
    front = balloon[int(np.argmax(forward[:, forward.shape[1] // 2])), forward.shape[1] // 2]
    return re_axis(balloon, front)


def rear_assumed(plane, angle_deg):
    """What is assumed behind a polar that does not reach all round.

    Parameters
    ----------
    plane : str
        "horizontal" or "vertical"
    angle_deg : array
        As for ``from_polars`` (angle,) [deg]

    Returns
    -------
    words : tuple of str
        Empty where the polar closes within WIDEST_STEP
    """
    first, last = float(angle_deg[0]), float(angle_deg[-1])
    first = -last if first > -1e-6 else first
    if 360 - (last - first) <= WIDEST_STEP + 1e-6:
        return ()
    return (f"{plane}: not measured behind {first:g} and {last:g}°, a straight line in dB between",)


def _both_sides(plane, angle_deg, level_db):
    """A polar over the whole circle, level re its value at 0."""
    angle, level = np.asarray(angle_deg, float), np.asarray(level_db, float)
    if not (np.diff(angle) > 0).all():
        raise ValueError(f"{plane}: angles must increase from row to row.")
    if angle[0] > -1e-6:
        angle, level = np.concatenate([-angle[:0:-1], angle]), np.concatenate([level[:0:-1], level])
    if not (angle[0] <= -90 and angle[-1] >= 90 and (np.abs(angle) < 1e-6).any()):
        raise ValueError(
            f"{plane}: angles reach from {angle[0]:g} to {angle[-1]:g}°. They must hold 0 and reach"
            " at least -90 to 90."
        )
    steps = np.diff(angle)
    if steps.max() > WIDEST_STEP + 1e-6:
        at = int(steps.argmax())
        raise ValueError(
            f"{plane}: no angle was measured between {angle[at]:g} and {angle[at + 1]:g}°. Give one"
            f" every {WIDEST_STEP:g}° at least. Is a row missing?"
        )
    level = level - level[int(np.abs(angle).argmin())]
    if angle[-1] - angle[0] < 360 - 1e-6:  # a circle: each end goes on where the other begins
        angle, level = (
            np.concatenate([angle[-1:] - 360, angle, angle[:1] + 360]),
            np.concatenate([level[-1:], level, level[:1]]),
        )
    return angle, level


def _said(vector):
    azimuth = np.degrees(np.arctan2(vector[1], vector[0]))
    return (
        f"azimuth {azimuth:.0f}°, elevation {np.degrees(np.arcsin(np.clip(vector[2], -1, 1))):.0f}°"
    )
