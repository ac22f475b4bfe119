"""A reading of the finished gym: kind, position, measured, expected, spread; always one width."""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

BANDS = slice(0, 7)  # the seven octaves of a reading
FEWEST = 3  # levels of a use, for anything to be said of their pattern
SINGLE = 7  # its single value: dB(A) of a level read in octaves, else the only value
WIDTH = 8


def in_octaves(values, single=np.nan):
    """A reading in octaves, at the width of all readings.

    Parameters
    ----------
    values : array
        Seven octaves (7,), NaN where one was not read [any]
    single : float
        The single value beside them, NaN when there is none [any]

    Returns
    -------
    values : ndarray
        Seven octaves and the single value (8,) [any]
    """
    return np.append(np.asarray(values, float), single)


def one_value(value):
    """A reading of one value, at the width of all readings.

    Parameters
    ----------
    value : float
        What was read [any]

    Returns
    -------
    values : ndarray
        NaN in the octaves, the value at their end (8,) [any]
    """
    return in_octaves(np.full(7, np.nan), value)


def nothing():
    """Values where nothing is known.

    Returns
    -------
    values : ndarray
        NaN throughout (8,) [any]
    """
    return np.full(WIDTH, np.nan)


@dataclass(frozen=True, kw_only=True)
class Deviation:
    """What it means when all readings of a kind in a use are off together."""

    unit: str  # of measured less expected, "" when it has none
    # sentence without its period: with {use}, {amount}, {count} {positions}, {more} or less,
    # {higher} or lower
    words: str

    def sentence(self, *, use, amount, digits, count):
        """The sentence for what was read.

        Parameters
        ----------
        use : str
            Name of the use
        amount : float
            Mean of measured less expected [``unit``]
        digits : int
            Decimals that are shown [-]
        count : int
            Readings [-]

        Returns
        -------
        words : str
            Without its period
        """
        return self.words.format(
            use=use,
            amount=f"{abs(amount):.{digits}f} {self.unit}".rstrip(),
            count=count,
            positions="position" if count == 1 else "positions",
            more="more" if amount > 0 else "less",
            higher="higher" if amount > 0 else "lower",
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class ReadingKind:
    """One kind of test: what it is called, how it is read, what it should give, who uses it."""

    key: str  # what its readings' keys begin with: one word or two
    label: str  # on screen
    unit: str
    shown_unit: str  # behind a reading that is shown as one number, "" when it needs none
    digits: int  # decimals of a value as it is shown
    octaves: bool  # read in seven octaves
    dba: bool = False  # read in octaves or, with less instrument, in dB(A)
    limits: tuple  # lowest and highest reading that can be meant [unit]
    slip: str  # the likely slip beyond them
    how: str  # instruction on the plan
    repeats: float = 0.0  # standard deviation of a reading taken again [unit]
    minutes: float  # that one reading takes, with the way to it
    set_up_minutes: float  # before the first reading of the kind
    expected: Callable  # (reading, conditions) -> (8,) [unit]
    spread: Callable  # (expected (8,)) -> standard deviation of measured less expected (8,) [unit]
    diagnosis: str  # key of the test in ``diagnosis.TESTS`` that uses it, "" when none does
    deviation: Deviation | None = None  # for the test "mean", and for no other

    def __post_init__(self):
        if (self.diagnosis == "mean") != (self.deviation is not None):
            raise ValueError(
                f"kind '{self.key}': the test 'mean' needs a deviation, and no other test has one."
            )


@dataclass(frozen=True)
class Position:
    """Where a reading is taken."""

    tag: str = ""  # on the plan
    words: str = ""  # for who looks for it
    point: tuple = ()  # x, y, z; empty where none is needed [m]
    index: int = -1  # among the points of the use's result, -1 when it is none of them
    # words and tag of entry sheets that were written before, read as well
    earlier: tuple = ()
    earlier_tag: str = ""


@dataclass(frozen=True, kw_only=True, eq=False)
class Reading:
    """One reading: planned, then expected, then measured; NaN where nothing is known yet."""

    key: str  # what the entry sheet knows it by
    earlier_key: str = ""  # what older entry sheets know it by
    kind: ReadingKind
    use: str = ""  # "" when it belongs to none
    subject: str = ""  # group, loudspeaker, microphone or source; "" when there is none
    # loudspeakers that sound, those of a channel or a group; empty: all of the use
    playing: tuple = ()
    against: tuple = ()  # loudspeakers that it is compared with; empty: the group that leads
    position: Position = Position()
    measured: np.ndarray = field(default_factory=nothing)  # seven octaves, single value (8,) [unit]
    expected: np.ndarray = field(default_factory=nothing)  # (8,) [unit]
    # standard deviation of measured less expected (8,) [unit]
    spread: np.ndarray = field(default_factory=nothing)

    @property
    def unit(self):
        """Unit of its values."""
        return self.kind.unit

    @property
    def others(self):
        """Loudspeakers that sound beside its subject, on the same channel (tuple of str)."""
        return tuple(tag for tag in self.playing if tag != self.subject)

    @property
    def is_measured(self):
        """Whether anything was read."""
        return bool(np.isfinite(self.measured).any())

    @property
    def is_expected(self):
        """Whether anything is predicted."""
        return bool(np.isfinite(self.expected).any())

    @property
    def difference(self):
        """Measured less expected, NaN where either is missing (8,) [unit]."""
        return self.measured - self.expected


def of_kind(readings, kind, use=None):
    """Readings of one kind.

    Parameters
    ----------
    readings : iterable of Reading
        From which they are taken
    kind : str
        Key of a ``ReadingKind``
    use : str, optional
        Of one use only

    Returns
    -------
    readings : list of Reading
        In order
    """
    return [r for r in readings if r.kind.key == kind and use in (None, r.use)]


def measured_of(readings, kind, use=None):
    """Readings of one kind that were measured and have an expectation.

    Parameters
    ----------
    readings : iterable of Reading
        From which they are taken
    kind : str
        Key of a ``ReadingKind``
    use : str, optional
        Of one use only

    Returns
    -------
    readings : list of Reading
        In order
    """
    return [r for r in of_kind(readings, kind, use) if r.is_measured and r.is_expected]
