"""The uses board: a row per use, a column per question, and one sentence over all of them."""

from dataclasses import dataclass
from types import MappingProxyType

from ...acoustics.criteria import CRITERIA, QUESTIONS, WORDS, in_sentence, worst_verdict
from ...physics.bands import LABELS
from ..theme import FEW_RAYS
from .verdicts import failing

# the quantity of ``theme.QUANTITIES`` that a picture shows for each question; where there is no map
# of what is judged, the level that it rests on
PICTURES = MappingProxyType(
    {
        "loud": "speech_to_noise",
        "even": "direct 2k",
        "clear": "sti",
        "together": "arrival_spread",
        "echo": "speech",
        "ringing": "speech",
        "microphones": "feedback_margin",
        "loudest": "speech",
        "people": "direct 2k",
    }
)
BETTER, WORSE = "\u25b2", "\u25bc"
LEGEND = f"{BETTER} better {WORSE} worse"  # than what was
NOTHING = "-"  # a use has nothing to judge
AT_REST = "at rest"  # when echoes are judged
WHY_AT_REST = (
    "Echoes are judged when nothing moves, with all rays: of few, each looks like an echo."
)


@dataclass(frozen=True, kw_only=True)
class JudgedUse:
    """Verdicts of one use, all of the same rays.

    Parameters
    ----------
    use : str
        Its name
    rays : str
        "few" or "full"
    units : str
        Of the sentences: "m" or "ft"
    verdicts : tuple of Verdict
        None where the use cannot be judged
    refusal : str
        Why it cannot
    """

    use: str
    rays: str
    units: str
    verdicts: tuple
    refusal: str = ""

    @classmethod
    def of(cls, result):
        """The verdicts of an evaluation.

        Parameters
        ----------
        result : Result
            Traced, and no draft

        Returns
        -------
        judged : JudgedUse
            Of its use and rays
        """
        return cls(
            use=result.use.name,
            rays=result.rays,
            units=result.scenario.units,
            verdicts=result.verdicts,
        )

    def worst(self, question):
        """The worst verdict on a question.

        Parameters
        ----------
        question : str
            Key of ``QUESTIONS``

        Returns
        -------
        verdict : Verdict or None
            None where the use has nothing to judge, or nothing yet
        """
        found = QUESTIONS[question].verdicts(self.verdicts)
        return worst_verdict(found) if found else None


def picture_of(question, verdict=None):
    """The quantity that a picture shows for a question.

    Parameters
    ----------
    question : str
        Key of ``QUESTIONS``
    verdict : Verdict, optional
        On it: may be on one octave

    Returns
    -------
    quantity : str
        Key of ``theme.QUANTITIES``
    """
    band = verdict.facts.get("band") if verdict is not None else None
    return PICTURES[question] if band is None else f"direct {LABELS[band]}"


def board_sentence(uses):
    """How many checks fail over all uses, and which is worst, for people outside the trade.

    Parameters
    ----------
    uses : sequence of JudgedUse
        All uses of one installation

    Returns
    -------
    words : str
        One or two sentences, plain text
    """
    judged = [(v, u.use) for u in uses for v in u.verdicts]
    fail, close = failing(v for v, _ in judged)
    few = any(u.rays == "few" for u in uses)
    so_far = f" ({FEW_RAYS}; echoes are judged at rest)" if few else ""
    if refused := [u.use for u in uses if u.refusal]:
        so_far += f"; not possible in {' and '.join(refused)}"
    if not fail and not close:
        every = f"all {len(uses)} uses" if len(uses) > 1 else "the one use"
        return f"All {len(judged)} checks pass in {every}{so_far}."
    nearly = f"{close} {'is' if close == 1 else 'are'} close"
    if not fail:
        count, which = f"No check of {len(judged)} fails, {nearly}", "Nearest to failing"
    else:
        verb = "fails" if fail == 1 else "fail"
        count, which = f"{fail} of {len(judged)} checks {verb}", "Worst"
        count += f", {nearly}" if close else ""
    worst = worst_verdict([v for v, _ in judged])
    use = next(use for v, use in judged if v is worst)
    words = CRITERIA[worst.criterion].plain_sentence(worst)
    beyond = ", which is out of reach" if worst.word == WORDS[3] else ""
    return f"{count}{so_far}. {which}: during the {use}, {words}{beyond}."


def board_columns():
    """Heads of the board.

    Returns
    -------
    columns : list of dict
        Key, plain question, and a tip with the trade's term and all that is judged, for the page
    """
    return [
        dict(
            key=q.key,
            plain=q.plain,
            tip=f"{q.plain} In the trade: {q.term}. Judged by: {_labels(q)}.",
        )
        for q in QUESTIONS.values()
    ]


def _labels(question):
    return ", ".join(in_sentence(CRITERIA[key].label) for key in question.criteria)


def empty_row(use, shown=False):
    """The row of a use that has not been judged yet.

    Parameters
    ----------
    use : str
        Its name
    shown : bool
        Whether the picture shows it

    Returns
    -------
    row : dict
        For the page
    """
    cells = [
        dict(word="", number="", more="", name=f"{use}, {q.plain.lower()}: working", tip="")
        for q in QUESTIONS.values()
    ]
    return dict(use=use, shown=shown, pale=True, note="working", at="", cells=cells)


def board_row(judged, before=None, *, shown=False, pale=False, at=""):
    """The row of a use.

    Parameters
    ----------
    judged : JudgedUse
        What is known of it
    before : JudgedUse, optional
        Of the same rays, before something was moved
    shown : bool
        Whether the picture shows the use
    pale : bool
        Whether something was moved since: the row is being worked out anew
    at : str
        Key of the question that the picture shows; empty for none

    Returns
    -------
    row : dict
        For the page
    """
    cells = [_cell(judged, q, before, pale) for q in QUESTIONS.values()]
    fail, close = failing(judged.verdicts)
    counts = [f"{fail} fail"] * bool(fail) + [f"{close} close"] * bool(close)
    few = [FEW_RAYS] * (judged.rays == "few")
    if few and fail:  # both would be too long
        counts = counts[:1]
    counts = ["not possible"] if judged.refusal else counts or ["all meet"]
    note = ", ".join(few + counts)
    return dict(use=judged.use, shown=shown, pale=pale, note=note, at=at, cells=cells)


def _cell(judged, question, before, pale):
    name = f"{judged.use}, {question.plain.lower()}: "
    verdict = judged.worst(question.key)
    if verdict is None:
        shown, why = _why_nothing(judged, question)
        return dict(word="", number=shown, more="", name=f"{name}{shown}, {why}", tip=why)
    c = CRITERIA[verdict.criterion]
    earlier = before.worst(question.key) if before else None
    was, where = _was(verdict, earlier) if earlier else "", _where(verdict)
    number, more = c.text(verdict.value), was or ("" if verdict.meets else where)
    if verdict.word == WORDS[3]:  # too long for one line with its number
        number, more = "", ", ".join(filter(None, (number, more)))
    target = f"{c.quantity} {c.text(verdict.value)}, target {c.text(verdict.target)}"
    name += f"{'working; last ' * pale}{verdict.word}, {target}"
    return dict(
        word=verdict.word,
        number=number,
        more=more,
        name=name + f", {where}" * bool(where) + f", {_spoken(was)}" * bool(was),
        tip=f"{c.label}{f', {where}' * bool(where)}: {c.sentence(verdict, judged.units)}",
    )


def _why_nothing(judged, question):
    """What stands in a cell without a verdict, and why."""
    if judged.refusal:
        return NOTHING, judged.refusal
    if judged.rays == "few" and all(CRITERIA[c].follows_echoes for c in question.criteria):
        return AT_REST, WHY_AT_REST
    return NOTHING, question.nothing


def _where(verdict):
    if CRITERIA[verdict.criterion].scope == "microphone":
        return verdict.area.removeprefix("microphone '").removesuffix("'")
    return verdict.area or verdict.place


def _was(now, before):
    """What a cell said before, with whether it is better now; empty where it has not changed by
    more than its rounding.
    """
    c, former = CRITERIA[now.criterion], CRITERIA[before.criterion]
    if c is not former:  # another check is the worst now
        gain = _standing(now) > _standing(before)
        return f"{BETTER if gain else WORSE} was {former.text(before.value)}"
    same = c.number(now.value) == c.number(before.value)
    if same or abs(now.value - before.value) <= c.shown:
        return ""
    gain = c.margin(now.value, now.target) > c.margin(before.value, before.target)
    return f"{BETTER if gain else WORSE} was {c.number(before.value)}"


def _standing(verdict):
    """How well a verdict stands among those of any criterion: its word, then its margin."""
    steps = CRITERIA[verdict.criterion].steps(verdict.value, verdict.target)
    return -WORDS.index(verdict.word), steps


def _spoken(was):
    return was.replace(BETTER, "better,").replace(WORSE, "worse,")
