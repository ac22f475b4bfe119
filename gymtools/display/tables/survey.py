"""What a survey sheet said, in tables."""

from html import escape

import numpy as np

from ...commissioning.existing import hanging_words
from ...commissioning.survey_sheet import decay_words
from ...physics.bands import LABELS, MIDDLE, NAMES
from ...venue.measured_room import state_words
from .markup import Num, Quiet, bullets, table

STATES = {  # of an answer, as it is said
    "confirmed": "as assumed",
    "corrected": "<b>changed</b>",
    "noted": "noted",
    "not sure": "not sure: stays as it is",
    "not measured": "not measured: stays as it is",
}


def answers_table(survey):
    """Every blank that was filled in: what was asked, read, assumed, and what counts now.

    Parameters
    ----------
    survey : SurveyRead
        What came back

    Returns
    -------
    html : str
        A table, what was changed first; a sentence where nothing was filled in
    """
    order = list(STATES)[1:2] + list(STATES)
    answers = sorted(survey.answers, key=lambda a: order.index(a.state))
    if not answers:
        return "<p>Nothing is filled in under 'measured'.</p>"
    rows = [
        (
            escape(a.name),
            escape(a.read),
            escape(a.was or "-"),
            escape(a.now or "-"),
            STATES[a.state],
            Quiet(escape(a.cell)),
        )
        for a in answers
    ]
    head = ("asked", "read", "was assumed", "now", "", "where it stands")
    return table(f"{len(rows)} blanks were filled in", head, rows)


def faults_list(survey):
    """What is not used, and what should be looked at again.

    Parameters
    ----------
    survey : SurveyRead
        What came back

    Returns
    -------
    html : str
        Two lists; empty where there is nothing
    """
    found = ""
    if survey.bad:
        found += f"<p><b>Not used ({len(survey.bad)}):</b></p>" + bullets(
            [escape(x) for x in survey.bad]
        )
    if survey.doubts:
        found += "<p><b>Used, but look again:</b></p>" + bullets([escape(x) for x in survey.doubts])
    return found


def noise_table(survey):
    """Noise of the gym as somebody read it.

    Parameters
    ----------
    survey : SurveyRead
        What came back

    Returns
    -------
    html : str
        A table; empty where none was read
    """
    if not survey.noise:
        return ""
    rows = [
        [
            escape(f"{n.name}: {n.who}" if n.who else n.name),
            *_cells(n.octaves_db, ".0f"),
            Num("-" if n.level_dba is None else f"{n.level_dba:.0f}"),
        ]
        for n in survey.noise
    ]
    head = ["noise [dB], octave [Hz]", *map(Num, LABELS), Num("dB(A)")]
    return table("How loud the gym is; the first reading counts", head, rows)


def decays_table(survey):
    """Decays that were written or recorded, octave by octave, with their mean and spread.

    Parameters
    ----------
    survey : SurveyRead
        What came back

    Returns
    -------
    html : str
        A table and a sentence; empty where no decay was measured
    """
    mean = survey.mean
    if mean is None:
        return ""
    rows = []
    for decay in survey.decays:
        both = {"T20": decay.t20, "EDT": decay.edt}
        used = {k: v for k, v in both.items() if np.isfinite(v).any()}
        shown = used if len(used) == 1 else {"T20": decay.t20}
        rows += [[f"{escape(decay.name)}: {k} [s]", *_cells(v, ".2f")] for k, v in shown.items()]
    rows.append(["<b>mean [s]</b>", *_cells(mean.times, ".2f")])
    rows.append(["standard deviation [%]", *_cells(100 * mean.spread, ".0f")])
    early = [name for name, is_early in zip(NAMES, mean.early, strict=True) if is_early]
    words = decay_words(mean)
    if early:
        words += f" At {', '.join(early)} it is the early decay: T20 was not to be had there."
    head = ["octave [Hz]", *map(Num, LABELS)]
    return table("How the gym rings, as measured", head, rows) + f"<p>{escape(words)}</p>"


def _cells(values, form):
    return [Num(f"{v:{form}}" if np.isfinite(v) else "-") for v in values]


def fit_sentence(fitted):
    """What the fit to the measured decay came to, in a sentence.

    Parameters
    ----------
    fitted : FittedRoom
        Of ``acoustics.measured_room.fit_room``

    Returns
    -------
    words : str
        Means of 500 Hz to 2 kHz, as far as they were measured
    """
    there = np.isfinite(fitted.measured)
    middle = np.zeros(7, bool)
    middle[MIDDLE] = True
    at = there & middle if (there & middle).any() else there
    measured, before, after = (
        float(np.mean(v[at])) for v in (fitted.measured, fitted.before, fitted.after)
    )
    spread = 100 * float(np.mean(fitted.spread[at]))
    octaves = ", ".join(label for label, used in zip(NAMES, at, strict=True) if used)
    said = state_words(fitted.scenario)
    words = (
        f"{said[0].upper()}{said[1:]}. At {octaves} the gym rings {measured:.1f} s; from"
        f" published finishes it would ring {before:.1f} s. Everything is predicted from the fitted"
        f" room now, which rings {after:.1f} s, ± {spread:.0f} %."
    )
    if fitted.unreached:
        at = ", ".join(
            n for n, label in zip(NAMES, LABELS, strict=True) if label in fitted.unreached
        )
        words += (
            f" No likely finishes ring as measured at {at}: look at those readings, and at what was"
            " built."
        )
    return words


def equipment_table(items, units):
    """The sound system that is there.

    Parameters
    ----------
    items : sequence of ExistingItem
        Of a survey
    units : str
        "m" or "ft"

    Returns
    -------
    html : str
        A table, with how each loudspeaker hangs as it was understood; empty where nothing was
        found
    """
    if not items:
        return ""
    rows = [
        (
            escape(i.words),
            i.number,
            escape(i.kind) if i.is_loudspeaker else "-",
            *(map(escape, hanging_words(i, units)) if i.is_loudspeaker else "----"),
            escape(i.condition) if i.is_loudspeaker else "-",
            escape(i.remark or "-"),
            Quiet(escape(i.where)),
        )
        for i in items
    ]
    head = ("what", Num("how many"), "counts as", "middle", "height", "faces", "tilts down")
    head += ("condition", "remark", "where it stands")
    return table("The sound system that is there", head, rows)
