"""One installation, many uses: groups that are switched and shared, and what it does to margin."""

import numpy as np

from ...acoustics.evaluate import evaluate
from ...venue.paths import changed
from ..exercises import Exercise, Problem, Slip, Step

SIGN = "Plus or minus? Ask whether that group was nearer to the microphone or to the listeners."


def play(school, use, group, gain_db, delay_ms=None, plays=True):
    """A use with one group set otherwise.

    Parameters
    ----------
    school : Scenario
        The gym
    use, group : str
        Names
    gain_db : float
        Of the group [dB]
    delay_ms : float, optional
        Of the group; as the use has it when left out [ms]
    plays : bool
        Whether it plays at all

    Returns
    -------
    result : Result
        Of few rays: enough to compare
    """
    now = school.use(use).group_setting(group)
    setting = {
        "gain_db": float(gain_db),
        "delay_ms": now.delay_ms if delay_ms is None else float(delay_ms),
        "on": bool(plays),
    }
    paths = {("uses", use, "groups", group, key): value for key, value in setting.items()}
    return evaluate(changed(school, paths), use, rays="few", follow_echoes=False)


def margin_db(result):
    """Smallest feedback margin of the open microphones.

    Parameters
    ----------
    result : Result
        An evaluation

    Returns
    -------
    margin : float
        Negative where one may ring [dB]

    Raises
    ------
    ValueError
        No microphone is open
    """
    if not result.microphones:
        raise ValueError(f"no microphone is open in '{result.use.name}'. Choose another use.")
    return min(float(one.margin_db.min()) for one in result.microphones)


def apart_db(result):
    """How far the mean levels of the areas that listen lie apart.

    Parameters
    ----------
    result : Result
        An evaluation

    Returns
    -------
    apart : float
        Direct sound, loudest less quietest area [dB]
    """
    return float(np.ptp([area.mean_db for area in result.areas]))


def switched(school, use, pick=0.0, group=None, by_db=None):
    """What the feedback margin gains when a group is turned down or off.

    Parameters
    ----------
    school : Scenario
        The gym
    use : str
        Name of the use, the same in every drawing
    pick : float
        Which of the groups that play, 0 to 1, where ``group`` is left out [-]
    group : str, optional
        Name of the group
    by_db : float, optional
        By how much its gain changes; it is switched off when left out [dB]

    Returns
    -------
    problem : Problem
        In decibels, positive where the margin grows

    Raises
    ------
    ValueError
        Fewer than two groups play
    """
    playing = [g.name for g in school.groups if school.use(use).group_setting(g.name).on]
    if len(playing) < 2:
        raise ValueError(f"fewer than two groups play in '{use}'. Choose another use.")
    group = group or playing[min(int(pick * len(playing)), len(playing) - 1)]
    now = school.use(use).group_setting(group).gain_db
    before = margin_db(play(school, use, group, now))
    after = margin_db(play(school, use, group, now + (by_db or 0.0), plays=by_db is not None))
    gained = after - before
    done = "switched off" if by_db is None else f"changed by {by_db:+g} dB"
    return Problem(
        words=(
            f"In the use '{use}', the group '{group}' is {done}. The volume is set again, so the"
            " listeners keep their mean level. By how much does the smallest feedback margin of the"
            " microphones grow (plus) or shrink (minus)?"
        ),
        unit="dB",
        answer=gained,
        near=0.3,
        low=-40,
        high=40,
        hint=(
            "First decide plus or minus: was that group nearer to the microphone or to the"
            " listeners? Most answers in a gym stay within a few decibels."
        ),
        slips=(
            *(Slip(times * gained, SIGN) for times in (-1, -2, -4)),
            Slip(
                0.0,
                "The group reaches the microphone, and the volume changes. The two cancel only by"
                " chance.",
            ),
        ),
        steps=(
            Step("Smallest feedback margin before", before, "dB"),
            Step("Smallest feedback margin after", after, "dB"),
            Step(f"The change: {after:.1f} − ({before:.1f})", gained, "dB"),
        ),
        note="Both margins are computed for this gym with the listeners at the same mean level.",
    )


def shared(kept_db=70.0, off_db=70.0, kept_back_db=55.0, off_back_db=60.0):
    """Change of the feedback margin, from the levels of two groups at two places.

    Parameters
    ----------
    kept_db, off_db : float
        At the listeners, of the group that goes on and of the one that is switched off [dB]
    kept_back_db, off_back_db : float
        The same at the microphone [dB]

    Returns
    -------
    problem : Problem
        In decibels, positive where the margin grows

    Raises
    ------
    ValueError
        The margin hardly changes
    """
    both = _sum_db(kept_db, off_db)
    back = _sum_db(kept_back_db, off_back_db)
    raised = both - kept_db
    gained = back - (kept_back_db + raised)
    if abs(gained) < 1:
        raise ValueError("the margin hardly changes.")
    return Problem(
        words=(
            f"Group A gives the listeners {kept_db:g} dB and the microphone {kept_back_db:g} dB."
            f" Group B gives the listeners {off_db:g} dB and the microphone {off_back_db:g} dB. B"
            " is switched off. A is turned up until the listeners have as much as before. By how"
            " much does the feedback margin grow (plus) or shrink (minus)?"
        ),
        unit="dB",
        answer=gained,
        near=0.4,
        low=-60,
        high=60,
        hint=(
            "Find by how much A is turned up: energies add. Then compare what returns to the"
            " microphone before and after."
        ),
        slips=(
            *(
                Slip(times * gained, "Plus or minus? Margin grows where less comes back.")
                for times in (-1, -2)
            ),
            Slip(back - kept_back_db, "That leaves A as it was. The listeners would lose level."),
            Slip(-raised, "That is only the gain of A. B no longer reaches the microphone."),
        ),
        steps=(
            Step("Both at the listeners", both, "dB"),
            Step(f"A is turned up by: {both:.1f} − {kept_db:g}", raised, "dB"),
            Step("Both at the microphone", back, "dB"),
            Step(f"The margin: {back:.1f} − ({kept_back_db:g} + {raised:.1f})", gained, "dB"),
        ),
        note="Levels here are sums of energies. Directions and octaves are left out.",
    )


def _sum_db(*levels):
    return float(10 * np.log10(np.sum(10 ** (np.array(levels) / 10))))


def _draw_shared(chance):
    listeners = [float(value) for value in chance.integers(64, 77, 2)]
    back = [float(value) for value in chance.integers(50, 67, 2)]
    return dict(
        kept_db=listeners[0], off_db=listeners[1], kept_back_db=back[0], off_back_db=back[1]
    )


EXERCISES = (
    Exercise(
        "uses.shared",
        "What does the margin gain when a group is off?",
        problem=shared,
        draw=_draw_shared,
        example=dict(kept_db=72.0, off_db=68.0, kept_back_db=57.0, off_back_db=62.0),
    ),
    Exercise(
        "uses.switched",
        "What does one group cost the margin of this gym?",
        problem=switched,
        draw=lambda chance: dict(
            pick=float(chance.random()),
            by_db=[None, -6.0, -3.0, 3.0, 6.0][int(chance.integers(5))],
        ),
        needs_gym=True,
    ),
)


def needed_margin_db(start, tried):
    """Feedback margin that an aim asks for.

    Parameters
    ----------
    start : Result
        Where the experiment begins
    tried : sequence of Result
        What can be set

    Returns
    -------
    needed : float
        0; where nothing that can be set is without ringing, as much as at the start [dB]
    """
    return 0.0 if any(margin_db(one) >= 0 for one in tried) else margin_db(start)
