"""Intelligibility and the crowd: how loud speech must be, and where louder no longer helps."""

from functools import cached_property

import numpy as np

from ...acoustics.evaluate import evaluate
from ...physics import intelligibility
from ...venue.paths import changed
from ..exercises import Exercise, Problem, Slip, Step
from ..sounds import sti_of

# difference of STI that is just noticed: Bradley, Reich and Norcross, J. Acoust. Soc. Am. 106
# (1999) 3275
JUST_NOTICEABLE = 0.03
ENOUGH = 0.5  # STI for announcements: IEC 60268-16:2020, annex G, voice alarm
STEP_DB = 3.0  # from one level of a table to the next
CLEAR_CUT = 0.004  # how far every level of a table is from the limit, so that rounding is no matter
UP, LEAVE, DOWN, WAIT = "turn it up", "leave it", "turn it down", "wait for a pause"


def quietest(levels_dba, sti):
    """The quietest level that is as clear as the best one, as far as anyone notices.

    Parameters
    ----------
    levels_dba : array
        From quiet to loud (level,) [dB(A)]
    sti : array
        At each of them (level,) [-]

    Returns
    -------
    level : float
        The first whose STI is within ``JUST_NOTICEABLE`` of the best one [dB(A)]
    """
    good = np.asarray(sti) >= np.max(sti) - JUST_NOTICEABLE
    return float(np.asarray(levels_dba)[np.argmax(good)])


def as_clear(crowd_dba=75.0, rt_s=1.5, direct_db=0.0, most_dba=97.0):
    """Which level is the quietest that is as clear as the best one.

    Parameters
    ----------
    crowd_dba : float
        Noise of the crowd at the seat [dB(A)]
    rt_s : float
        Reverberation time [s]
    direct_db : float
        Direct sound over the room's own [dB]
    most_dba : float
        The loudest level that is allowed [dB(A)]

    Returns
    -------
    problem : Problem
        In dB(A)

    Raises
    ------
    ValueError
        The quietest such level is the loudest or the quietest of the table, or near the limit
    """
    levels, sti = _table(crowd_dba, rt_s, direct_db, most_dba)
    best, answer = float(sti.max()), quietest(levels, sti)
    limit = best - JUST_NOTICEABLE
    if np.abs(sti - limit).min() < CLEAR_CUT:
        raise ValueError("one level is so near the limit that rounding decides.")
    if not levels[0] < answer < levels[-1] or answer == levels[sti.argmax()]:
        raise ValueError("no level below the best one is as clear as it.")
    return Problem(
        words=(
            f"Levels in dB(A). Over a crowd of {crowd_dba:g}, one seat gets this STI:"
            f" {_read(levels, sti)}. No seat may get more than {most_dba:g}. Which of these levels"
            " is the quietest that is as clear as the best one, as far as anyone notices?"
        ),
        unit="dB(A)",
        answer=answer,
        near=1.0,
        low=0,
        high=200,
        digits=0,
        hint=(
            f"Differences of {JUST_NOTICEABLE:g} in STI are just noticed. Find the best STI first,"
            " then take that much off."
        ),
        slips=_not_quietest(levels, sti),
        steps=(
            Step("Best STI of the row", best, "", 3),
            Step(f"Nobody notices down to {best:.3f} - {JUST_NOTICEABLE:g}", limit, "", 3),
            Step("First level that reaches that", answer, "dB(A)", 0),
        ),
        note="Every decibel less is less loud in the ear and farther from feedback.",
    )


def _not_quietest(levels, sti):
    """Levels that are taken for the quietest one that is clear enough."""
    found = (
        (
            levels[-1],
            "That is as loud as allowed. Louder is not always clearer, and it costs ears and"
            " feedback margin.",
        ),
        (
            levels[sti.argmax()],
            "That is where the STI is highest. A quieter level differs by less than anyone"
            " notices.",
        ),
        (levels[0], "That is the quietest of all. The crowd covers too much of it."),
    )
    return tuple(Slip(float(level), words, near=1.0) for level, words in found)


def what_to_do(crowd_dba=95.0, now_dba=91.0, rt_s=1.5, direct_db=0.0, most_dba=97.0):
    """What to do with the level over a crowd.

    Parameters
    ----------
    crowd_dba : float
        Noise of the crowd at the seat [dB(A)]
    now_dba : float
        Level of speech now, one of the table's [dB(A)]
    rt_s : float
        Reverberation time [s]
    direct_db : float
        Direct sound over the room's own [dB]
    most_dba : float
        The loudest level that is allowed [dB(A)]

    Returns
    -------
    problem : Problem
        One of four answers

    Raises
    ------
    ValueError
        A level is so near a limit that rounding decides, or ``now_dba`` is no level of the table
    """
    levels, sti = _table(crowd_dba, rt_s, direct_db, most_dba)
    best, right = float(sti.max()), quietest(levels, sti)
    limit = best - JUST_NOTICEABLE
    if min(np.abs(sti - limit).min(), abs(best - ENOUGH)) < CLEAR_CUT or now_dba not in levels:
        raise ValueError("a level is so near a limit that rounding decides, or none of these.")
    answer = (
        WAIT if best < ENOUGH else UP if now_dba < right else DOWN if now_dba > right else LEAVE
    )
    slips = {
        UP: "Louder is not always clearer. Look at what the loudest levels of the row reach.",
        LEAVE: "Compare the STI at this level with the best one, and with the quieter levels.",
        DOWN: "Less level costs words where the crowd is what disturbs. Read the row again.",
        WAIT: "One of these levels reaches what announcements need. Then nobody has to wait.",
    }
    return Problem(
        words=(
            f"Levels in dB(A). The crowd makes {crowd_dba:g}; speech has {now_dba:g} now. One seat"
            f" gets this STI: {_read(levels, sti)}. More is not allowed. Announcements need"
            f" {ENOUGH:g}. What do you do?"
        ),
        answer=answer,
        choices=(UP, LEAVE, DOWN, WAIT),
        hint="Ask first whether any level is clear enough. Then look for the quietest of the best.",
        slips=tuple(Slip(name, words) for name, words in slips.items() if name != answer),
        steps=(
            Step("Best STI of the row", best, "", 3),
            Step("Quietest level within what is just noticed of it", right, "dB(A)", 0),
        ),
        note=(
            "No level is clear enough: the message waits for a pause, or goes up in writing."
            if answer == WAIT
            else "A level is clear enough: take the quietest that is as clear as the best one."
        ),
    )


def _table(crowd_dba, rt_s, direct_db, most_dba):
    """Levels up to the loudest that is allowed, and the STI at each, rounded as it is shown."""
    levels = np.arange(most_dba - 9 * STEP_DB, most_dba + 1, STEP_DB)
    room = dict(rt=rt_s, direct_db=direct_db, noise_dba=crowd_dba)
    return levels, np.array([round(sti_of(level, **room), 3) for level in levels])


def _read(levels, sti):
    return ", ".join(f"{value:.3f} at {level:g}" for level, value in zip(levels, sti, strict=True))


def _draw(chance, crowd_dba):
    return dict(
        crowd_dba=crowd_dba,
        rt_s=float(chance.integers(10, 26)) / 10,
        direct_db=float(chance.integers(-2, 7)),
        most_dba=float(chance.integers(95, 101)),
    )


def _draw_what(chance):
    game = chance.random() < 0.4  # of a game: 92 to 98 dB(A) were measured
    crowd = float(chance.integers(92, 99) if game else chance.integers(60, 78))
    drawn = _draw(chance, crowd)
    return drawn | dict(now_dba=drawn["most_dba"] - STEP_DB * float(chance.integers(0, 8)))


EXERCISES = (
    Exercise(
        "crowd.quietest",
        "Which level is the quietest that is as clear as the best?",
        problem=as_clear,
        draw=lambda chance: _draw(chance, float(chance.integers(55, 79))),
        example=dict(crowd_dba=70.0, rt_s=1.4, direct_db=2.0, most_dba=96.0),
    ),
    Exercise(
        "crowd.what",
        "Up, down, leave it, or wait?",
        problem=what_to_do,
        draw=_draw_what,
        example=dict(crowd_dba=95.0, now_dba=90.0, rt_s=1.6, direct_db=1.0, most_dba=96.0),
    ),
)


class Levels:
    """A gym with a crowd, and what 9 of 10 seats get at any level of speech.

    Parameters
    ----------
    school : Scenario
        With its loudspeakers
    use : str
        Name of a use
    crowd_dba : float
        Noise at the listeners, with the use's spectrum [dB(A)]
    """

    def __init__(self, school, use, crowd_dba):
        noise = {("uses", use, "noise_dba"): float(crowd_dba), ("uses", use, "noise_db"): None}
        self.school, self.use, self.crowd_dba = changed(school, noise), use, crowd_dba

    @cached_property
    def result(self):
        """At the level of the use (Result), its room traced with few rays."""
        return evaluate(self.school, self.use, rays="few")

    @cached_property
    def seats(self):
        """Indices of the audience's seats (seat,)."""
        return np.concatenate([np.arange(a.points.start, a.points.stop) for a in self.result.areas])

    @cached_property
    def mean_dba(self):
        """Mean level of speech over the areas, as it was evaluated [dB(A)]."""
        return float(self.result.use.target_dba)

    @cached_property
    def highest_dba(self):
        """Mean level at which the loudest seat gets the most that the school allows [dB(A)]."""
        over = self.result.speech_dba[self.seats].max() - self.mean_dba
        return float(np.floor(self.school.targets.loudest_dba - over))

    def at(self, level_dba):
        """STI that 9 of 10 seats reach: the same gym, speech turned up or down.

        Parameters
        ----------
        level_dba : float
            Mean level of speech over the areas [dB(A)]

        Returns
        -------
        sti : float
            10th percentile over the seats [-]
        """
        return self.ninety(self.of_seats(level_dba))

    def ninety(self, sti):
        """STI that 9 of 10 seats reach.

        Parameters
        ----------
        sti : array
            Of ``of_seats`` (point,) [-]

        Returns
        -------
        sti : float
            10th percentile over the audience's seats [-]
        """
        return float(np.percentile(sti[self.seats], 10))

    def of_seats(self, level_dba):
        """STI at every point.

        Parameters
        ----------
        level_dba : float
            Mean level of speech over the areas [dB(A)]

        Returns
        -------
        sti : ndarray
            (point,) [-]
        """
        r, more = self.result, level_dba - self.mean_dba
        heard = intelligibility.audible(r.total_db + more, r.noise_db)
        index = r.reverberant.mean_index(r.direct, r.arrival_s, r.points, heard)
        return intelligibility.from_transmission_index(index)

    @cached_property
    def curve(self):
        """Levels from quiet to the highest (level,) [dB(A)], and the STI at each (level,) [-]."""
        levels = np.arange(self.highest_dba - 34, self.highest_dba + 0.5)
        return levels, np.array([self.at(level) for level in levels])

    @property
    def quietest_dba(self):
        """Quietest level that is as clear as the best one, as far as anyone notices [dB(A)]."""
        return quietest(*self.curve)

    @property
    def best(self):
        """Best STI that 9 of 10 seats reach at any level that is allowed [-]."""
        return float(self.curve[1].max())

    def to_gain(self, level_dba, sti):
        """STI still to be gained by turning up.

        Parameters
        ----------
        level_dba : float
            Mean level of speech over the areas [dB(A)]
        sti : float
            What 9 of 10 seats reach at it [-]

        Returns
        -------
        gain : float
            Less 0 past the best level: what was lost by turning up too far [-]
        """
        levels, of_levels = self.curve
        past = level_dba > levels[of_levels.argmax()]
        return sti - self.best if past else self.best - sti
