"""The uses board: a row per use, a column per question, and one sentence over all of them."""

from dataclasses import dataclass
from types import MappingProxyType

from ...acoustics.criteria import CRITERIA, QUESTIONS, WORDS, in_sentence, worst_verdict
from ...physics.bands import LABELS
from ..theme import FEW_RAYS
from .verdicts import checks_text, failing

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
NOT_YET = "known when", "nothing moves"  # echoes, in the two lines of their cell
WHY_NOT_YET = (
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

    With few rays there is no total: echoes are not judged then, and it would change as soon as
    nothing moves.

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
    count = f"{_count_sentence(uses)}{_so_far(uses)}."
    if not fail and not close:
        return count
    worst = worst_verdict([v for v, _ in judged])
    use = next(use for v, use in judged if v is worst)
    words = CRITERIA[worst.criterion].plain_sentence(worst)
    beyond = ", which is out of reach" if worst.word == WORDS[3] else ""
    return f"{count} {'Worst' if fail else 'Nearest to failing'} ({use}): {words}{beyond}."


def _count_sentence(uses):
    verdicts = [v for u in uses for v in u.verdicts]
    (fail, close), whole = failing(verdicts), len(verdicts)
    few = any(u.rays == "few" for u in uses)
    if not fail and not close:
        every = f"in all {len(uses)} uses" if len(uses) > 1 else "in the one use"
        return f"No check fails {every}" if few else f"All {whole} checks pass {every}"
    nearly = f", {close} {'is' if close == 1 else 'are'} close" if close else ""
    if not fail:
        return f"No check{'' if few else f' of {whole}'} fails{nearly}"
    noun = "check" if few and fail == 1 else "checks"
    whole = "" if few else f" of {whole}"
    return f"{fail}{whole} {noun} {'fails' if fail == 1 else 'fail'}{nearly}"


def _so_far(uses):
    few = any(u.rays == "few" for u in uses)
    words = f" so far ({FEW_RAYS}; echoes are {' '.join(NOT_YET)})" if few else ""
    refused = [u.use for u in uses if u.refusal]
    return words + (f"; not possible in {' and '.join(refused)}" if refused else "")


def working_sentence(missing, whole, before=()):
    """What is being worked out, and what stood before it.

    Parameters
    ----------
    missing, whole : int
        Uses that are not known yet, and all of them [-]
    before : sequence of JudgedUse, optional
        All uses before something was changed

    Returns
    -------
    words : str
        One or two sentences, plain text
    """
    words = f"Working out {missing} of {whole} use{'s' * (whole != 1)}."
    if not before or any(u.rays == "few" or u.refusal for u in before):
        return words
    verdicts = [v for u in before for v in u.verdicts]
    return f"{words} Before the change {failing(verdicts)[0]} of {len(verdicts)} checks failed."


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
    cells = [_bare(f"{use}, {q.plain.lower()}: working") for q in QUESTIONS.values()]
    return dict(
        use=use, shown=shown, pale=True, note="working", counts="working", at="", cells=cells
    )


def _bare(name, number="", where="", tip=""):
    """A cell without a verdict."""
    empty = dict.fromkeys(("word", "count", "arrow", "was"), "")
    return dict(empty, number=number, where=where, name=name, tip=tip)


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
    return dict(
        use=judged.use,
        shown=shown,
        pale=pale,
        note=", ".join(few + counts),
        counts=judged.refusal or checks_text(judged.verdicts),
        at=at,
        cells=cells,
    )


def _cell(judged, question, before, pale):
    name = f"{judged.use}, {question.plain.lower()}: "
    found = question.verdicts(judged.verdicts)
    if not found:
        lines, why = _why_nothing(judged, question)
        return _bare(f"{name}{' '.join(lines).strip()}, {why}", *lines, why)
    verdict, (fail, _) = worst_verdict(found), failing(found)
    c, where = CRITERIA[verdict.criterion], _where(verdict)
    earlier = before.worst(question.key) if before else None
    arrow, was = _was(verdict, earlier) if earlier else ("", "")
    # cells add up to their row: without a count a cell that fails is one check
    count = f"{fail} of {len(found)} fail" if fail > 1 else ""
    number, place = c.text(verdict.value), "" if verdict.meets else where
    if verdict.word == WORDS[3]:  # too long for one line with its number
        number, place = (
            (number, _listed(verdict.word, place))
            if count
            else (
                "",
                _listed(number, place),
            )
        )
    target = f"{c.quantity} {c.text(verdict.value)}, target {c.text(verdict.target)}"
    spoken = f"{'better' if arrow == BETTER else 'worse'}, {was}" if was else ""
    checks = f"{fail} of {len(found)} checks fail" if count else ""
    said = _listed(f"{'working; last ' * pale}{verdict.word}", target, where, checks, spoken)
    tip = f"{c.label}{f', {where}' * bool(where)}: {c.sentence(verdict, judged.units)}"
    tip += f". {checks}" * bool(checks) + f". {spoken[:1].upper()}{spoken[1:]}" * bool(spoken)
    return dict(
        word=verdict.word,
        count=count,
        number=number,
        arrow=arrow,
        where=place,
        was=was,
        name=name + said,
        tip=tip,
    )


def _listed(*words):
    return ", ".join(filter(None, words))


def _why_nothing(judged, question):
    """What stands in the two lines of a cell without a verdict, and why."""
    if judged.refusal:
        return (NOTHING, ""), judged.refusal
    if judged.rays == "few" and all(CRITERIA[c].follows_echoes for c in question.criteria):
        return NOT_YET, WHY_NOT_YET
    return (NOTHING, ""), question.nothing


def microphone_of(verdict):
    """Name of the microphone that a verdict is on.

    Parameters
    ----------
    verdict : Verdict
        Of a criterion that judges microphones

    Returns
    -------
    name : str
        As in the scenario
    """
    return verdict.area.removeprefix("microphone '").removesuffix("'")


def _where(verdict):
    if CRITERIA[verdict.criterion].scope == "microphone":
        return microphone_of(verdict)
    return verdict.area or verdict.place


def _was(now, before):
    """Whether a cell is better now, and what it said before; empty where it has not changed by more
    than its rounding.
    """
    c, former = CRITERIA[now.criterion], CRITERIA[before.criterion]
    if c is not former:  # another check is the worst now
        gain = _standing(now) > _standing(before)
        return BETTER if gain else WORSE, f"was {former.text(before.value)}"
    same = c.number(now.value) == c.number(before.value)
    if same or abs(now.value - before.value) <= c.shown:
        return "", ""
    gain = c.margin(now.value, now.target) > c.margin(before.value, before.target)
    return BETTER if gain else WORSE, f"was {c.number(before.value)}"


def _standing(verdict):
    """How well a verdict stands among those of any criterion: its word, then its margin."""
    steps = CRITERIA[verdict.criterion].steps(verdict.value, verdict.target)
    return -WORDS.index(verdict.word), steps
