"""Reading a finished record: verdict words, options that are beaten, and how sure a figure is."""

from functools import lru_cache

import numpy as np
from scipy.special import ndtr, stdtr

from ...acoustics.criteria import CRITERIA, judge
from ...acoustics.evaluate import evaluate
from ...acoustics.model_error import HALLS, T20_MEAN, deviation
from ...design.treatment import treated
from ..exercises import Exercise, Problem, Slip, Step

ASKED = ("sti", "speech_to_noise", "coverage_range", "rt", "feedback_margin", "arrival_spread")
OPTIONS = ("option A", "option B", "option C")
NONE = "none of them"
TRIES = 500  # drawings before an answer is said not to be found
WORDED = ("meets", "close", "misses")
STEPS_Z = np.arange(0, 2.01, 0.25)  # of the table of the normal distribution [-]
FIGURES = (
    "STI at the chairs",
    "STI in the bleachers",
    "STI on the court",
    "STI at the worst seats",
)

# ---- questions


def normal(z):
    """Share of a normal distribution that lies below so many standard deviations.

    Parameters
    ----------
    z : float or array
        Standard deviations above the mean [-]

    Returns
    -------
    share : float or ndarray
        Shaped like ``z``, 0 to 1 [-]
    """
    return ndtr(z)


def normal_words():
    """A few values of the normal distribution, so that a question can be answered anywhere.

    Returns
    -------
    words : str
        One sentence
    """
    listed = ", ".join(f"Φ({z:g}) = {normal(z):.2f}" for z in STEPS_Z[::2])
    return f"Normal distribution: {listed}, Φ(−z) = 1 − Φ(z)."


def chance(margin=0.05, spread=0.08, unit="", what=FIGURES[0]):
    """In how many of 100 draws a target is met.

    Parameters
    ----------
    margin : float
        Of the mean of the draws, negative where it lies short of the target [unit]
    spread : float
        Standard deviation of the draws [unit]
    unit : str
        Of both
    what : str
        Which figure it is

    Returns
    -------
    problem : Problem
        In percent
    """
    z = margin / spread
    answer, rounded = float(100 * normal(z)), round(z, 2)
    said = f"{abs(margin):g} {unit}".rstrip()
    side = "beyond" if margin >= 0 else "short of"
    wide = f"{spread:g} {unit}".rstrip()
    return Problem(
        words=(
            f"A design is drawn many times with all that is unknown a little off. {what}: the mean"
            f" of the draws lies {said} {side} the target. Their standard deviation is {wide}. If"
            f" the draws were normal, in how many of 100 would the target be met? {normal_words()}"
        ),
        unit="%",
        answer=answer,
        near=3,
        low=-5,
        high=105,
        digits=0,
        hint=(
            "Divide the margin by the standard deviation. Zero gives a half. A sixth of all draws"
            " lie more than one standard deviation above the mean, a sixth below."
        ),
        slips=(
            Slip(100.0 if margin >= 0 else 0.0, "That takes the verdict for certain. It is not."),
            Slip(100 - answer, "On which side of the target does the mean lie?"),
            Slip(50.0, "Half would be a mean that sits exactly on the target."),
        ),
        steps=(
            Step(f"Margin in standard deviations: {margin:g} / {spread:g}", rounded, "", 2),
            Step(f"100 × Φ({rounded:.2f})", float(100 * normal(rounded)), "%", 0),
        ),
        note="The record counts its draws and needs no normal distribution. This checks it.",
    )


def together(margin=0.05, inputs=0.03, model=0.06, unit=""):
    """The same where the error of the inputs and that of the model are given apart.

    Parameters
    ----------
    margin : float
        Of the mean, beyond the target [unit]
    inputs, model : float
        Standard deviations from what is unknown of the gym, and from the model itself [unit]
    unit : str
        Of all three

    Returns
    -------
    problem : Problem
        In percent
    """
    both = float(np.hypot(inputs, model))
    answer = float(100 * normal(margin / both))
    shown = round(both, 3)
    z = round(margin / shown, 2)

    def say(value):
        return f"{value:g} {unit}".rstrip()

    return Problem(
        words=(
            f"A figure lies {say(margin)} beyond its target. What is unknown of the gym moves it by"
            f" {say(inputs)}, one standard deviation. The model's own error moves it by"
            f" {say(model)}. In how many of 100 gyms is the target met, if all is normal?"
            f" {normal_words()}"
        ),
        unit="%",
        answer=answer,
        near=2,
        low=-5,
        high=105,
        digits=0,
        hint="Errors that know nothing of each other add as squares. Then divide the margin by it.",
        slips=(
            Slip(
                float(100 * normal(margin / inputs)),
                "That leaves out the model's own error. The model can be off in a gym that is known"
                " exactly.",
            ),
            Slip(
                float(100 * normal(margin / (inputs + model))),
                "The two do not add like lengths: both seldom err the same way.",
            ),
        ),
        steps=(
            Step(f"Both errors together: √({inputs:g}² + {model:g}²)", shown, unit, 3),
            Step(f"Margin in standard deviations: {margin:g} / {shown:.3f}", z, "", 2),
            Step(f"100 × Φ({z:.2f})", float(100 * normal(z)), "%", 0),
        ),
    )


def word(criterion="sti", value=0.48, target=0.5):
    """Which word a verdict gets.

    Parameters
    ----------
    criterion : str
        Key of a criterion
    value, target : float
        As the record prints them [unit of the criterion]

    Returns
    -------
    problem : Problem
        One of the words

    Raises
    ------
    ValueError
        The value lies too near a limit to be told by eye
    """
    c = CRITERIA[criterion]
    margin, steps = c.margin(value, target), c.steps(value, target)
    if min(abs(margin + c.shown), abs(margin + c.close)) < 0.6 * c.shown:
        raise ValueError("the value lies on a limit of its word.")
    answer = c.word(value, target)
    side = "More" if c.better > 0 else "Less"
    better, worse = (value, target) if c.better > 0 else (target, value)
    difference = f"{better:g} − {worse:g}"
    slips = [
        Slip("meets", "On which side of the target does it lie, and which side is good?"),
        Slip("close", "How far is it off, in what people just notice?"),
        Slip(
            "misses", "Is it worse than the target? And is the difference one that people notice?"
        ),
    ]
    return Problem(
        words=(
            f"{c.label}: {c.text(value)}, target {c.text(target)}. {side} is better. People just"
            f" notice {c.close:g} {c.unit}".rstrip()
            + ". Which word does the verdict get?"
        ),
        answer=answer,
        choices=WORDED,
        hint="Take the margin on the good side. A miss that nobody notices has a word of its own.",
        slips=tuple(s for s in slips if s.value != answer),
        steps=(
            Step(f"Margin on the good side: {difference}", margin, c.unit, 2),
            Step(f"In steps that people notice: {margin:.2f} / {c.close:g}", steps, "", 1),
        ),
        note="A fourth word, out of reach, says that no loudspeaker can meet it in this gym.",
    )


def beaten(figures=((0.55, 41, 1), (0.52, 44, 2), (0.49, 30, 3))):
    """Which option another one beats in everything.

    Parameters
    ----------
    figures : sequence of tuple
        STI at the worst seats, cost in thousands, checks missed, of each option

    Returns
    -------
    problem : Problem
        One of the options, or none

    Raises
    ------
    ValueError
        Several options are beaten
    """
    named = dict(zip(OPTIONS, figures, strict=True))
    beats = {
        name: [o for o in OPTIONS if o != name and _beats(named[o], own)]
        for name, own in named.items()
    }
    lost = [name for name, others in beats.items() if others]
    if len(lost) > 1:
        raise ValueError("several options are beaten.")
    answer = lost[0] if lost else NONE
    costly = OPTIONS[int(np.argmax([f[1] for f in figures]))]
    slips = []
    if costly != answer:
        slips.append(Slip(costly, "It costs most. Is it better in something else?"))
    if answer != NONE:
        slips.append(Slip(NONE, "Compare two at a time. Look for one that wins nothing."))
    said = "; ".join(
        f"{name}: STI {sti:.2f}, ${cost:d},000, checks missed: {missed:d}"
        for name, (sti, cost, missed) in named.items()
    )
    return Problem(
        words=(
            f"Three options. {said}. Which one does another option beat: at least as good in"
            " everything and better in something?"
        ),
        answer=answer,
        choices=(*OPTIONS, NONE),
        hint="Compare two at a time. One single win is enough to stay in the race.",
        slips=tuple(slips),
        steps=tuple(
            Step(f"Options that beat {name} in everything", float(len(others)), "", 0)
            for name, others in beats.items()
        ),
        note="Where none is beaten, somebody chooses what matters more, and the record says so.",
    )


def _beats(other, own):
    """Whether one option is at least as good in everything, and better in something."""
    gains = (other[0] - own[0], own[1] - other[1], own[2] - other[2])
    return min(gains) >= 0 and max(gains) > 0


def _draw_chance(chance):
    spread = float(chance.choice([0.04, 0.06, 0.08, 0.12]))
    z = float(chance.choice([-1, 1]) * chance.uniform(0.2, 1.5))
    return dict(
        margin=float(np.round(spread * z, 3)), spread=spread, what=str(chance.choice(FIGURES))
    )


def _draw_together(chance):
    inputs = float(chance.choice([0.02, 0.03, 0.04]))
    model = float(np.round(inputs * chance.uniform(1.0, 2.5), 3))
    margin = float(np.round(np.hypot(inputs, model) * chance.uniform(0.5, 1.5), 3))
    return dict(inputs=inputs, model=model, margin=margin)


def _drawn_for(answers, problem, draw, chance):
    """Values whose answer is one of some, each as likely as the others."""
    wanted = answers[chance.integers(len(answers))]
    for _ in range(TRIES):
        values = draw(chance)
        try:
            if problem(**values).answer == wanted:
                return values
        except ValueError:  # it has no one answer
            continue
    raise ValueError(f"no drawing is answered by {wanted}.")


def _any_word(chance):
    key = str(chance.choice(ASKED))
    c = CRITERIA[key]
    target = {"sti": 0.5, "rt": 1.5, "coverage_range": 6.0, "arrival_spread": 30.0}.get(key, 9.0)
    steps = float(chance.choice([-1, 1]) * chance.uniform(0.1, 2.2))
    return dict(criterion=key, value=float(c.number(target + steps * c.close)), target=target)


def _any_options(chance):
    return dict(
        figures=tuple(
            (
                float(chance.integers(42, 62)) / 100,
                int(chance.integers(20, 60)),
                int(chance.integers(0, 6)),
            )
            for _ in OPTIONS
        )
    )


def _draw_word(chance):
    return _drawn_for(WORDED, word, _any_word, chance)


def _draw_beaten(chance):
    return _drawn_for((*OPTIONS, NONE), beaten, _any_options, chance)


EXERCISES = (
    Exercise(
        "record.chance",
        "In how many of 100 draws is the target met?",
        problem=chance,
        draw=_draw_chance,
        example=dict(margin=0.06, spread=0.06),
    ),
    Exercise(
        "record.together",
        "And with the model's own error?",
        problem=together,
        draw=_draw_together,
        example=dict(margin=0.05, inputs=0.03, model=0.04),
    ),
    Exercise(
        "record.word",
        "Which word does the verdict get?",
        problem=word,
        draw=_draw_word,
        example=dict(criterion="rt", value=1.6, target=1.5),
    ),
    Exercise(
        "record.beaten",
        "Which option is beaten in everything?",
        problem=beaten,
        draw=_draw_beaten,
        example=dict(figures=((0.55, 41, 1), (0.52, 44, 2), (0.49, 30, 3))),
    ),
)


# ---- what the experiment computes


def met_in(time, target):
    """Chance that a gym like the measured ones rings no longer than its target.

    Parameters
    ----------
    time : float
        Reverberation time as the model gives it [s]
    target : float
        Longest that meets the target [s]

    Returns
    -------
    chance : float
        0 to 1: the model's own error alone, with its bias and its long tails [-]

    Sources
    -------
    Inverse of ``acoustics.model_error.decay_factor``: Student's t over the measured halls.
    """
    return float(stdtr(HALLS - 1, (np.log(target / time) - T20_MEAN) / deviation()))


class Panels:
    """A gym with more and more panels, in one of its uses.

    Parameters
    ----------
    school : Scenario
        As it is
    use : str
        Name of the use
    """

    def __init__(self, school, use):
        self.school, self.use = school, use
        self.judged = lru_cache(maxsize=256)(self._judged)

    def _judged(self, area):
        made = treated(self.school, area) if area else self.school
        found = judge(evaluate(made, self.use, rays="few"), echoes=False)
        return next(v for v in found if v.criterion == "rt")

    def at(self, area):
        """What so many panels give.

        Parameters
        ----------
        area : float
            More than there are [m2]

        Returns
        -------
        time, target, chance : float
            Reverberation time and its target [s], and how sure it is to be met, 0 to 1 [-]
        """
        verdict = self.judged(float(area))
        time, target = float(verdict.value), float(verdict.target)
        return time, target, met_in(time, target)
