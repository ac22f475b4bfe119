"""One installation, many uses: groups that are switched and shared, and what it does to margin."""

import numpy as np

from ...acoustics.evaluate import evaluate
from ...acoustics.feedback import FACINGS
from ...physics.bands import NOMINAL
from ...physics.microphones import random_efficiency
from ...venue.paths import changed
from ..exercises import Exercise, Problem, Slip, Step

NEAR_DB = 0.25  # how far off the change in a gym may be [dB]
CHANGES_DB = tuple(float(db) for db in (*range(-12, -3), *range(4, 13)))  # that are drawn [dB]
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


def heard_dba(result):
    """Mean level of the listeners, each area with its weight.

    Parameters
    ----------
    result : Result
        An evaluation

    Returns
    -------
    level : float
        Of energies, direct and room sound [dB(A)]
    """
    energy = [(10 ** (result.speech_dba[area.points] / 10)).mean() for area in result.areas]
    return float(10 * np.log10(np.average(energy, weights=[a.weight for a in result.areas])))


def returned_db(result, microphone, band):
    """What comes back to a microphone, through its pattern, in one octave.

    Parameters
    ----------
    result : Result
        An evaluation
    microphone : FeedbackMargin
        Of an evaluation of the same gym: the microphone, its positions and the worst of them
    band : int
        Of the seven octaves [-]

    Returns
    -------
    level : float
        Direct and room sound; the worst way where its facing is not given [dB]
    """
    kind, known = microphone.microphone.kind, microphone.microphone.facing_deg
    position = microphone.positions[microphone.worst][None]
    direct, way = result.sources.direct(position, result.configuration.room.screens)
    toward = ((result.sources.position[:, None] - position) / way[..., None])[:, 0]
    facing = np.radians(FACINGS if known is None else [known])
    up, a = np.radians(kind.up_deg), kind.pattern[band]
    axis = np.stack(
        [-np.cos(facing) * np.cos(up), -np.sin(facing) * np.cos(up), 0 * facing + np.sin(up)]
    )
    beams = (direct[:, 0, band, None] * (a + (1 - a) * (toward @ axis)) ** 2).sum(axis=0)
    room = result.reverberant.at(position)[0, band] * random_efficiency(a)
    return float(10 * np.log10(beams.max() + room))


def group_levels(school, use):
    """What each group that plays gives the listeners and the weakest microphone, as the use has it.

    Parameters
    ----------
    school : Scenario
        The gym
    use : str
        Name of the use

    Returns
    -------
    levels : dict
        (at the listeners [dB(A)], at the microphone [dB]) by group, to a tenth
    microphone : str
        Name of the microphone with the smallest feedback margin
    octave : int
        In which it would ring first [Hz]

    Raises
    ------
    ValueError
        No microphone is open
    """
    names = [g.name for g in school.groups if school.use(use).group_setting(g.name).on]
    whole = evaluate(school, use, rays="few", follow_echoes=False)
    margin_db(whole)
    weakest = min(whole.microphones, key=lambda one: float(one.margin_db.min()))
    band = int(weakest.band[weakest.worst])
    owner = np.array([one.group for one in school.loudspeakers], object)
    levels = {}
    for name in names:
        paths = {("uses", use, "groups", other, "on"): other == name for other in names}
        alone = evaluate(changed(school, paths), use, rays="few", follow_echoes=False)
        own = owner == name
        # alone it is turned up to the target: by so much it is softer in the use
        up = 10 * np.log10(alone.direct[own].sum() / whole.direct[own].sum())
        found = heard_dba(alone) - up, returned_db(alone, weakest, band) - up
        levels[name] = tuple(round(float(level), 1) for level in found)
    return levels, weakest.microphone.name, int(NOMINAL[band])


def switched(school, use, pick=0.0, group=None, by_db=None):
    """What the feedback margin gains when a group is turned down or off: by hand, from levels.

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
        Fewer than two groups play, or the margin hardly changes
    """
    playing = [g.name for g in school.groups if school.use(use).group_setting(g.name).on]
    if len(playing) < 2:
        raise ValueError(f"fewer than two groups play in '{use}'. Choose another use.")
    group = group or playing[min(int(pick * len(playing)), len(playing) - 1)]
    levels, microphone, octave = group_levels(school, use)
    settings = {name: at for name, at in levels.items() if by_db is not None or name != group}
    if by_db is not None:
        settings[group] = tuple(round(level + by_db, 1) for level in levels[group])
    answer, steps = _worked(levels, settings)
    if abs(answer) < 2 * NEAR_DB:
        raise ValueError("the margin hardly changes.")
    done = "switched off" if by_db is None else f"changed by {by_db:+g} dB"
    table = "; ".join(f"'{name}' {at[0]:.1f} and {at[1]:.1f} dB" for name, at in levels.items())
    return Problem(
        words=(
            f"In the use '{use}', each group gives the listeners, and the microphone '{microphone}'"
            f" around {octave:g} Hz: {table}. Then the group '{group}' is {done}. The volume is set"
            " again, so the listeners keep their mean level. By how much does the feedback margin"
            " grow (plus) or shrink (minus)?"
        ),
        unit="dB",
        answer=answer,
        near=NEAR_DB,
        low=-60,
        high=60,
        hint=(
            "First decide plus or minus: was that group nearer to the microphone or to the"
            " listeners? Then add energies at both places, before and after."
        ),
        slips=(
            Slip(-answer, SIGN, abs(answer) / 2, beyond=True),
            Slip(
                0.0,
                "The group reaches the microphone, and the volume changes. The two cancel only by"
                " chance.",
            ),
        ),
        steps=steps,
        note=_in_full(school, use, group, by_db),
    )


def _worked(before, after):
    """Change of the margin between two sets of levels, and its steps."""
    (here, there), (here_2, there_2) = (
        [_sum_db(*(at[place] for at in levels.values())) for place in (0, 1)]
        for levels in (before, after)
    )
    shown = [round(level, 2) for level in (here, here_2, there, there_2)]
    up = round(shown[0] - shown[1], 2)
    again = round(shown[3] + up, 2)
    signed = f"{'+' if up >= 0 else '−'} {abs(up):.2f}"
    answer = there - there_2 - (here - here_2)

    def sums(levels, place):
        return f"10 log({' + '.join(f'10^{at[place] / 10:.2f}' for at in levels.values())})"

    return answer, (
        Step(f"At the listeners before: {sums(before, 0)}", shown[0], "dB", 2, 0.1),
        Step(
            f"At the listeners after, the volume as it was: {sums(after, 0)}",
            shown[1],
            "dB",
            2,
            0.1,
        ),
        Step(f"The volume changes by: {shown[0]:.2f} − {shown[1]:.2f}", up, "dB", 2, 0.1),
        Step(f"At the microphone before: {sums(before, 1)}", shown[2], "dB", 2, 0.1),
        Step(f"After, the volume as it was: {sums(after, 1)}", shown[3], "dB", 2, 0.1),
        Step(f"After, with the new volume: {shown[3]:.2f} {signed}", again, "dB", 2, 0.1),
        Step(f"The margin: {shown[2]:.2f} − {again:.2f}", answer, "dB"),
    )


def _in_full(school, use, group, by_db):
    """What the evaluation of the gym says to the same change."""
    now = school.use(use).group_setting(group).gain_db
    before = margin_db(play(school, use, group, now))
    after = margin_db(play(school, use, group, now + (by_db or 0.0), plays=by_db is not None))
    return (
        f"Computed in full, the smallest margin goes from {before:+.1f} to {after:+.1f} dB. That"
        " counts every octave, and the peaks within them."
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
    both, back = _sum_db(kept_db, off_db), _sum_db(kept_back_db, off_back_db)
    gained = back - (kept_back_db + both - kept_db)
    raised = both - kept_db
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
        slips=_far_enough(
            gained,
            0.4,
            Slip(
                -gained,
                "Plus or minus? Margin grows where less comes back.",
                abs(gained) / 2,
                beyond=True,
            ),
            Slip(back - kept_back_db, "That leaves A as it was. The listeners would lose level."),
            Slip(-raised, "That is only the gain of A. B no longer reaches the microphone."),
        ),
        steps=_shared_steps((kept_db, off_db), (kept_back_db, off_back_db), gained),
        note="Levels here are sums of energies. Directions and octaves are left out.",
    )


def _shared_steps(listeners, microphone, gained):
    """How the change is worked from the levels of A and B at both places."""
    both, back = (round(_sum_db(*levels), 2) for levels in (listeners, microphone))
    raised = round(both - listeners[0], 2)
    alone = round(microphone[0] + raised, 2)
    return (
        Step(f"Both at the listeners: {_two(*listeners)}", both, "dB", 2, 0.1),
        Step(f"A is turned up by: {both:.2f} − {listeners[0]:g}", raised, "dB", 2, 0.1),
        Step(f"Both at the microphone: {_two(*microphone)}", back, "dB", 2, 0.1),
        Step(f"A alone there, turned up: {microphone[0]:g} + {raised:.2f}", alone, "dB", 2, 0.1),
        Step(f"The margin: {back:.2f} − {alone:.2f}", gained, "dB"),
    )


def _far_enough(answer, near, *slips):
    """The slips that an answer nearly right cannot be taken for."""
    return tuple(slip for slip in slips if abs(slip.value - answer) > 2 * near)


def _two(one_db, other_db):
    return f"10 log(10^{one_db / 10:g} + 10^{other_db / 10:g})"


def _sum_db(*levels):
    return float(10 * np.log10(np.sum(10 ** (np.array(levels) / 10))))


def _draw_shared(chance):
    # B counts at both places, else a mistake could not be told from the answer
    listeners, back = float(chance.integers(66, 77)), float(chance.integers(50, 61))
    return dict(
        kept_db=listeners,
        off_db=listeners + float(chance.integers(-6, 9)),
        kept_back_db=back,
        off_back_db=back + float(chance.integers(-6, 11)),
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
            by_db=[None, *CHANGES_DB][int(chance.integers(len(CHANGES_DB) + 1))],
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
