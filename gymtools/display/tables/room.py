"""The room in tables: where sound lands, how long it rings, what absorbs it."""

from html import escape

import numpy as np

from ...acoustics.room_comparison import bent_decay, bent_decay_sentence
from ...physics.bands import LABELS
from ...venue.finishes import FINISHES
from ...venue.measured_room import by_octave, measured_warnings, state_words
from ...venue.units import FOOT
from ..theme import room_words
from .markup import Num, Quiet, bullets, table

SCATTERING = "scattering at 125 Hz, 500 Hz, 2 kHz"  # heading of ``scattering_text``
LEAST_S = 0.05  # error of a decay time that is shown at least, as its digits allow [s]
SHOWN = 0.005  # parts of the room that get less than this from every loudspeaker have no column


def room_shown(result):
    """What a result comes from.

    Parameters
    ----------
    result : Result
        An evaluation

    Returns
    -------
    words : str
        With the statistical error
    """
    if result.room == "statistical":
        return f"Shown: {room_words(result)}"
    level, decay = result.reverberant.error_db, max(result.rt_mid_error, LEAST_S)
    return (
        f"Shown: {room_words(result)}. By chance alone, the room's sound may be {level:.1f} dB off"
        f" at some seats, and the reverberation time {decay:.1f} s"
    )


def settled_words(result, settled):
    """How sure the picture is, in few words.

    Parameters
    ----------
    result : Result
        An evaluation
    settled : bool
        Whether nothing more comes

    Returns
    -------
    html : str
        With the statistical error; what it means stands in its tooltip
    """
    means = escape(f"{room_shown(result)}.")
    if result.room == "statistical":
        return f'<span title="{means}">{room_words(result)}</span>'
    words = "Settled" if settled else "Settling"
    error = result.reverberant.error_db
    return f'<span title="{means}">{words}, ±{error:.1f} dB</span>'


def scattering_text(finish):
    """Scattering of a finish in three octaves.

    Parameters
    ----------
    finish : Finish
        A finish

    Returns
    -------
    words : str
        At 125 Hz, 500 Hz and 2 kHz
    """
    return ", ".join(f"{finish.scattering[octave]:.2f}" for octave in (0, 2, 4))


def differences_list(sentences):
    """Where the textbook formula differs, and why.

    Parameters
    ----------
    sentences : list of str
        Of ``acoustics.differences``

    Returns
    -------
    html : str
        A list; empty when there is no difference
    """
    if not sentences:
        return ""
    about = (
        "<p>The textbook formula takes sound to be alike everywhere. It is a cross-check; nothing"
        " is judged by it. Where it differs, and why:</p>"
    )
    return about + bullets([escape(sentence) for sentence in sentences])


def landing_table(result):
    """Share of first incidence of each loudspeaker's sound, by part of the room.

    Parameters
    ----------
    result : Result
        An evaluation

    Returns
    -------
    html : str
        A table, one row per loudspeaker, one column per part of the room
    """
    shown = [k for k in range(len(result.parts)) if result.first_incidence[:, k].max() >= SHOWN]
    listeners = {a.name for a in result.areas}
    head = ["loudspeaker"] + [
        Num(escape(result.parts[k]) + (" (listeners)" if result.parts[k] in listeners else ""))
        for k in shown
    ]
    rows = [
        [
            escape(c.tag) + ("" if result.playing[s] else " (off in this use)"),
            *(Num(f"{100 * result.first_incidence[s, k]:.0f} %") for k in shown),
        ]
        for s, c in enumerate(result.scenario.loudspeakers)
    ]
    caption = (
        "Where each loudspeaker's sound lands first (500 Hz to 4 kHz, share of all it radiates)"
    )
    return table(caption, head, rows)


def room_table(result, units):
    """Reverberation by octave, volume, and the finishes with their sources.

    Parameters
    ----------
    result : Result
        An evaluation
    units : str
        "m" or "ft"

    Returns
    -------
    html : str
        Two tables and a sentence on the late decay
    """
    return f"{_reverberation(result, units)}{_late_decay(result)}{_finishes(result)}"


def measured_table(scenario):
    """What was measured in the gym, and whether predictions start from it.

    Parameters
    ----------
    scenario : Scenario
        Perhaps with a measured room

    Returns
    -------
    html : str
        A table and sentences; empty where nothing was measured
    """
    room, fit = scenario.measured_room, scenario.room_fit
    if room is None:
        return ""
    rows = [("measured [s]", room.times, ".2f")]
    if fit is not None:
        rows += [
            ("with the fitted room [s]", by_octave(fit.fitted_s), ".2f"),
            ("left unknown, ± [%]", by_octave(fit.spread_pct), ".0f"),
        ]
    stood = state_words(scenario)
    said = [", ".join(text for text in (room.where, room.date, stood) if text), room.note]
    said += measured_warnings(scenario)
    words = ". ".join(escape(text.rstrip(".")) for text in said if text)
    head = ["octave [Hz]", *map(Num, LABELS)]
    cells = [[name, *_numbers(values, form)] for name, values, form in rows]
    return f"{table('Measured in this gym', head, cells)}<p>{words}.</p>"


def fit_table(fitted):
    """What was measured in the gym, and the absorption and scattering that give it.

    Parameters
    ----------
    fitted : FittedRoom
        Of ``acoustics.measured_room.fit_room``

    Returns
    -------
    html : str
        Two tables and a sentence
    """
    head = ["octave [Hz]", *map(Num, LABELS)]
    times = [
        ("measured [s]", fitted.measured, ".2f"),
        ("from published values [s]", fitted.before, ".2f"),
        ("fitted [s]", fitted.after, ".2f"),
        ("not known before, ± [%]", 100 * fitted.prior_spread, ".0f"),
        ("not known now, ± [%]", 100 * fitted.spread, ".0f"),
    ]
    pairs = zip(fitted.finishes, fitted.absorption, strict=True)
    factors = [(escape(name), row, ".2f") for name, row in pairs]
    if fitted.room == "traced":
        factors.append(("scattering of floor, walls and roof", fitted.scattering, ".2f"))
    words = (
        "A decay cannot say which finish is off: the least known and largest are moved most, none"
        " further than the measurement asks."
    )
    if fitted.unreached:
        octaves = escape(", ".join(fitted.unreached))
        words += f" No likely values give what was measured at {octaves} Hz."
    by_octave = (
        table(caption, head, [[name, *_numbers(values, form)] for name, values, form in rows])
        for caption, rows in (
            (f"Reverberation time {escape(state_words(fitted.scenario))}; and as fitted", times),
            ("Published absorption times", factors),
        )
    )
    return f"{''.join(by_octave)}<p>{words}</p>"


def _numbers(values, form):
    return [Num(f"{v:{form}}" if np.isfinite(v) else "-") for v in values]


def _reverberation(result, units):
    room = result.configuration.room
    volume = f"{room.volume:,.0f} m³" if units == "m" else f"{room.volume / FOOT**3:,.0f} ft³"
    rows = []
    if result.room == "traced":
        own = result.own_decay
        times = {"early decay EDT": own.edt, "T20": own.t20, "T30": own.t30}
        times["T20, standard error of the rays"] = own.t20_error
        if result.use.judged_as == "sports" and result.use.occupied:
            times["T20 with nobody in it, which is judged"] = result.decay_with({}).t20
        rows += [(f"{name} [s]", values, ".2f") for name, values in times.items()]
    rows += [
        ("textbook formula: Eyring with air [s]", result.rt, ".2f"),
        ("textbook formula: Sabine with air [s]", result.rt_sabine, ".2f"),
        ("reverberant speech level [dB]", result.reverberant_db, ".0f"),
        ("noise [dB]", result.noise_db, ".0f"),
    ]
    if result.spill is not None:
        words = f"of it speech of '{escape(result.use.beside)}' through the divider [dB]"
        rows.append((words, result.spill_db, ".0f"))
    return table(
        f"Reverberation time as occupied, {volume}",
        ["octave [Hz]", *map(Num, LABELS)],
        [[name, *_numbers(values, form)] for name, values, form in rows],
    )


def _late_decay(result):
    """Whether the decay goes on much longer than it began."""
    if result.room == "statistical":
        return "<p>No formula says whether sound keeps bouncing between bare walls; rays do.</p>"
    words = bent_decay_sentence(bent_decay(result))
    if words:
        return f"<p><b>Long late decay.</b> {escape(words)}</p>"
    return "<p>The decay is even: late sound dies away about as fast as early sound.</p>"


def _finishes(result):
    treated = {t.finish for t in result.scenario.treatments}
    surfaces = result.configuration.room.surfaces
    used = sorted({n for s in surfaces for n in (s.finish, s.full) if n} | treated)
    rows = [
        [
            escape(name),
            *_numbers(FINISHES[name].absorption, ".2f"),
            Quiet(escape(FINISHES[name].source)),
            Num(scattering_text(FINISHES[name])),
            Quiet(escape(FINISHES[name].scattering_source)),
        ]
        for name in used
    ]
    head = ["finish", *map(Num, LABELS), "source", Num(SCATTERING), "source"]
    return table("Absorption and scattering coefficients used", head, rows)
