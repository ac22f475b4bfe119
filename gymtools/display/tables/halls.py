"""The published halls in tables: what was measured, what formula and tracer give, where they are
wrong.
"""

from html import escape

import numpy as np

from ...acoustics import model_error
from .markup import Num, Quiet, bullets, table

HALLS_SHOWN = ("all", "counted")
FAR = 0.25  # of the measured time, from which an octave is said to be wrong


def shown_halls(halls, which):
    """The halls that a workbook shows.

    Parameters
    ----------
    halls : sequence of MeasuredHall
        Of ``acoustics.measured_halls``
    which : str
        "all", or "counted" for those on which the stated error rests

    Returns
    -------
    shown : tuple of MeasuredHall
        In their order
    """
    return tuple(hall for hall in halls if which == "all" or hall.counts)


def halls_table(comparisons):
    """Measured, formula, traced and the stated range, decay by decay.

    Parameters
    ----------
    comparisons : sequence of DecayComparison
        Of ``acoustics.measured_halls.compare_decays``

    Returns
    -------
    html : str
        A table
    """
    head = ["hall", "octave", *map(Num, ("measured [s]", "textbook formula [s]", "traced [s]"))]
    head += [Num("stated range [s]"), "inside", "source"]
    return table("Measured reverberation times", head, [_row(c) for c in comparisons])


def _row(comparison):
    c = comparison
    low, high = model_error.range_of_decay(c.traced)
    return [
        f"{escape(c.hall.name)}: {escape(c.state.name)}" + ("" if c.hall.counts else " *"),
        escape(c.decay.label),
        Num(f"{c.decay.seconds:.1f}"),
        Num(f"{c.formula:.1f}"),
        Num(f"{c.traced:.1f} ± {c.error:.1f}"),
        Num(f"{low:.1f} to {high:.1f}"),
        "yes" if is_inside(c) else "<b>no</b>",
        Quiet(escape(c.hall.source)),
    ]


def is_inside(comparison):
    """Whether the stated range holds the measured decay.

    Parameters
    ----------
    comparison : DecayComparison
        One published decay

    Returns
    -------
    inside : bool
        By ``acoustics.model_error``
    """
    low, high = model_error.range_of_decay(comparison.traced)
    return bool(low <= comparison.decay.seconds <= high)


def assumed_list(comparisons):
    """What had to be assumed about each hall.

    Parameters
    ----------
    comparisons : sequence of DecayComparison
        As for ``halls_table``

    Returns
    -------
    html : str
        A list
    """
    halls = {c.hall.name: c.hall for c in comparisons}
    return bullets(
        f"<b>{escape(name)}</b>: {escape('; '.join(hall.assumed))}." for name, hall in halls.items()
    )


def error_sentences(comparisons):
    """Where formula and tracer are wrong, in figures.

    Parameters
    ----------
    comparisons : sequence of DecayComparison
        As for ``halls_table``

    Returns
    -------
    sentences : list of str
        Plain text
    """
    counted = [c for c in comparisons if c.hall.counts]
    inside = sum(map(is_inside, counted))
    low, high = model_error.decay_factor(np.array([model_error.LOW, model_error.HIGH]))
    level = model_error.range_of_late_level()
    sti = model_error.range_of_sti(np.full(7, 2.0))
    return [
        f"{inside} of {len(counted)} times measured where the finishes are published lie in the"
        f" stated range, {low:.2f} to {high:.2f} times the traced time. They made that range, so"
        " this is no proof. With scattering and decks set without the hall in question,"
        f" {model_error.HELD[0]} of all {model_error.HELD[1]} do, those with a star included; the"
        f" range stays the same. It is meant for four in five; resting on {model_error.HALLS} halls"
        " whose octaves go together, it has to be wide.",
        *_farthest(comparisons),
        "Level and STI are carried on by hand, not measured: the room's own sound may be"
        f" {-level[0]:.1f} dB weaker to {level[1]:.1f} dB stronger than traced, and where there is"
        f" no direct sound the STI of a gym that rings 2 s may be {-sti[0]:.2f} lower to"
        f" {sti[1]:.2f} higher.",
        model_error.NARROWER,
    ]


def _farthest(comparisons):
    """The formula at its worst, and what the tracer gets wrong by more than ``FAR``."""
    formula = max(comparisons, key=lambda c: abs(c.log_ratio_formula))
    yield (
        f"The textbook formula is worst at {formula.decay.label}, {formula.hall.name},"
        f" {formula.state.name}: {formula.formula:.1f} s where {formula.decay.seconds:.1f} s was"
        f" measured; traced {formula.traced:.1f} s."
    )
    for c in comparisons:
        if abs(c.traced / c.decay.seconds - 1) > FAR:
            longer = "long" if c.traced > c.decay.seconds else "short"
            yield (
                f"Traced too {longer} by more than {100 * FAR:.0f} %: {c.hall.name},"
                f" {c.state.name}, {c.decay.label}: {c.traced:.1f} s for"
                f" {c.decay.seconds:.1f} s measured."
            )
