"""The record's first page: what was chosen, where it hangs, what it does in every use, what is in
the way, what is only assumed, and what it costs.
"""

from html import escape

from ...acoustics.criteria import CRITERIA
from ...design.comparing import loudspeaker_list
from ...design.revisions import total_of
from ...equipment.prices import money
from ...equipment.quote import RESERVE_PCT
from ...venue.assumptions import assumed_values
from ...venue.validation import PLAY_HEIGHT, conflicts_beside_court, low_over_courts
from ..tables.board_table import board_table
from ..tables.markup import bullets, table
from .page import BLANK, date_words, quoted
from .seat_plan import seat_plan, shown_use

COUNTED = "STI, the speech transmission index, runs from 0 (nothing understood) to 1 (everything)."


def title(page, decision, issue):
    """Put the head of the record at the end: what, which revision, for whom, when.

    Parameters
    ----------
    page : Page
        Of the record
    decision : Decision
        What was decided
    issue : Issue
        Which record of it this is
    """
    scenario = decision.chosen.scenario
    cells = (
        ("Revision", str(issue.revision)),
        ("Date", date_words(issue.date)),
        ("Prepared for", quoted(issue.prepared_for) if issue.prepared_for else BLANK),
    )
    page.add(
        f"<h1>{quoted(scenario.name)}: the sound system</h1>",
        '<p class="issue">Decision record. '
        + " ".join(f"<span>{name}: {value}</span>" for name, value in cells)
        + "</p>",
    )


def summary(page, decision):
    """Put the first page at the end.

    Parameters
    ----------
    page : Page
        Of the record
    decision : Decision
        What was decided
    """
    page.add(
        "<h2>In plain words</h2>",
        _chosen(decision),
        '<div class="beside">',
        seat_plan(shown_use(decision.results)),
        "<div>",
        _court(decision.chosen.scenario),
        _assumed(decision.chosen.scenario),
        _cost(decision),
        "<p>This is not a life-safety system: the fire-alarm contractor provides emergency"
        " announcements, and the authority having jurisdiction decides. All figures are"
        " predictions; the finished gym is measured and compared with them.</p>",
        "</div></div>",
        board_table(decision.results),
        f'<p class="quiet">{COUNTED}</p>',
    )


def _chosen(decision):
    scenario = decision.chosen.scenario
    others = [quoted(o.name) for o in decision.options[1:]]
    against = f" It was chosen over {' and '.join(others)}." if others else ""
    return (
        f"<p><b>What was chosen.</b> Option '{quoted(decision.chosen.name)}':"
        f" {len(scenario.loudspeakers)} loudspeakers, {quoted(loudspeaker_list(scenario))}."
        f" They serve every use of the gym: {quoted(', '.join(decision.results))}.{against}</p>"
    )


def _court(scenario):
    """What is in the way of the game."""
    found = [*_low(scenario), *conflicts_beside_court(scenario)]
    if not found:
        high = scenario.say(PLAY_HEIGHT)
        return (
            "<p><b>Conflicts with the court.</b> None found: nothing of this design hangs under"
            f" {high} over a court, and no bank reaches over its lines.</p>"
        )
    return f"<p><b>Conflicts with the court.</b></p>{bullets([quoted(x) for x in found])}"


def _low(scenario):
    """Loudspeakers that hang low over a court, one sentence for each court."""
    found, say = {}, scenario.say
    for loudspeaker, court, height in low_over_courts(scenario):
        found.setdefault(court, []).append((loudspeaker.tag, height))
    for court, low in found.items():
        tags, heights = [tag for tag, _ in low], [height for _, height in low]
        verb = "hangs" if len(tags) == 1 else "hang"
        yield (
            f"{', '.join(tags)} {verb} over {court}, the lowest with {say(min(heights))} under it;"
            f" international rules ask for {say(PLAY_HEIGHT)}."
        )


def _assumed(scenario):
    """How much nobody has confirmed."""
    count = len(assumed_values(scenario))
    if not count:
        return "<p><b>Assumed.</b> The file marks no value as assumed.</p>"
    values = "value is" if count == 1 else "values are"
    return (
        f"<p><b>Assumed.</b> {count} {values} assumed and not confirmed on site. They are listed"
        " with what the design rests on; confirm them before anything is ordered.</p>"
    )


def _cost(decision):
    lines, currency = decision.parts.lines, decision.parts.currency
    own = "" if currency else " in the price book's currency"
    price = decision.offered[0].quote.price

    def said(amount):
        return escape(money(amount, currency))

    return (
        f"<p><b>What it costs.</b> {said(total_of(decision))}{own}:"
        f" {said(sum(line.quantity * line.price for line in lines))} for material and"
        f" {said(sum(line.labor for line in lines))} for labor"
        f" ({sum(line.hours for line in lines):.0f} hours). With {RESERVE_PCT:.0f} % in reserve for"
        f" what is not known yet it is {said(price)}, the price of the letter. Priced by"
        f" {quoted(decision.prices)}; the offer gives the prices of the day.</p>"
    )


def misses(page, decision):
    """Put what the design cannot do at the end: an entry for each trouble, with its uses.

    Parameters
    ----------
    page : Page
        Of the record
    decision : Decision
        What was decided
    """
    found = {}
    for name, result in decision.results.items():
        for v in result.verdicts:
            if v.word not in ("meets", "close"):
                where = f"{name}, {v.area}" if v.area else name
                c = CRITERIA[v.criterion]
                figure = f"{where} ({c.text(v.value)}; target {c.text(v.target)})"
                found.setdefault(v.criterion, []).append(quoted(figure))
    page.add("<h2>What it cannot do</h2>")
    if not found:
        page.add("<p>It reaches every target, or comes close.</p>")
        return
    rows = [(escape(_capital(CRITERIA[k].trouble)), "; ".join(said)) for k, said in found.items()]
    page.add(table("Targets that are missed, and where", ("trouble", "where"), rows))


def _capital(text):
    return text[0].upper() + text[1:]
