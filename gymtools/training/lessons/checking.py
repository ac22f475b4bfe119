"""Checking a room: scatter and fault, solo readings, and what a low loudspeaker does where all
play.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ...acoustics.evaluate import evaluate
from ...commissioning.expected import Conditions, expect
from ...commissioning.levels import Fault, changes, levels_of, levels_of_loudspeakers
from ...commissioning.plan import as_tested, own_seat, plan
from ...commissioning.readings import SINGLE, one_value
from ...physics.bands import A_WEIGHTING, to_energy
from ...venue.texts import shown
from ..exercises import Exercise, Problem, Slip, Step

BAND = 2.0  # standard deviations that are scatter    common practice, no source [-]
CLEAR = 4.0  # standard deviations that a fault stands out by, where a lesson draws one [-]
LEAST_DB, MOST_DB = 5, 12  # a fault that is drawn [dB]
TRIES = 500  # drawings before a fault is said not to be found
NONE = "none of them: this is scatter"
FEWEST = 4  # loudspeakers: most of them must be as they should be

# ---- questions


def fall(direct_pct=10.0, late_pct=12.0, lost_db=10.0, tag="L1"):
    """How far a reading falls where all loudspeakers play and one of them is low.

    Parameters
    ----------
    direct_pct, late_pct : float
        Of the energy at the seat: its direct sound, and its share of the late sound [%]
    lost_db : float
        By which it is low [dB]
    tag : str
        What the loudspeaker is called

    Returns
    -------
    problem : Problem
        In decibels
    """
    direct, late, left = direct_pct / 100, late_pct / 100, 10 ** (-lost_db / 10)
    both = direct + late
    answer, alone = (_down(1 - share * (1 - left)) for share in (both, direct))
    rest = round(left, 3)  # as it is written
    energy = round(1 - both + both * rest, 3)
    return Problem(
        words=(
            f"All loudspeakers play. At one seat the direct sound of {tag} is {direct_pct:.0f} % of"
            f" the energy. Its share of the late sound is another {late_pct:.0f} %. Then {tag} is"
            f" {lost_db:g} dB low. By how much does the reading at this seat fall?"
        ),
        unit="dB",
        answer=answer,
        near=0.1,
        low=-1,
        high=60,
        digits=2,
        hint=(
            "Take both parts of this loudspeaker together. They fall, and all else stays. Then take"
            " 10 log of the energy that is left."
        ),
        slips=_slips_of_fall(lost_db, both, alone),
        steps=(
            Step(
                f"Direct and late part together: {direct_pct:.0f} + {late_pct:.0f}",
                100 * both,
                "%",
                0,
            ),
            Step(f"What is left of a part: 10^(−{lost_db:g} / 10)", rest, "", 3),
            Step(f"Energy left: 1 − {both:.2f} + {both:.2f} × {rest:.3f}", energy, "", 3),
            Step(f"Fall: −10 log {energy:.3f}", _down(energy), "dB", 2),
        ),
        note=(
            f"The direct sound alone, −10 log(1 − {direct:.2f} + {direct:.2f} × {rest:.3f}), would"
            f" give {alone:.2f} dB. A solo reading falls by the whole loss: its direct and late"
            " sound are all there is."
        ),
    )


def _slips_of_fall(lost_db, both, alone):
    """Mistakes with what falls and with decibels."""
    return (
        Slip(lost_db, "The other loudspeakers and the room go on. Only a part of it falls."),
        Slip(alone, "That is the direct sound alone. Its share of the late sound falls too."),
        Slip(
            lost_db * both, "A share of the energy is no share of the decibels. Add energies first."
        ),
    )


def sigmas(off_db=-3.0, reading_db=1.0, model_db=1.0):
    """How many standard deviations a reading is off.

    Parameters
    ----------
    off_db : float
        Measured less expected, the volume taken off [dB]
    reading_db, model_db : float
        Standard deviation of the reading, and of the prediction [dB]

    Returns
    -------
    problem : Problem
        A number without a unit
    """
    both = float(np.hypot(reading_db, model_db))
    answer, shown_both = abs(off_db) / both, round(both, 2)
    return Problem(
        words=(
            f"A reading is {abs(off_db):.1f} dB {'below' if off_db < 0 else 'above'} the expected"
            f" level. Readings scatter by {reading_db:g} dB, predictions by {model_db:g} dB, each"
            " one standard deviation. How many standard deviations is it off?"
        ),
        answer=answer,
        near=0.15,
        low=0,
        high=100,
        digits=2,
        hint="Two scatters that know nothing of each other add as squares.",
        slips=(
            Slip(abs(off_db) / (reading_db + model_db), "The two do not add like lengths."),
            Slip(abs(off_db) / reading_db, "That leaves out how far the prediction may be off."),
        ),
        steps=(
            Step(f"Both together: √({reading_db:g}² + {model_db:g}²)", shown_both, "dB", 2),
            Step(
                f"In standard deviations: {abs(off_db):.1f} / {shown_both:.2f}",
                abs(off_db) / shown_both,
                "",
                2,
            ),
        ),
        note="One normal reading in twenty is more than two off by chance. Four is no chance.",
    )


def which(offs_db=(2.6, 3.1, -3.4, 2.2), scatter_db=0.7):
    """Which loudspeaker is low, from solo readings.

    Parameters
    ----------
    offs_db : sequence of float
        Measured less expected, the same volume in all (loudspeaker,) [dB]
    scatter_db : float
        One standard deviation [dB]

    Returns
    -------
    problem : Problem
        One of the tags, or none

    Raises
    ------
    ValueError
        The readings are neither scatter nor a clear fault
    """
    rest, tags = _rest(offs_db), _tags(offs_db)
    low, z = int(np.argmin(rest)), rest / scatter_db
    clear = _clear(z, low)
    if not clear and np.abs(z).max() > BAND:
        raise ValueError("what is drawn is neither scatter nor a clear fault.")
    answer = tags[low] if clear else NONE
    slips = [Slip(NONE, "One of them is off by far more than readings scatter.")] if clear else []
    middle = float(np.median(offs_db))
    raw = tags[int(np.argmax(np.abs(offs_db)))]
    if raw != answer:
        slips.append(Slip(raw, "That one is far from zero. Take off what all have in common."))
    return Problem(
        words=(
            f"Each loudspeaker plays alone at one volume. Measured less expected:"
            f" {_listed(offs_db)}. Readings scatter by {scatter_db:g} dB, one standard deviation."
            " Which loudspeaker is low?"
        ),
        answer=answer,
        choices=(*tags, NONE),
        hint="The volume is the same in all of them. Take off the median first.",
        slips=tuple(slips),
        steps=(
            Step("The volume is the median of the readings", middle, "dB", 2),
            Step(
                f"Lowest, {tags[low]}, less the median: {offs_db[low]:.1f} − ({middle:.2f})",
                float(rest[low]),
                "dB",
                2,
            ),
            Step(f"In standard deviations: {rest[low]:.2f} / {scatter_db:g}", float(z[low])),
        ),
    )


def amount(offs_db=(2.6, 3.1, -3.4, 2.2), scatter_db=0.7):
    """How far the low one is low, from solo readings.

    Parameters
    ----------
    offs_db : sequence of float
        Measured less expected, the same volume in all (loudspeaker,) [dB]
    scatter_db : float
        One standard deviation [dB]

    Returns
    -------
    problem : Problem
        In decibels

    Raises
    ------
    ValueError
        No loudspeaker is clearly low, or the answer stands among the readings
    """
    tags, low = _tags(offs_db), int(np.argmin(offs_db))
    if not _clear(_rest(offs_db) / scatter_db, low):
        raise ValueError("no loudspeaker is clearly low.")
    others = float(np.median(np.delete(offs_db, low)))
    answer = others - offs_db[low]
    if f"{answer:.1f}" in {f"{abs(v):.1f}" for v in offs_db}:
        raise ValueError("the answer is one of the readings as written.")
    return Problem(
        words=(
            f"Each loudspeaker plays alone at one volume. Measured less expected:"
            f" {_listed(offs_db)}. {tags[low]} is low. By how much, against the others?"
        ),
        unit="dB",
        answer=answer,
        near=0.6,
        low=-30,
        high=60,
        hint="Take the middle of the others for the volume. Then compare.",
        slips=_slips_of_amount(others, float(offs_db[low])),
        steps=(
            Step("Median of the others", others, "dB", 2),
            Step(f"Against the low one: {others:.2f} − ({offs_db[low]:.1f})", answer, "dB", 2),
        ),
        note=f"It is known to about {scatter_db:g} dB: that is how far one reading scatters.",
    )


def _slips_of_amount(others, low):
    """Mistakes with zero and with signs."""
    slips = [
        Slip(abs(low), "That counts from zero. The volume was not the design's."),
        Slip(low - others, "You are asked by how much it is low: a positive number."),
    ]
    if others * low < 0:
        words = "A difference takes both signs: a plus less a minus grows."
        slips += [Slip(sign * (others + low), words) for sign in (1, -1)]
    return tuple(slips)


def _down(energy):
    return float(-10 * np.log10(energy))


def _rest(offs_db):
    return np.asarray(offs_db, float) - np.median(offs_db)


def _clear(z, low):
    """Whether one stands out and the others are scatter."""
    return bool(z[low] < -CLEAR and np.abs(np.delete(z, low)).max() < BAND)


def _plain(z, low):
    """Whether one stands out, and what is left when it is put right is scatter."""
    righted = np.array(z, float)
    righted[low] = np.median(np.delete(z, low))
    return _clear(_rest(z), low) and bool(np.abs(_rest(righted)).max() < BAND)


def _tags(offs_db):
    return tuple(f"L{n}" for n in range(1, len(offs_db) + 1))


def _listed(offs_db):
    return ", ".join(f"{t} {v:+.1f} dB" for t, v in zip(_tags(offs_db), offs_db, strict=True))


def _draw_offs(chance, faults=1.0):
    """Solo readings of some loudspeakers, one of them mostly low."""
    count = int(chance.integers(4, 8))
    scatter = float(chance.choice([0.5, 0.7, 1.0]))
    offs = scatter * chance.normal(size=count) + chance.choice([-1, 1]) * chance.uniform(1.5, 6)
    if chance.uniform() < faults:
        offs[chance.integers(count)] -= chance.integers(LEAST_DB, MOST_DB + 1)
    return dict(offs_db=tuple(float(v) for v in np.round(offs, 1)), scatter_db=scatter)


def _draw_fall(chance):
    return dict(
        direct_pct=float(chance.integers(4, 13) * 5),
        late_pct=float(chance.integers(1, 7) * 5),
        lost_db=float(chance.integers(4, 16)),
        tag=f"L{chance.integers(1, 9)}",
    )


def _draw_sigmas(chance):
    return dict(
        off_db=float(np.round(chance.choice([-1, 1]) * chance.uniform(1.5, 9), 1)),
        reading_db=float(chance.choice([0.5, 0.7, 1.0, 1.2])),
        model_db=float(chance.choice([0.8, 1.0, 1.3, 1.5])),
    )


EXERCISES = (
    Exercise(
        "checking.fall",
        "How far does the reading fall where all play?",
        problem=fall,
        draw=_draw_fall,
        example=dict(direct_pct=30.0, late_pct=20.0, lost_db=6.0),
    ),
    Exercise(
        "checking.sigmas",
        "Scatter or fault?",
        problem=sigmas,
        draw=_draw_sigmas,
        example=dict(off_db=-4.5, reading_db=1.0, model_db=1.0),
    ),
    Exercise(
        "checking.which",
        "Which loudspeaker is low?",
        problem=which,
        draw=lambda chance: _draw_offs(chance, 0.75),
        example=dict(offs_db=(4.1, 3.6, 4.4, -3.2, 3.9), scatter_db=0.5),
    ),
    Exercise(
        "checking.amount",
        "How far is it low?",
        problem=amount,
        draw=_draw_offs,
        example=dict(offs_db=(-2.3, -8.9, -1.6, -2.8, -2.1, -2.6), scatter_db=0.5),
    ),
)


# ---- the gym with one fault


@dataclass(frozen=True, eq=False)
class Gym:
    """A gym as it is measured, every loudspeaker on a channel of its own."""

    plan: object  # TestPlan of one use
    result: object  # that use as measured
    solo: tuple  # expected readings of each loudspeaker alone
    levels: tuple  # expected readings where all play

    @cached_property
    def tags(self):
        """Loudspeakers that play in the use."""
        return tuple(r.subject for r in self.solo)

    @cached_property
    def conditions(self):
        """What its expectations rest on."""
        return Conditions(results={self.result.use.name: self.result}, leads=self.plan.leads)

    @cached_property
    def _solo_levels(self):
        return levels_of_loudspeakers(self.plan, self.solo, self.conditions)[0]

    @cached_property
    def _all_levels(self):
        return levels_of(self.levels, self.result)

    def changes(self, gains_db):
        """What readings change by when loudspeakers give more or less.

        Parameters
        ----------
        gains_db : dict
            By tag; the others as designed [dB]

        Returns
        -------
        solo, all_play : ndarray
            Of each loudspeaker alone (tag,), and of every seat of the plan (seat,) [dB(A)]
        """
        tags = [c.tag for c in self.plan.scenario.loudspeakers]
        gains = np.array([gains_db.get(t, 0.0) for t in tags])
        fault = Fault(np.repeat(gains[:, None], 7, axis=1), np.zeros(len(tags), bool))
        both = (self._solo_levels, self._all_levels)
        return tuple(changes(one, fault)[:, SINGLE] for one in both)

    def shares(self, tag):
        """What one loudspeaker gives at its own seat where all play, A-weighted.

        Parameters
        ----------
        tag : str
            Which

        Returns
        -------
        direct, late : float
            Its direct sound, and its share of the late sound, of all energy there, 0 to 1 [-]
        """
        n = [c.tag for c in self.plan.scenario.loudspeakers].index(tag)
        at = own_seat(self.result, n)
        k = next(k for k, r in enumerate(self.levels) if r.position.index == at)
        one, weight = self._all_levels, to_energy(A_WEIGHTING)
        whole = (one.designed[k] * weight).sum()
        direct = (one.direct[n, k] * weight).sum() / whole
        late = (one.late[k] * one.share[n, k] * weight).sum() / whole
        return float(direct), float(late)


def gym_of(school, use):
    """A school's gym as it is measured in one use.

    Parameters
    ----------
    school : Scenario
        The design
    use : str
        Name of the use

    Returns
    -------
    gym : Gym
        By formula: levels at seats need no rays

    Raises
    ------
    ValueError
        Fewer than four loudspeakers play: most must be right, to tell which is wrong
    """
    made = plan(school, [use], channels=[(c.tag,) for c in school.loudspeakers])
    result = evaluate(as_tested(school, use), room="statistical")
    conditions = Conditions(results={use: result}, leads=made.leads)
    solo = expect(made.of("alone", use), conditions)
    if len(solo) < FEWEST:
        raise ValueError(
            f"use = {shown(use)} has {len(solo)} loudspeakers that play. Give a use with {FEWEST}"
            " or more."
        )
    return Gym(
        plan=made, result=result, solo=solo, levels=expect(made.of("level", use), conditions)
    )


@dataclass(frozen=True, eq=False)
class Case:
    """Readings of a gym in which one loudspeaker is low."""

    gym: Gym
    low: str  # its tag
    lost_db: float  # [dB]
    scatter_db: float  # one standard deviation [dB]
    solo_db: np.ndarray  # measured less expected (tag,) [dB(A)]
    levels_db: np.ndarray  # the same where all play (seat,) [dB(A)]

    def left_over(self, **gains_db):
        """What is left of the solo readings when the prediction has loudspeakers turned down.

        Parameters
        ----------
        gains_db : float
            By tag [dB]

        Returns
        -------
        left : ndarray
            Measured less predicted, the volume taken off (tag,) [dB]
        """
        return _rest(self.solo_db - self.gym.changes(gains_db)[0])

    def readings(self):
        """All readings as measured, for a diagnosis.

        Returns
        -------
        readings : list of Reading
            Solo readings, then those where all play
        """
        expected = (*self.gym.solo, *self.gym.levels)
        off = np.concatenate([self.solo_db, self.levels_db])
        return [
            replace(r, measured=one_value(r.expected[SINGLE] + v))
            for r, v in zip(expected, off, strict=True)
        ]


def case_of(gym, seed, scatter_db):
    """Draw a fault, and readings in which it can be found.

    Parameters
    ----------
    gym : Gym
        As designed
    seed : int
        The same seed gives the same fault [-]
    scatter_db : float
        Of one reading, with its prediction: one standard deviation [dB]

    Returns
    -------
    case : Case
        Its solo reading is more than four standard deviations off, all others less than two

    Raises
    ------
    ValueError
        Readings scatter so much that no fault of these sizes stands out
    """
    chance = np.random.default_rng(seed)
    for _ in range(TRIES if CLEAR * scatter_db < MOST_DB else 0):
        low = int(chance.integers(len(gym.tags)))
        lost = float(chance.integers(LEAST_DB, MOST_DB + 1))
        changed = gym.changes({gym.tags[low]: -lost})
        volumes = chance.uniform(-4, 4, size=2)
        solo, levels = (
            volume + change + scatter_db * chance.normal(size=len(change))
            for volume, change in zip(volumes, changed, strict=True)
        )
        if lost > CLEAR * scatter_db and _plain(solo / scatter_db, low):
            return Case(gym, gym.tags[low], lost, scatter_db, solo, levels)
    raise ValueError(
        f"scatter_db = {scatter_db:g} dB hides faults of {LEAST_DB} to {MOST_DB} dB. Give less."
    )
