"""Levels as they were read, and what loudspeakers or a room that differ from the design would make
of them.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ..physics import bands, intelligibility
from .readings import FEWEST

# two loudspeakers are never so alike that nothing is left of their energy    judgment [-]
LEAST_LEFT = 0.02
PINK = bands.to_energy(-intelligibility.SPEECH_SPECTRUM_DB)  # pink noise re speech (7,)


@dataclass(frozen=True, kw_only=True, eq=False)
class Levels:
    """Levels that were read with one setting of the volume, and what is predicted there."""

    use: str
    direct: np.ndarray  # (source, point, 7), energy
    late: np.ndarray  # (point, 7), energy
    share: np.ndarray  # of the late sound by the source that feeds it (source, point, 7)
    arrival: np.ndarray  # (source, point) [s]
    measured: np.ndarray  # (point, 8): octaves and dB(A), NaN where not read [dB]
    spread: np.ndarray  # (point, 8) [dB]
    expected: np.ndarray  # (point, 8) [dB]

    @cached_property
    def designed(self):
        """Energy as designed, without interference (point, 7)."""
        return self.direct.sum(axis=0) + self.late

    @cached_property
    def designed_with_interference(self):
        """Energy as designed, coherent where arrivals are together (point, 7)."""
        none = Fault.none(len(self.direct))
        return np.maximum(self.designed + interference(self, none), LEAST_LEFT * self.designed)

    @cached_property
    def alike(self):
        r"""How much of the energy of two loudspeakers interferes, mean over the octave: (source,
        source, point, 7) [-].

        .. math::
            \frac{\sin 2\pi f_2 \tau - \sin 2\pi f_1 \tau}{2\pi (f_2 - f_1) \tau}

        Sources
        -------
        Mean of the cosine of the phase between two equal signals over the band; worked by hand.
        """
        low, high = bands.EDGES.T
        tau = (self.arrival[:, None] - self.arrival[None])[..., None]  # (source, source, point, 1)
        return (high * np.sinc(2 * high * tau) - low * np.sinc(2 * low * tau)) / (high - low)


@dataclass(frozen=True, eq=False)
class Fault:
    """How loudspeakers and room differ from the design."""

    gains_db: np.ndarray  # (source, 7) [dB]
    reversed: np.ndarray  # polarity (source,), bool
    room_db: float = 0.0  # of the late sound [dB]

    @classmethod
    def none(cls, sources):
        """Nothing differs.

        Parameters
        ----------
        sources : int
            Loudspeakers [-]

        Returns
        -------
        fault : Fault
            All zero
        """
        return cls(np.zeros((sources, 7)), np.zeros(sources, bool))

    def louder(self, by_db, which):
        """Some loudspeakers louder than in this fault.

        Parameters
        ----------
        by_db : float or array
            In all octaves alike, or (7,) [dB]
        which : sequence of bool
            Of the loudspeakers

        Returns
        -------
        fault : Fault
            A new one
        """
        return replace(self, gains_db=self.gains_db + np.outer(which, np.full(7, 1.0) * by_db))

    def turned(self, which):
        """The polarity of some loudspeakers changed.

        Parameters
        ----------
        which : sequence of bool
            Of the loudspeakers

        Returns
        -------
        fault : Fault
            A new one
        """
        return replace(self, reversed=self.reversed ^ which)

    def livelier(self, by_db):
        """More reverberant sound.

        Parameters
        ----------
        by_db : float
            More of it [dB]

        Returns
        -------
        fault : Fault
            A new one
        """
        return replace(self, room_db=self.room_db + by_db)


# ---- from readings


def levels_of_uses(plan, readings, conditions):
    """Levels of each use: the volume is set once in a use.

    Parameters
    ----------
    plan : TestPlan
        The plan
    readings : sequence of Reading
        Levels, measured and expected
    conditions : Conditions
        What the expectations rest on

    Returns
    -------
    levels : list of Levels
        Of the uses in which any was read
    """
    found = []
    for use in plan.leads:
        of_use = [r for r in readings if r.use == use]
        if of_use:
            found.append(levels_of(of_use, conditions.results[use]))
    return found


def levels_of_loudspeakers(plan, readings, conditions):
    """Levels of channels alone: the volume is set once for all of them.

    Parameters
    ----------
    plan : TestPlan
        The plan
    readings : sequence of Reading
        Levels of loudspeakers alone, measured and expected
    conditions : Conditions
        What the expectations rest on

    Returns
    -------
    levels : list of Levels
        By the uses whose presets they were read in; ``joined``, they are one set
    """
    found = []
    for use in dict.fromkeys(r.use for r in readings):
        mine = [r for r in readings if r.use == use]
        tags = [c.tag for c in plan.scenario.loudspeakers]
        found.append(_levels_alone(mine, tags, conditions.results[use]))
    return found


def joined(levels, use=""):
    """Levels that were read with one setting of the volume in several presets.

    Parameters
    ----------
    levels : sequence of Levels
        One at least
    use : str
        What they are called together

    Returns
    -------
    levels : Levels
        Their points one after the other
    """
    along = dict(direct=1, late=0, share=1, arrival=1, measured=0, spread=0, expected=0)
    whole = {
        name: np.concatenate([getattr(one, name) for one in levels], axis=axis)
        for name, axis in along.items()
    }
    return Levels(use=use, **whole)


def levels_of(readings, result):
    """Levels of one use with all its loudspeakers.

    Parameters
    ----------
    readings : sequence of Reading
        Of that use
    result : Result
        The use as measured

    Returns
    -------
    levels : Levels
        In the order of the readings
    """
    return _gathered(readings, result, np.ones((len(result.scenario.loudspeakers), len(readings))))


def _levels_alone(readings, tags, result):
    """Levels of channels alone: some of the sources at each point, and their late sound."""
    sounding = [[tag in (r.playing or (r.subject,)) for r in readings] for tag in tags]
    return _gathered(readings, result, np.array(sounding, float))


def _gathered(readings, result, sounding):
    """Levels of some readings; which sources sound in each (source, point)."""
    index = [r.position.index for r in readings]
    late = result.reverberant.by_source(result.points[index]) * sounding[..., None]
    return Levels(
        use=result.use.name,
        direct=result.direct[:, index].astype(float) * PINK * sounding[..., None],
        late=late.sum(axis=0) * PINK,
        share=late / np.maximum(late.sum(axis=0), 1e-30),
        arrival=result.arrival_s[:, index],
        measured=np.array([r.measured for r in readings]),
        spread=np.array([r.spread for r in readings]),
        expected=np.array([r.expected for r in readings]),
    )


# ---- what a fault changes


def changes(one, fault):
    """By how much levels change with a fault.

    Parameters
    ----------
    one : Levels
        As designed
    fault : Fault
        What differs

    Returns
    -------
    changes : ndarray
        Octaves and dB(A) (point, 8) [dB]
    """
    return changes_of(one, [fault])[0]


def changes_of(one, faults):
    """By how much levels change with each of several faults.

    Parameters
    ----------
    one : Levels
        As designed
    faults : sequence of Fault
        What differs, one after the other

    Returns
    -------
    changes : ndarray
        Octaves and dB(A) (fault, point, 8) [dB]
    """
    gains = bands.to_energy(np.array([f.gains_db for f in faults]))  # (fault, source, 7)
    rooms = bands.to_energy(np.array([f.room_db for f in faults]))
    late = np.einsum("fsb,spb->fpb", gains, one.late * one.share, optimize=True)
    now = np.einsum("fsb,spb->fpb", gains, one.direct, optimize=True)
    now += late * rooms[:, None, None]
    was = np.broadcast_to(one.designed, now.shape).copy()
    for k, fault in enumerate(faults):
        if fault.reversed.any():
            was[k] = one.designed_with_interference
            now[k] = np.maximum(now[k] + interference(one, fault), LEAST_LEFT * one.designed)
    octaves = 10 * np.log10(now / was)
    weight = bands.to_energy(bands.A_WEIGHTING)
    dba = 10 * np.log10((now * weight).sum(axis=-1) / (was * weight).sum(axis=-1))
    return np.concatenate([octaves, dba[..., None]], axis=-1)


def interference(one, fault):
    """What loudspeakers that play the same add to, or take from, the sum of their energies.

    Parameters
    ----------
    one : Levels
        As designed
    fault : Fault
        What differs

    Returns
    -------
    energy : ndarray
        Twice the root of the energies of every two, as far as they are alike over the octave
        (point, 7) [as ``Levels.direct``]
    """
    sign = np.where(fault.reversed, -1.0, 1.0)
    amplitude = np.sqrt(one.direct) * (sign[:, None] * 10 ** (fault.gains_db / 20))[:, None, :]
    both = np.einsum("apb,cpb,acpb->pb", amplitude, amplitude, one.alike, optimize=True)
    return both - (amplitude**2).sum(axis=0)  # each with itself is alike throughout


def misfits(levels, faults):
    """Squared deviations in variances, the volume of each use and octave left free.

    Parameters
    ----------
    levels : sequence of Levels
        As read
    faults : sequence of Fault
        Each of them taken as given

    Returns
    -------
    misfits : ndarray
        (fault,) [-]
    """
    whole = np.zeros(len(faults))
    for one in levels:
        read = one.measured - one.expected
        weight = np.where(np.isfinite(read), 1 / one.spread**2, 0.0)
        off = read - changes_of(one, faults)
        off = np.where(weight > 0, off, 0.0)
        mean = (weight * off).sum(axis=1) / np.maximum(weight.sum(axis=0), 1e-30)
        whole += (weight * (off - mean[:, None]) ** 2).sum(axis=(1, 2))
    return whole


def level_changes(readings, result, gains_db, room_db=0.0):
    """What levels of a use change by when loudspeakers or the room differ from the design.

    Parameters
    ----------
    readings : sequence of Reading
        Levels of one use, three at least
    result : Result
        The use as measured
    gains_db : array
        Of every loudspeaker of the scenario, 0 as designed: (source,), or octave by octave
        (source, 7) [dB]
    room_db : float
        Of the late sound [dB]

    Returns
    -------
    changes : dict
        (8,) by the key of a reading: seven octaves and dB(A) [dB]

    Raises
    ------
    ValueError
        There are fewer than three readings
    """
    if len(readings) < FEWEST:
        raise ValueError(
            f"use '{result.use.name}': {len(readings)} levels are too few. Read {FEWEST} at least."
        )
    gains_db = np.asarray(gains_db, float)
    if gains_db.ndim == 1:
        gains_db = np.repeat(gains_db[:, None], 7, axis=1)
    fault = Fault(gains_db, np.zeros(len(gains_db), bool), float(room_db))
    found = changes(levels_of(readings, result), fault)
    return dict(zip([r.key for r in readings], found, strict=True))
