"""What a seat sounds like, in the record: the options as they are heard where words are least
clear, to be played offline.
"""

from html import escape

import numpy as np

from ...acoustics.evaluate import evaluate
from ...acoustics.listening import Listening, listen
from ...venue.programs import labels, program
from ..listening.files import CAUTION, flac_bytes
from ..listening.words import figures, listen_for, summed
from .page import quoted

MOST = 3  # options that are heard: each takes more than a megabyte
SAME_SEAT = 0.01  # so far apart two options' points are one seat [m]
# softly at first, and one sound at a time; the page's policy allows this script by its hash
ONE_AT_A_TIME = (
    'document.querySelectorAll("audio").forEach(function(a){a.volume=0.25;});'
    'document.addEventListener("play",function(e){'
    'document.querySelectorAll("audio").forEach(function(a){if(a!==e.target)a.pause();});},true);'
)


def sounds(page, decision, issue):
    """Put what a seat sounds like at the end, where the issue names a use.

    Parameters
    ----------
    page : Page
        Of the record
    decision : Decision
        What was decided
    issue : Issue
        ``heard`` names the use; nothing is put where it is empty

    Raises
    ------
    ValueError
        There is no such use
    """
    if not issue.heard:
        return
    result = evaluate(decision.chosen.scenario, issue.heard)
    index, played = least_clear(result), program(next(iter(labels())))
    over, quiet = Listening(background="use"), Listening(background="quiet")
    with_seat, left_out = _heard_options(decision, result, index)
    asked = [(name, there, over) for name, there in with_seat]
    asked.append((f"{decision.chosen.name} in a quiet gym", result, quiet))
    heards = [listen(there, index, played, how) for _, there, how in asked]
    scale = max(h.peak_db for h in heards) + 0.1
    files = [flac_bytes(h.samples, scale) for h in heards]
    size = sum(map(len, files)) * 4 / 3 / 1e6
    page.add(
        f"<h2>Hear it: {quoted(issue.heard)}</h2>",
        f"<p>{escape(heards[0].place)}: where words are least clear of all that listen."
        f" {escape(played.label)}, for headphones (a dummy head's ears, Gardner and Martin 1994)."
        f" All are as loud against each other as in the gym. The sounds take {size:.1f} MB of this"
        " page and play without a network; nothing plays by itself.</p>",
        f"<p><b>{escape(CAUTION)}</b></p>",
        "<ol>",
    )
    for (name, _, how), heard, file in zip(asked, heards, files, strict=True):
        page.sound(file, name, figures(heard, how))
    hint = listen_for(["quiet"] if len(asked) == 2 else [name for name, *_ in asked], heards)
    page.add("</ol>", f"<p>{escape(hint)} {escape(summed(heards))} {left_out}</p>")
    page.run(ONE_AT_A_TIME)


def _heard_options(decision, result, index):
    """Names and evaluations of the options that are heard, the chosen one first, and a sentence on
    those that are not.
    """
    heard, silent = [(decision.chosen.name, result)], []
    for option in decision.options[1:]:
        there = evaluate(option.scenario, result.use.name)
        room = len(heard) < MOST and len(there.points) > index
        if room and np.allclose(there.points[index], result.points[index], atol=SAME_SEAT):
            heard.append((option.name, there))
        else:
            silent.append(quoted(option.name))
    if not silent:
        return heard, ""
    return heard, (
        f"Not heard here: {', '.join(silent)}. At most {MOST} options are, and only where they have"
        " this very seat."
    )


def least_clear(result):
    """Where words are least clear of all that listen.

    Parameters
    ----------
    result : Result
        An evaluation

    Returns
    -------
    index : int
        Of the result's points, in the areas that listen [-]
    """
    spans = [result.spans[name] for name in result.weights]
    points = np.concatenate([np.arange(s.start, s.stop) for s in spans])
    return int(points[result.sti[points].argmin()])
