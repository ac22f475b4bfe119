"""Intelligibility and the crowd: how loud speech must be, and where louder no longer helps."""

from functools import cached_property, lru_cache

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
FINE_DB = 2.0  # where it is asked what to do: one step off is hard to guess [dB]
ALMOST = 0.44  # STI that the best level of a drawing has at least [-]
TRIES = 200  # to find numbers for an answer [-]
STEP_DB = 3.0  # from one level of a table to the next
CLEAR_CUT = 0.004  # how far every level of a table is from the limit, so that rounding is no matter
CALMER_DB = 20.0  # a crowd in a pause, against the game: by judgment, no source [dB]
UP, LEAVE, DOWN, WAIT = "turn it up", "leave it", "turn it down", "wait for a pause"


def least(best):
    """Lowest STI that is as clear as the best one, and enough where the best one is.

    Parameters
    ----------
    best : float
        Best STI of those that are allowed [-]

    Returns
    -------
    least : float
        ``JUST_NOTICEABLE`` less, but no less than ``ENOUGH`` where the best one reaches that [-]
    """
    clear = best - JUST_NOTICEABLE
    return max(clear, ENOUGH) if best >= ENOUGH else clear


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
        The first whose STI is at least ``least`` of the best one [dB(A)]
    """
    good = np.asarray(sti) >= least(float(np.max(sti)))
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
        The quietest such level is the loudest or the quietest of the table, or near the limit; or
        it would be as clear as the best one and yet not enough for announcements
    """
    levels, sti = _table(crowd_dba, rt_s, direct_db, most_dba)
    best, answer = _clear_cut(levels, sti)
    limit = round(best - JUST_NOTICEABLE, 3)
    if not levels[0] < answer < levels[-1] or answer == levels[sti.argmax()]:
        raise ValueError("no level below the best one is as clear as it.")
    return Problem(
        words=(
            f"Levels in dB(A). Over a crowd of {crowd_dba:g}, one seat gets this STI:"
            f" {_read(levels, sti)}. No seat may get more than {most_dba:g}. Nobody notices a"
            f" difference of up to {JUST_NOTICEABLE:g} in STI. Which of these levels is the"
            " quietest that is as clear as the best one?"
        ),
        unit="dB(A)",
        answer=answer,
        near=1.0,
        low=0,
        high=200,
        digits=0,
        hint=(
            f"Find the best STI first. Take {JUST_NOTICEABLE:g} off, which is just noticed. Look"
            " for the first level that reaches what is left."
        ),
        slips=_not_quietest(levels, sti),
        steps=(
            Step("Best STI of the row", best, "", 3),
            Step(f"As clear to everybody, down to: {best:.3f} - {JUST_NOTICEABLE:g}", limit, "", 3),
            Step("First level of the row that reaches that", answer, "dB(A)", 0),
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


def what_to_do(crowd_dba=75.0, now_dba=95.0, rt_s=1.1, direct_db=2.0, most_dba=99.0):
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
        A level is so near a limit that rounding decides, ``now_dba`` is no level of the table, or
        no level would do in a pause either
    """
    levels, sti = _table(crowd_dba, rt_s, direct_db, most_dba, FINE_DB)
    best, right = _clear_cut(levels, sti)
    if now_dba not in levels:
        raise ValueError(f"{now_dba:g} dB(A) is none of these levels.")
    answer = _case(best, right, now_dba)
    if answer == WAIT:
        _see_that_a_pause_helps(crowd_dba, rt_s, direct_db, most_dba)
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
            f" {ENOUGH:g}. Nobody notices a difference of up to {JUST_NOTICEABLE:g}, and no level"
            " should be louder than it must be. What do you do?"
        ),
        answer=answer,
        choices=(UP, LEAVE, DOWN, WAIT),
        hint="Ask first whether any level is clear enough. Then look for the quietest of the best.",
        slips=tuple(Slip(name, words) for name, words in slips.items() if name != answer),
        steps=_what_steps(best, right, now_dba),
        note=(
            "No level is clear enough: the message waits for a pause, or goes up in writing."
            if answer == WAIT
            else "A level is clear enough: take the quietest that is as clear as the best one."
        ),
    )


def _case(best, right_dba, now_dba):
    """What to do with the level now, where the quietest that is as clear as the best is known."""
    if best < ENOUGH:
        return WAIT
    return UP if now_dba < right_dba else DOWN if now_dba > right_dba else LEAVE


def _what_steps(best, right_dba, now_dba):
    """How it is worked what to do: is any level enough, and which is the quietest then."""
    first = (
        Step("Best STI of the row", best, "", 3),
        Step(f"More than announcements need: {best:.3f} - {ENOUGH:g}", best - ENOUGH, "", 3),
    )
    if best < ENOUGH:
        return first
    limit = round(best - JUST_NOTICEABLE, 3)
    return (
        *first,
        Step(f"As clear to everybody, down to: {best:.3f} - {JUST_NOTICEABLE:g}", limit, "", 3),
        Step("First level of the row that reaches that", right_dba, "dB(A)", 0),
        Step(f"From now to that: {right_dba:g} - {now_dba:g}", right_dba - now_dba, "dB", 0),
    )


def _clear_cut(levels, sti):
    """Best STI of a table and its quietest level that is as clear; refused where both rules differ.

    As clear as the best one, and enough for announcements, must be the same level; and no level may
    be so near a limit that rounding decides.
    """
    best = float(sti.max())
    if ENOUGH <= best < ENOUGH + JUST_NOTICEABLE + CLEAR_CUT:
        raise ValueError("a level that is as clear as the best one is not enough.")
    if min(np.abs(sti - (best - JUST_NOTICEABLE)).min(), abs(best - ENOUGH)) < CLEAR_CUT:
        raise ValueError("one level is so near a limit that rounding decides.")
    return best, quietest(levels, sti)


def _see_that_a_pause_helps(crowd_dba, rt_s, direct_db, most_dba):
    """Refuse a gym that would not be clear in a pause either: then waiting is no cure."""
    if _table(crowd_dba - CALMER_DB, rt_s, direct_db, most_dba)[1].max() < ENOUGH:
        raise ValueError("no level would be clear enough in a pause either.")


@lru_cache(maxsize=4096)
def _row(crowd_dba, rt_s, direct_db, most_dba, step_db):
    levels = most_dba - step_db * np.arange(9.0, -1.0, -1.0)
    room = dict(rt=rt_s, direct_db=direct_db, noise_dba=crowd_dba)
    return levels, np.array([round(sti_of(level, **room), 3) for level in levels])


def _table(crowd_dba, rt_s, direct_db, most_dba, step_db=STEP_DB):
    """Levels up to the loudest that is allowed, and the STI at each, rounded as it is shown."""
    return tuple(column.copy() for column in _row(crowd_dba, rt_s, direct_db, most_dba, step_db))


def _read(levels, sti):
    return ", ".join(f"{value:.3f} at {level:g}" for level, value in zip(levels, sti, strict=True))


def _draw(chance):
    return dict(
        crowd_dba=float(chance.integers(55, 79)),
        rt_s=float(chance.integers(10, 26)) / 10,
        direct_db=float(chance.integers(-2, 7)),
        most_dba=float(chance.integers(95, 101)),
    )


def _draw_what(chance):
    """The answer first, then numbers for it: so all four come up alike often, over the same crowds.

    How loud a crowd is does not tell the answer, nor what is allowed; the row of STI does.
    """
    answer = (UP, LEAVE, DOWN, WAIT)[chance.integers(4)]
    crowd = float(chance.integers(78, 89))
    for _ in range(TRIES):
        room = dict(
            crowd_dba=crowd,
            rt_s=float(chance.integers(5, 25)) / 10,
            direct_db=float(chance.integers(-1, 11)),
            most_dba=float(chance.integers(82, 103)),
        )
        # farther off, what speech has over the crowd alone would tell the answer
        off = {UP: -1, DOWN: 1, WAIT: -int(chance.integers(0, 2))}.get(answer, 0)
        try:
            best, right = _clear_cut(*_table(**room, step_db=FINE_DB))
            now = right + FINE_DB * off
            if best > ALMOST and what_to_do(now_dba=now, **room).answer == answer:
                return room | dict(now_dba=now)
        except ValueError:
            continue
    raise ValueError(f"no numbers for '{answer}' over {crowd:g} dB(A).")


EXERCISES = (
    Exercise(
        "crowd.quietest",
        "Which level is the quietest that is as clear as the best?",
        problem=as_clear,
        draw=_draw,
        example=dict(crowd_dba=70.0, rt_s=1.4, direct_db=2.0, most_dba=96.0),
    ),
    Exercise(
        "crowd.what",
        "Up, down, leave it, or wait?",
        problem=what_to_do,
        draw=_draw_what,
        example=dict(crowd_dba=75.0, now_dba=95.0, rt_s=1.1, direct_db=2.0, most_dba=99.0),
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
    def most_to_gain(self):
        """STI that turning up may still gain at a level that is as clear, and enough [-]."""
        return self.best - least(self.best)

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
