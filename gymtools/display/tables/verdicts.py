"""Verdicts in words: one use in a sentence, every check in a table."""

from html import escape

from ...acoustics.criteria import CRITERIA, WORDS, worst_verdict
from ..cautions import CAUTIONS, LIMITS, MOVING
from .markup import Quiet, bullets, table


def failing(verdicts):
    """How many of some verdicts fail, and how many are close.

    Parameters
    ----------
    verdicts : iterable of Verdict
        Of one use or of all

    Returns
    -------
    fail, close : int
        Fails what misses or is out of reach; close counts apart [-]
    """
    words = [v.word for v in verdicts]
    close = words.count(WORDS[1])
    return len(words) - words.count(WORDS[0]) - close, close


def checks_text(verdicts):
    """How many checks fail.

    Parameters
    ----------
    verdicts : sequence of Verdict
        Of one use

    Returns
    -------
    words : str
        E.g. "4 of 23 checks fail, 1 is close"
    """
    fail, close = failing(verdicts)
    nearly = f", {close} {'is' if close == 1 else 'are'} close" if close else ""
    if not fail and not close:
        return f"all {len(verdicts)} checks pass"
    if not fail:
        return f"no check of {len(verdicts)} fails{nearly}"
    return f"{fail} of {len(verdicts)} checks {'fails' if fail == 1 else 'fail'}{nearly}"


def headline(result):
    """The use and its overall verdict in one or two sentences.

    Parameters
    ----------
    result : Result
        An evaluation

    Returns
    -------
    html : str
        Paragraphs
    """
    name = f"<b>{escape(result.scenario.name)}, {escape(result.use.name)}</b>"
    words = f"<p>{name}: {checks_text(result.verdicts)}."
    if result.word == "meets":
        return f"{words}</p>"
    worst = worst_verdict(result.verdicts)
    criterion = CRITERIA[worst.criterion]
    where = f" ({escape(worst.area)})" if worst.area else ""
    return (
        f"{words} Worst: <b>{escape(criterion.trouble)}</b>{where}.</p>"
        f"<p>{escape(criterion.label)}{where} <b>{worst.word}</b>:"
        f" {escape(criterion.sentence(worst, result.scenario.units))}.</p>"
    )


def _word(word):
    return f'<span class="word {word.split()[0]}">{word}</span>'


def verdict_table(result):
    """Every verdict: word, number, why, and where the target comes from.

    Parameters
    ----------
    result : Result
        An evaluation

    Returns
    -------
    html : str
        A table, failures first
    """
    units = result.scenario.units
    rows = [
        [
            escape(v.area or "the gym"),
            escape(CRITERIA[v.criterion].label),
            _word(v.word),
            escape(CRITERIA[v.criterion].sentence(v, units)),
            Quiet(escape(v.source)),
        ]
        for v in sorted(result.verdicts, key=lambda v: -WORDS.index(v.word))
    ]
    warnings = bullets([escape(warning) for warning in result.scenario.warnings])
    made = table("", ["where", "what", "verdict", "why", "target from"], rows)
    return made + (f"<p>Warnings:</p>{warnings}" if warnings else "")


def limits():
    """Cautions, and what the model cannot say.

    Returns
    -------
    html : str
        Two lists
    """
    cautions, unsaid = (
        bullets([escape(text) for text in texts]) for texts in (CAUTIONS, (MOVING, *LIMITS))
    )
    return f"<p><b>Cautions</b></p>{cautions}<p><b>What the model cannot say</b></p>{unsaid}"
