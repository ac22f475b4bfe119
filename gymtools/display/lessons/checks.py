"""Whether a page works with its parameters: answers taken, aims within reach, prints that agree."""

NOT_ANSWERS = ("", "nan", "a lot", "1e99")


def check(page):
    """Answer every question of a page beside it, and look for a way to every aim.

    Nothing of it is shown on the page or kept.

    Parameters
    ----------
    page : LessonPage
        Not yet worked on

    Returns
    -------
    said : str
        What there is on the page

    Raises
    ------
    ValueError
        Something does not work with these parameters; says what
    """
    for key, question in page.questions.items():
        _check_question(key, question)
    for key, experiment in page.experiments.items():
        if experiment.aim.reached(experiment.compute(**experiment.setup.start)):
            raise ValueError(f"'{key}' begins where its aim is reached. Change the parameters.")
        if not any(experiment.first_reaching(name) for name in experiment.adjustments):
            raise ValueError(f"no slider of '{key}' reaches its aim. Change the parameters.")
    faults = [fault for table in page.compared for fault in table.faults]
    if faults:
        raise ValueError("; ".join(faults))
    rows = sum(len(table.rows) for table in page.compared)
    return (
        f"Questions: {len(page.questions)}. Experiments: {len(page.experiments)}."
        f" Compared values: {rows}. All of them work with these parameters."
    )


def _check_question(key, question):
    """A right answer is taken, what is none is refused, and nothing of it stays."""
    problem, asked = question.problem, question.twin()
    for text in NOT_ANSWERS:
        if asked.give(text).word != "not a guess":
            raise ValueError(f"'{key}' takes {text!r} for an answer.")
    if asked.give(problem.answer).word != "right" or question.answering.tries:
        raise ValueError(f"'{key}' does not take its own answer.")
