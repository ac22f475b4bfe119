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
# softly at first, and one sound at a time; the page's policy allows this script by its hash
ONE_AT_A_TIME = (
    'document.querySelectorAll("audio").forEach(function(a){a.volume=0.25;});document.addEventListener("play",function(e){document.querySelectorAll("audio").forEach('
    "function(a){if(a!==e.target)a.pause();});},true);"
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
    index = least_clear(result)
    played, how = program(next(iter(labels()))), Listening(background="use")
    heard = {
        o.name: listen(_evaluated(o, result), index, played, how)
        for o in decision.options[:MOST]
        if _same_seat(_evaluated(o, result), result, index)
    }
    heard["in a quiet gym"] = listen(result, index, played, Listening(background="quiet"))
    names = [*heard]
    scale = max(h.peak_db for h in heard.values()) + 0.1
    files = [flac_bytes(h.samples, scale) for h in heard.values()]
    size = sum(map(len, files)) * 4 / 3 / 1e6
    page.add(
        f"<h2>Hear it: {quoted(issue.heard)}</h2>",
        f"<p>{escape(next(iter(heard.values())).place)}: where words are least clear of all that"
        " listen."
        f" {escape(played.label)}, for headphones (a dummy head's ears, Gardner and Martin 1994)."
        f" All are as loud against each other as in the gym. The sounds take {size:.1f} MB of this"
        " page and play without a network; nothing plays by itself.</p>",
        f"<p><b>{escape(CAUTION)}</b></p>",
        "<ol>",
    )
    for name, file in zip(names, files, strict=True):
        quiet = name == names[-1]
        said = figures(heard[name], Listening(background="quiet") if quiet else how)
        label = f"{decision.chosen.name} in a quiet gym" if quiet else name
        page.sound(file, label, said)
    hint = listen_for(["quiet"] if len(names) == 2 else names, [*heard.values()])
    page.add("</ol>", f"<p>{escape(hint)} {escape(summed([*heard.values()]))}</p>")
    page.run(ONE_AT_A_TIME)


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


def _evaluated(option, result):
    """The option in the use that is heard."""
    return evaluate(option.scenario, result.use.name)


def _same_seat(other, result, index):
    """Whether the option has the seat where the chosen one has it."""
    there = other.points
    return len(there) > index and np.allclose(there[index], result.points[index], atol=0.01)
