"""The test plan's own time in the price of what is offered and put on file."""

from dataclasses import replace

from ..design.decision import reasons
from ..equipment.bill import estimates_readings, with_plan_time
from .plan import channels_of, plan


def plan_minutes(scenario, amplification=None):
    """Time on site for the full form of a design's test plan.

    Parameters
    ----------
    scenario : Scenario
        The design
    amplification : Amplification, optional
        Of ``amplify``, where it is at hand: choosing it anew takes longer than all of the plan

    Returns
    -------
    minutes : float
        As the plan says it [min]
    """
    channels = None if amplification is None else channels_of(scenario, amplification)
    return plan(scenario, channels=channels).minutes


def timed_parts(made):
    """Parts whose bill has the test plan's time.

    Parameters
    ----------
    made : Parts
        Of ``equipment.schedules.parts``

    Returns
    -------
    parts : Parts
        The same where the bill has it already
    """
    return replace(made, lines=_timed(made.lines, made))


def timed_offer(offered):
    """Options that are offered, priced with the test plan's time.

    Parameters
    ----------
    offered : sequence of Offered
        Of ``design.offer.offer``

    Returns
    -------
    offered : tuple of Offered
        In the same order
    """
    return tuple(
        replace(o, quote=replace(o.quote, lines=_timed(o.quote.lines, o))) for o in offered
    )


def timed_decision(decision):
    """A decision priced with the test plan's time: bill, quotes, and the cost of every option.

    Parameters
    ----------
    decision : Decision
        Of ``design.decision.decide``

    Returns
    -------
    decision : Decision
        The reasons follow from the costs as they are now
    """
    offered = timed_offer(decision.offered)
    options = tuple(map(_at_cost, decision.options, (o.quote.total for o in offered)))
    made = replace(decision.parts, lines=offered[0].quote.lines)
    return replace(
        decision,
        options=options,
        offered=offered,
        parts=made,
        reasons={o.name: reasons(options[0], o) for o in options[1:]},
    )


def _timed(lines, made):
    """A bill with the plan's time; no plan is made where the bill needs none."""
    if not estimates_readings(lines):
        return lines
    return with_plan_time(lines, plan_minutes(made.scenario, made.amplification))


def _at_cost(option, total):
    """An option at the total of its quote."""
    row = type(option.row)(option.row, cost=total)
    return replace(option, row=row, headlines=option.headlines | {"cost": round(total)})
