"""The record's first page: what was chosen, what it does, costs and cannot do, in plain words."""

from html import escape

from ...acoustics.criteria import CRITERIA
from ...design.comparing import loudspeaker_list
from ...equipment.prices import money
from ..tables.markup import bullets, table
from ..tables.verdicts import checks_text
from .page import quoted


def summary(page, decision):
    """Put the page for the school at the end.

    Parameters
    ----------
    page : Page
        Of the record
    decision : Decision
        What was decided
    """
    page.add(
        '<h2 class="first">In plain words</h2>',
        _chosen(decision),
        _uses(decision),
        _cost(decision),
        "<p><b>What it cannot do.</b></p>",
        _misses(decision),
        "<p>This is not a life-safety system: the fire-alarm contractor provides emergency"
        " announcements, and the authority having jurisdiction decides. All figures are"
        " predictions; the finished gym is measured and compared with them.</p>",
    )


def _chosen(decision):
    scenario = decision.chosen.scenario
    return (
        f"<p><b>What was chosen.</b> Option '{quoted(decision.chosen.name)}':"
        f" {len(scenario.loudspeakers)} loudspeakers, {quoted(loudspeaker_list(scenario))}."
        f" They serve every use of the gym: {quoted(', '.join(decision.results))}.</p>"
    )


def _uses(decision):
    rows = [
        (quoted(name), _heard(result), _checks(result)) for name, result in decision.results.items()
    ]
    return (
        table(
            "What it does in each use",
            ("use", "what people hear", "against the targets"),
            rows,
        )
        + '<p class="quiet">STI, the speech transmission index, says how clear speech is: 0 is'
        " nothing understood, 1 is everything. The figure is for the worst area.</p>"
    )


def _heard(result):
    area = min(result.areas, key=lambda a: a.sti_p10)
    return (
        f"speech at {result.use.target_dba:.0f} dB(A); 9 of 10 seats reach STI {area.sti_p10:.2f}"
        f" (target {result.scenario.targets.sti:.2f})"
    )


def _checks(result):
    words = checks_text(result.verdicts)
    words = f"{words[0].upper()}{words[1:]}."
    for label, which in (("Misses", ("misses", "out of reach")), ("Close", ("close",))):
        troubles = _troubles([v for v in result.verdicts if v.word in which])
        words += f" {label}: {escape('; '.join(troubles))}." if troubles else ""
    return words


def _troubles(verdicts):
    """Each trouble once, with all areas that have it."""
    areas = {}
    for v in verdicts:
        areas.setdefault(CRITERIA[v.criterion].trouble, []).append(v.area)
    return [
        trouble + (f" ({', '.join(where)})" if any(where) else "")
        for trouble, where in areas.items()
    ]


def _cost(decision):
    lines = decision.parts.lines
    total, currency = sum(line.total for line in lines), decision.parts.currency
    own = "" if currency else " in the price book's currency"

    def said(amount):
        return escape(money(amount, currency))

    return (
        f"<p><b>What it costs.</b> {said(total)}{own}:"
        f" {said(sum(line.quantity * line.price for line in lines))} for material and"
        f" {said(sum(line.labor for line in lines))} for labor"
        f" ({sum(line.hours for line in lines):.0f} hours). These are the prices of"
        f" {quoted(decision.prices)}; the offer gives those of the day.</p>"
    )


def _misses(decision):
    """What is missed, one entry per criterion, because the same trouble recurs from use to use."""
    found = {}
    for name, result in decision.results.items():
        for v in result.verdicts:
            if v.word not in ("meets", "close"):
                where = f"{name}, {v.area}" if v.area else name
                sentence = CRITERIA[v.criterion].sentence(v, result.scenario.units)
                found.setdefault(v.criterion, []).append(f"{quoted(where)}: {escape(sentence)}")
    if not found:
        return "<p>It reaches every target, or comes close.</p>"
    return bullets(
        [
            f"{escape(_capital(CRITERIA[key].trouble))}.{bullets(entries)}"
            for key, entries in found.items()
        ]
    )


def _capital(text):
    return text[0].upper() + text[1:]
