"""What a survey sheet said, in lines of plain text."""

import numpy as np

from .existing import hanging_words
from .survey import OCTAVES
from .survey_sheet import decay_words


def survey_lines(survey):
    """Everything that was understood of a sheet, a line each.

    Parameters
    ----------
    survey : SurveyRead
        What came back

    Returns
    -------
    lines : list of str
        Answers, noise, decays, recordings and equipment; at last what was not used, as a number
    """
    lines = [_answer_line(a) for a in survey.answers]
    for noise in survey.noise:
        who = f" ({noise.who})" if noise.who else ""
        said = _by_octave(noise.octaves_db, "{:.0f} dB")
        said += [f"{noise.level_dba:.0f} dB(A)"] if noise.level_dba is not None else []
        lines.append(f"{noise.name}{who}: {', '.join(said)}")
    for decay in survey.decays:
        for kind, values in (("T20", decay.t20), ("EDT", decay.edt)):
            said = _by_octave(values, "{:.2f} s")
            lines += [f"{decay.name}, {kind}: {', '.join(said)}"] if said else []
    if survey.mean is not None:
        said = ", ".join(_by_octave(survey.mean.times, "{:.2f} s"))
        lines += [f"Mean: {said}. {decay_words(survey.mean)}"]
    lines += [f"{file.name}: {file.words}" for file in survey.files[1:]]
    lines += [_item_line(item, survey.school.units) for item in survey.items]
    count = len(survey.bad)
    return [*lines, f"Not used: {count} (see below)." if count else "Not used: nothing."]


def _answer_line(answer):
    assumed = f"; assumed: {answer.was}" if answer.state == "corrected" and answer.was else ""
    state = {"noted": ""}.get(answer.state, f" ({answer.state}{assumed})")
    return f"{answer.name}: {answer.now or answer.was or 'nothing'}{state}"


def _by_octave(values, form):
    pairs = zip(OCTAVES, values, strict=True)
    return [f"{octave} {form.format(value)}" for octave, value in pairs if np.isfinite(value)]


def _item_line(item, units):
    """A piece of equipment, with how it hangs where it is a loudspeaker."""
    if not item.is_loudspeaker:
        return f"{item.words}: {item.number}" + (f", {item.remark}" if item.remark else "")
    place, height, faces, tilt = hanging_words(item, units)
    return (
        f"{item.words}: {item.number}, counts as {item.kind}; middle {place}; height {height};"
        f" faces {faces}; tilts down {tilt}; {item.condition}"
    )
