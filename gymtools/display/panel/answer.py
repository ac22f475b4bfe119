"""What the panel shows for a state: the evaluation of the last scenario that can be, and what was
refused since.
"""

from dataclasses import dataclass, replace

from ...acoustics.evaluate import evaluate


@dataclass(frozen=True, kw_only=True)
class Answer:
    """An evaluated scenario, and why the controls are set to another one that cannot be built.

    Parameters
    ----------
    scenario : Scenario
        The last one that can be
    by_formula : Result
        With the diffuse-field formula, at once
    result : Result
        Shown: the same, or that of the traced room
    refusal : str
        What was refused last: why the controls are set to something else, or something that was
        asked for; empty where nothing was
    possible : bool
        Whether the controls are set to what is shown
    """

    scenario: object
    by_formula: object
    result: object
    refusal: str = ""
    possible: bool = True

    @property
    def traced(self):
        """Whether the traced room is shown."""
        return self.result.room == "traced"

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
        return self.by_formula is other.by_formula or (
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
            result = evaluate(scenario, state.use)
        except ValueError as error:
            if last is None:
                raise
            return answered_again(last, state, str(error))
        return Answer(
            scenario=scenario,
            by_formula=result,
            result=result,
            refusal=refusal,
            possible=not refusal,
        )
    return answered_again(last, state, refusal)


def answered_again(last, state, refusal):
    """The last answer, with another refusal, and by formula where no trace is wanted.

    Parameters
    ----------
    last : Answer
        The last answer
    state : PanelState
        Says whether the traced room is wanted
    refusal : str
        Empty where the controls are set to what is shown

    Returns
    -------
    answer : Answer
        ``last`` itself where nothing has changed
    """
    result = last.result if state.trace else last.by_formula
    answer = replace(last, result=result, refusal=refusal, possible=not refusal)
    same = result is last.result and (refusal, not refusal) == (last.refusal, last.possible)
    return last if same else answer


def in_traced_room(answer, field):
    """The answer with the traced room shown.

    Parameters
    ----------
    answer : Answer
        By formula, or of fewer passes
    field : TracedField
        What has been traced so far

    Returns
    -------
    answer : Answer
        Its result is of the traced room
    """
    use = answer.by_formula.use.name
    return replace(answer, result=evaluate(answer.scenario, use, room=field))
