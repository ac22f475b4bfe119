"""Why this option, and what has changed since the last record."""

from html import escape

from ...design.decision import proposed_reason
from ...design.plain_reason import plain_reason
from ...design.revisions import changes_since, counted
from ..tables.markup import table
from .page import quoted

LINES = 5  # left blank for a reason by hand
NO_REASON = "None was given with the figures. Write it here, by hand, before anybody signs:"


def reasons(page, decision, issue):
    """Put the designer's own reason at the end, and the one that the figures propose.

    Parameters
    ----------
    page : Page
        Of the record
    decision : Decision
        What was decided
    issue : Issue
        With the designer's own reason, or without
    """
    page.add("<h2>Why this option</h2>", '<div class="together">')
    page.add("<h3>The designer's own reason</h3>")
    said = [line for line in issue.reason.splitlines() if line.strip()]
    if said:
        page.add(*(f"<p>{quoted(line)}</p>" for line in said))
    else:
        page.add(f"<p>{NO_REASON}</p>", '<div class="by-hand"></div>' * LINES)
    page.add("</div>")
    if len(decision.offered) > 1:
        page.add(
            "<h3>The reason proposed from the figures</h3>",
            f"<p>{quoted(plain_reason(decision.offered))} The letter to the school says the same as"
            " long as no other is given.</p>",
        )
    page.add(
        "<h3>What the figures say for it</h3>",
        f"<p>{quoted(' '.join(proposed_reason(decision.options)))} Each figure is that of the"
        " weakest use. Whether what it gains is worth what it loses is the designer's and the"
        " school's decision.</p>",
    )


def changes(page, decision, issue, earlier):
    """Put what has changed since the last record at the end.

    Parameters
    ----------
    page : Page
        Of the record
    decision : Decision
        What was decided
    issue : Issue
        Which record of it this is
    earlier : Earlier or None
        The one before
    """
    if earlier is None:
        page.add("<h2>What has changed</h2>", "<p>This is the first revision.</p>")
        return
    of = f" of {escape(earlier.date)}" if earlier.date else ""
    whom = f", prepared for {quoted(earlier.prepared_for)}" if earlier.prepared_for else ""
    page.add(
        f"<h2>What has changed since revision {earlier.revision}</h2>",
        f"<p>Revision {issue.revision} takes the place of revision {earlier.revision}{of}{whom}."
        " Earlier records lie whole in the folder 'revisions'.</p>",
    )
    if earlier.kept is None:
        page.add("<p>What the earlier record kept of its figures cannot be read.</p>")
        return
    found = changes_since(earlier, decision)
    if earlier.kept["inputs_hash"] == decision.inputs_hash:
        page.add("<p>Nothing that the figures come from has changed.</p>")
    if found.chosen:
        page.add(
            f"<p>The option that was chosen then is '{quoted(found.chosen)}'; it is"
            f" '{quoted(decision.chosen.name)}' now.</p>"
        )
    said = [found.money or "The price is the same.", counted(found)]
    page.add(f"<p>{escape(' '.join(said))}</p>", *_bill(found), *_values(found), *_verdicts(found))


def _bill(found):
    """Which lines of the bill make the price another."""
    if found.bill is None:
        return ["<p>The earlier record kept no bill: its lines are not compared.</p>"]
    rows = [(quoted(line), escape(was or "-"), escape(now or "-")) for line, was, now in found.bill]
    return [table("Lines of the bill that differ", ("line", "was", "is now"), rows)] if rows else []


def _values(found):
    """What differs in the scenario."""
    if found.since.scenario is None:
        return ["<p>The earlier scenario cannot be read: its values are not compared.</p>"]
    if not found.values:
        return ["<p>No value of the scenario has changed.</p>"]
    rows = [tuple(map(quoted, row)) for row in found.values]
    return [table("Values of the scenario that differ", ("what", "was", "is now"), rows)]


def _verdicts(found):
    """Which checks changed their word."""
    rows = [
        (quoted(x.use), quoted(x.check), *(escape(", ".join(y) or "-") for y in (x.was, x.now)))
        for x in found.verdicts
    ]
    return [table("Checks that differ", ("use", "check", "was", "is now"), rows)] if rows else []
