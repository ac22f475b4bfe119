"""What the panel shows for a state: the evaluation of the last scenario that can be, and what was
refused since.
"""

from dataclasses import dataclass, replace
from functools import cached_property

from ...acoustics.evaluate import evaluate


@dataclass(frozen=True, kw_only=True)
class Answer:
    """An evaluated scenario, and why the controls are set to another one that cannot be built.

    Parameters
    ----------
    scenario : Scenario
        The last one that can be
    first : Result
        With few rays, at once
    result : Result
        Shown: the same, or of more rays
    refusal : str
        What was refused last: why the controls are set to something else, or something that was
        asked for; empty where nothing was
    possible : bool
        Whether the controls are set to what is shown
    settled : bool
        Whether all rays have been followed, in every use
    """

    scenario: object
    first: object
    result: object
    refusal: str = ""
    possible: bool = True
    settled: bool = False

    @property
    def rays(self):
        """Rays of whatever is shown beside the result, as for ``evaluate``: figures of few rays and
        of all do not stand side by side.
        """
        return "full" if self.settled else "few"

    @cached_property
    def by_formula(self):
        """The same with the diffuse-field formula, as a cross-check (Result)."""
        return evaluate(self.scenario, self.result.use.name, room="statistical")

    def belongs_with(self, other):
        """Whether another answer is of the same scenario and use.

        Parameters
        ----------
        other : Answer
            Earlier or later

        Returns
        -------
        same : bool
            What was computed for one holds for the other
        """
        return self.first is other.first or (
            self.scenario == other.scenario and self.result.use.name == other.result.use.name
        )


def answered(state, last=None):
    """The answer to a state.

    Parameters
    ----------
    state : PanelState
        What the controls are set to
    last : Answer, optional
        Before it; kept where nothing that matters has changed, and where the state cannot be

    Returns
    -------
    answer : Answer
        ``last`` itself where nothing has changed

    Raises
    ------
    ValueError
        Where the state cannot be and there is no last answer
    """
    try:
        scenario, refusal = state.scenario, ""
    except ValueError as error:
        if last is None:
            raise
        scenario, refusal = last.scenario, str(error)
    if last is None or scenario != last.scenario or state.use != last.result.use.name:
        try:
            result = evaluate(scenario, state.use, rays="few")
        except ValueError as error:
            if last is None:
                raise
            return answered_again(last, state, str(error))
        return Answer(
            scenario=scenario,
            first=result,
            result=result,
            refusal=refusal,
            possible=not refusal,
        )
    return answered_again(last, state, refusal)


def answered_again(last, state, refusal):
    """The last answer, with another refusal, and with few rays where no more are wanted.

    Parameters
    ----------
    last : Answer
        The last answer
    state : PanelState
        Says whether all rays are wanted
    refusal : str
        Empty where the controls are set to what is shown

    Returns
    -------
    answer : Answer
        ``last`` itself where nothing has changed
    """
    result, settled = (last.result, last.settled) if state.trace else (last.first, False)
    answer = replace(last, result=result, refusal=refusal, possible=not refusal, settled=settled)
    same = result is last.result and (refusal, not refusal) == (last.refusal, last.possible)
    return last if same else answer


def with_rays(answer, field, settled):
    """The answer with more rays.

    Parameters
    ----------
    answer : Answer
        Of fewer rays
    field : TracedField
        What has been traced so far
    settled : bool
        Whether these are all, in every use

    Returns
    -------
    answer : Answer
        Its result is of these rays
    """
    result = evaluate(answer.scenario, answer.first.use.name, room=field)
    return replace(answer, result=result, settled=settled)
