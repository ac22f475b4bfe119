"""Verdicts in words: one use in a sentence, every check in a table, all uses side by side."""

from html import escape

from ...acoustics.criteria import CRITERIA, WORDS, in_sentence, worst_verdict
from ..cautions import CAUTIONS, LIMITS, MOVING
from ..theme import room_words
from .markup import Num, Quiet, bullets, table


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


def uses_table(all_uses):
    """All uses of one installation side by side.

    Parameters
    ----------
    all_uses : AllUses
        Every use evaluated

    Returns
    -------
    html : str
        A sentence on the whole and a table, one row per use
    """
    head = [
        "use",
        "worst verdict",
        Num("checks that fail"),
        *(_heading(key) for key in ("coverage_range", "sti", "arrival_spread", "feedback_margin")),
        "furthest off",
    ]
    room = room_words(next(iter(all_uses.results.values())))
    whole = f"<p>One installation, all uses, {room}; the worst verdict: <b>{all_uses.word}</b>.</p>"
    rows = [_use_row(name, result) for name, result in all_uses.results.items()]
    return whole + table("The weakest area or microphone of each use", head, rows)


def _heading(criterion):
    c = CRITERIA[criterion]
    return Num(in_sentence(c.label) + (f" [{c.unit}]" if c.unit else ""))


def _use_row(name, result):
    spread = max(v.value for v in result.verdicts if v.criterion == "arrival_spread")
    margin = result.worst_feedback_margin_db
    return [
        escape(name),
        _word(result.word),
        Num(f"{failing(result.verdicts)[0]} of {len(result.verdicts)}"),
        Num(f"{result.worst_coverage_range_db:.1f}"),
        Num(f"{result.worst_sti:.2f}"),
        Num(CRITERIA["arrival_spread"].number(spread)),
        Num("no microphone" if margin is None else f"{margin:+.1f}"),
        _furthest_off(result),
    ]


def _furthest_off(result):
    worst = worst_verdict(result.verdicts)
    if worst.word == "meets":
        return ""
    criterion = CRITERIA[worst.criterion]
    where = f", {worst.area}" if worst.area else ""
    return escape(f"{criterion.label}{where}: {criterion.sentence(worst, result.scenario.units)}")


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
