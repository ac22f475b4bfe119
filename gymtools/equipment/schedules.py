"""Schedules for the installer: plain tables of what hangs where, what drives it, what goes in, what
each button sets.
"""

from dataclasses import dataclass

import numpy as np

from ..acoustics.evaluate import evaluate
from ..acoustics.exposure import loudness
from ..acoustics.throws import throws
from ..physics import bands
from ..venue.units import feet_inches
from .amplification import CIRCUIT_PART, DAMPING, amplify, rack_place, rack_units
from .assistive_listening import receivers
from .bill import bill
from .signal import EXTRA_UNITS, inputs, mixer, plates, presets, processor

POUND = 0.45359237  # kg
TUNED = 3  # octaves that are tuned: those below 1 kHz
STEEP = 75.0  # tilt from which a loudspeaker fires down rather than ahead [deg]
AIMS = (
    "Aim points are those of the use in which most of a loudspeaker's sound lands on who listens."
)
CAUTIONS = {
    "Loudspeakers": (
        "Attachment to the structure is designed and approved by a licensed structural engineer:"
        " rated hardware, a second independent safety, only enclosures with rated points,"
        " protection against ball strike. A lift on a sport floor needs its load spread. Weights"
        " are of the loudspeakers; hardware comes on top."
    ),
    "Amplifiers": (
        "Mains by a licensed electrician, to the local code. Emergency announcements are not part"
        " of this system: the fire-alarm contractor wires the muting contact."
    ),
    "Cables": (
        "Methods and separation follow the marking on the amplifier and the local code. Lengths"
        " follow walls and roof; measure before cutting."
    ),
    "Levels": (
        "Hours are for speech and noise together, as long as both last; they are rules for people"
        " at work, not for pupils. Keep the nearest seats within local exposure rules, and set the"
        " limiter before the first use."
    ),
}


@dataclass(frozen=True, kw_only=True)
class Schedule:
    """A table."""

    title: str
    columns: tuple
    rows: tuple  # tuples of text and numbers
    note: str = ""


@dataclass(frozen=True, kw_only=True, eq=False)
class Parts:
    """Everything that the schedules are made from, computed once."""

    scenario: object
    results: dict
    system: object
    lines: tuple


def parts(scenario, *, prices=None, room="statistical"):
    """Evaluate a design and choose what drives it.

    Parameters
    ----------
    scenario : Scenario
        The design [-]
    prices : PriceBook, optional
        The package's invented one when left out [-]
    room : str
        As for ``evaluate`` [-]

    Returns
    -------
    parts : Parts
        For ``schedules``
    """
    results = {
        u.name: evaluate(scenario, u.name, room=room, follow_echoes=False) for u in scenario.uses
    }
    system = amplify(scenario, results, prices=prices)
    return Parts(
        scenario=scenario,
        results=results,
        system=system,
        lines=bill(scenario, prices, system=system),
    )


def schedules(made):
    """All schedules of a design.

    Parameters
    ----------
    made : Parts
        Of ``parts`` [-]

    Returns
    -------
    schedules : tuple of Schedule
        Loudspeakers, Levels, Amplifiers, Channels, Cables, Inputs, Presets, Bill
    """
    return (
        _loudspeakers(made),
        _levels(made),
        _amplifiers(made),
        _channels(made),
        _cables(made),
        _inputs(made),
        _presets(made),
        _bill(made),
    )


def both_lengths(meters):
    """A length as two cells: meters, and feet and inches.

    Parameters
    ----------
    meters : float
        Length [m]

    Returns
    -------
    cells : tuple
        (number, text)
    """
    return round(float(meters), 3) + 0.0, feet_inches(meters)  # + 0.0 turns -0.0 into 0.0


def pan_words(pan_deg, downtilt_deg=0.0):
    """A pan as an installer reads it from a plan whose north is up.

    Parameters
    ----------
    pan_deg : float
        Counter-clockwise from east [deg]
    downtilt_deg : float
        Of one that fires down, the pan says where its top points [deg]

    Returns
    -------
    words : str
        The nearest side and the turn from it, seen from above
    """
    side, name = min(
        ((90.0 * k, n) for k, n in enumerate(("east", "north", "west", "south"))),
        key=lambda s: abs((pan_deg - s[0] + 180) % 360 - 180),
    )
    off = (pan_deg - side + 180) % 360 - 180
    verb = "faces" if downtilt_deg < STEEP else "its top points"
    if abs(off) < 0.05:
        return f"{verb} {name}"
    order = ("east", "north", "west", "south")
    toward = order[(order.index(name) + (1 if off > 0 else -1)) % 4]
    return f"{verb} {name}, turned {abs(off):.1f}° to the {toward}"


def tilt_words(downtilt_deg):
    """A tilt as an inclinometer shows it.

    Parameters
    ----------
    downtilt_deg : float
        Positive down [deg]

    Returns
    -------
    words : str
        From level
    """
    if abs(downtilt_deg) < 0.05:
        return "level"
    if downtilt_deg > 89.95:
        return "straight down"
    return f"{abs(downtilt_deg):.1f}° {'down' if downtilt_deg > 0 else 'up'} from level"


def _aims(made):
    """Throw of every loudspeaker's first beam, from the use in which most of its sound lands on who
    listens; the first of several alike.
    """
    found = {}
    for result in made.results.values():
        listening = [
            n for n, part in enumerate(result.parts) if result.use.listens.get(part, 0) > 0
        ]
        serves = result.first_incidence[:, listening].sum(axis=1)  # (loudspeaker,)
        beams = {}
        for t in throws(result):
            beams.setdefault(t.tag, t)
        for n, c in enumerate(result.scenario.loudspeakers):
            if result.playing[n] and (c.tag not in found or serves[n] > found[c.tag][0] + 1e-6):
                found[c.tag] = serves[n], beams[c.tag]
    return {tag: t for tag, (_, t) in found.items()}


def _aim_words(throw, kind):
    if kind.lobes == 1:
        return throw.part
    return (
        f"{throw.part}: beam 1 of {kind.lobes}, {kind.lobe_tilt_deg:g}° below the housing's level"
    )


def _loudspeakers(made):
    s, rows, aims = made.scenario, [], _aims(made)
    for c in s.loudspeakers:
        west, south = c.x + s.hall.length / 2, c.y + s.hall.width / 2
        t = aims.get(c.tag)
        at = (
            (
                *both_lengths(t.end[0] + s.hall.length / 2),
                *both_lengths(t.end[1] + s.hall.width / 2),
                *both_lengths(t.end[2]),
            )
            if t
            else ("",) * 6
        )
        rows.append(
            (
                c.tag,
                c.group,
                c.type.name,
                *both_lengths(west),
                *both_lengths(south),
                *both_lengths(c.z),
                pan_words(c.pan_deg, c.downtilt_deg),
                tilt_words(c.downtilt_deg),
                round(c.pan_deg, 2),
                round(c.downtilt_deg, 2),
                _aim_words(t, c.type) if t else "plays in no use",
                *at,
                *(both_lengths(t.distance) if t else ("", "")),
                c.type.weight_kg,
                round(c.type.weight_kg / POUND, 1),
                made.system.channel(c.tag).number,
            )
        )

    def pair(words):
        return (f"{words} [m]", f"{words} [ft-in]")

    columns = (
        "tag",
        "group",
        "type",
        *pair("from west wall"),
        *pair("from south wall"),
        *pair("height of the front's middle"),
        "pan in words",
        "tilt in words",
        "pan [°]",
        "tilt [°]",
        "aims at",
        *pair("aim point from west wall"),
        *pair("aim point from south wall"),
        *pair("aim point height"),
        *pair("throw"),
        "weight [kg]",
        "weight [lb]",
        "channel",
    )
    return Schedule(
        title="Loudspeakers",
        columns=columns,
        rows=tuple(rows),
        note=f"{AIMS} {CAUTIONS['Loudspeakers']}",
    )


def _levels(made):
    rows = []
    for r in made.results.values():
        x = loudness(r, made.system)
        rows.append(
            (
                x.use,
                x.target_dba,
                round(x.reach_dba, 1),
                round(x.margin_db, 1),
                x.word,
                f"{x.tag}, {x.limited_by}",
                *(round(float(v), 0) for v in x.reach_db),
                round(x.loudest_dba, 1),
                round(x.cap_db, 1),
                round(x.exposed_dba, 1),
                round(min(x.niosh_h, 24.0), 1),
                round(min(x.osha_h, 24.0), 1),
            )
        )
    octaves = tuple(
        f"can reach at {f} Hz [dB]" for f in ("125", "250", "500", "1k", "2k", "4k", "8k")
    )
    columns = (
        "use",
        "wanted [dB(A)]",
        "can reach [dB(A)]",
        "to spare [dB]",
        "verdict",
        "limited by",
        *octaves,
        "loudest place, speech [dB(A)]",
        "limiter over the use's level [dB]",
        "loudest place with the noise [dB(A)]",
        "NIOSH hours with both",
        "OSHA hours with both",
    )
    return Schedule(title="Levels", columns=columns, rows=tuple(rows), note=CAUTIONS["Levels"])


def _amplifiers(made):
    system, e, rows = made.system, made.scenario.equipment, []
    for name, kind in system.amplifiers.items():
        used = [c for c in system.channels if c.amplifier == name]
        rows.append(
            (
                name,
                kind.name,
                len(used),
                kind.channels,
                kind.rack_units,
                kind.weight_kg,
                ", ".join(str(c.number) for c in used),
            )
        )
    drawn, heat = system.mains
    filled, rack = rack_units(system, EXTRA_UNITS)
    place = rack_place(made.scenario)
    west, south = place[0] + made.scenario.hall.length / 2, place[1] + made.scenario.hall.width / 2
    note = (
        f"At an eighth of all power the amplifiers draw {drawn:.0f} W, {system.current_a:.1f} A at"
        f" {e.mains_volts:g} V: {system.circuits} circuit{'s' * (system.circuits > 1)} of"
        f" {e.circuit_a:g} A (loaded to {100 * CIRCUIT_PART:.0f} %); heat {heat:.0f} W,"
        f" {heat * 3.412:.0f} BTU/h. Rack: {filled} units filled,"
        f" {f'{rack} units high' if rack else 'more than one rack'}, {west:.2f} m"
        f" ({feet_inches(west)}) from the west wall, {south:.2f} m ({feet_inches(south)}) from the"
        f" south wall. {CAUTIONS['Amplifiers']}"
    )
    return Schedule(
        title="Amplifiers",
        columns=(
            "amplifier",
            "type",
            "channels used",
            "channels",
            "rack units",
            "weight [kg]",
            "channels by number",
        ),
        rows=tuple(rows),
        note=note,
    )


def _channels(made):
    rows = tuple(
        (
            c.number,
            c.amplifier,
            c.output,
            c.group,
            ", ".join(c.tags),
            f"{c.line_volts:g} V line" if c.line_volts else "direct",
            c.tap_w or "",
            round(c.load_ohm, 1),
            round(c.need_w),
            round(c.gives_w),
            round(min(c.gives_w, c.bears_w)),
            c.high_pass_hz,
            "" if c.line_volts else round(c.damping),
            c.cable,
        )
        for c in made.system.channels
    )
    columns = (
        "channel",
        "amplifier",
        "output",
        "group",
        "loudspeakers",
        "kind",
        "tap [W]",
        "load [ohm]",
        "peaks ask for [W]",
        "gives [W]",
        "limit peaks to [W]",
        "high-pass [Hz]",
        "damping factor",
        "cable",
    )
    strong = [str(c.number) for c in made.system.channels if c.gives_w > c.bears_w]
    warnings = " ".join(d[0].upper() + d[1:] for d in made.system.warnings)
    if strong:
        warnings += (
            f" Channel{'s' * (len(strong) > 1)} {', '.join(strong)}: the amplifier gives more than"
            " the loudspeakers bear; set the limiter before they are first driven."
        )
    return Schedule(
        title="Channels",
        columns=columns,
        rows=rows,
        note=warnings.strip()
        or f"Every channel suffices; damping factors of {DAMPING:.0f} or more are usual.",
    )


def _cables(made):
    rows = tuple(
        (
            c.cable,
            f"rack, {c.amplifier} output {c.output}",
            " - ".join(c.tags),
            c.conductor,
            " + ".join(f"{x:.1f}" for x in c.lengths),
            *both_lengths(c.length),
            round(c.loss_db, 2),
        )
        for c in made.system.channels
    )
    columns = (
        "cable",
        "from",
        "to",
        "conductor",
        "pieces [m]",
        "length [m]",
        "length [ft-in]",
        "loss at the last [dB]",
    )
    return Schedule(title="Cables", columns=columns, rows=rows, note=CAUTIONS["Cables"])


def _inputs(made):
    s = made.scenario
    rows = tuple(
        (
            i.number,
            i.name,
            i.type,
            "wireless" if i.wireless else "wired",
            i.place,
            ", ".join(i.uses),
        )
        for i in inputs(s)
    )
    chosen, needs, (whole, compatible) = mixer(s), processor(s, made.system), receivers(s.seats)
    note = (
        f"Mixer: {chosen.kind} ({chosen.reason}). Processor: {needs['inputs']} inputs,"
        f" {needs['outputs']} outputs, {needs['presets']} presets, delays to"
        f" {needs['longest_delay_ms']:.0f} ms, high-pass"
        f" {' and '.join(str(f) for f in needs['high_pass_hz'])} Hz. Plates:"
        f" {'; '.join(plates(s))}. Assistive listening for {s.seats} places: {whole} receivers,"
        f" {compatible} of them hearing-aid compatible (2010 ADA Standards 219.3). The fire-alarm"
        " contractor's contact mutes all outputs. High-pass microphones at 80 to 100 Hz (common"
        " practice)."
    )
    return Schedule(
        title="Inputs",
        columns=("input", "name", "type", "kind", "where", "uses"),
        rows=rows,
        note=note,
    )


def masters(results):
    """Setting of the whole system that each use asks for.

    Parameters
    ----------
    results : dict
        Evaluations by use [-]

    Returns
    -------
    masters : dict
        By use; 0 for the one that is turned up most [dB]
    """
    found = {}
    for name, r in results.items():
        n = int(np.flatnonzero(r.playing)[0])
        found[name] = (
            float(r.loudspeaker_gain_db[n])
            - r.use.group_setting(r.scenario.loudspeakers[n].group).gain_db
        )
    return {name: value - max(found.values()) for name, value in found.items()}


def _presets(made):
    groups = [g.name for g in made.scenario.groups]
    rows, master = [], masters(made.results)
    for p in presets(made.scenario):
        cells = [
            (
                "off"
                if p.groups[g] is None
                else f"gain {p.groups[g][0]:g} dB, delay {p.groups[g][1]:g} ms"
            )
            for g in groups
        ]
        tuned = [round(float(v), 1) + 0.0 for v in made.results[p.use].room_eq_db[:TUNED]]
        rows.append(
            (
                p.number,
                p.use,
                p.target_dba,
                round(master[p.use], 1) + 0.0,
                *tuned,
                *cells,
                ", ".join(p.microphones) or "none",
                ", ".join(p.closed) or "none",
                ", ".join(p.set_up) or "nothing",
            )
        )
    low = tuple(f"tuning at {f} Hz [dB]" for f in bands.LABELS[:TUNED])
    columns = (
        "preset",
        "use",
        "speech level [dB(A)]",
        "master [dB]",
        *low,
        *groups,
        "open microphones",
        "banks pushed back",
        "set out",
    )
    note = (
        "Master: setting of the whole system, 0 for the preset that is turned up most. Gains of the"
        " groups stand relative to their preset's master, delays to its undelayed groups. Tuning is"
        " for all outputs and follows what stands in the hall, preset by preset. These are settings"
        " to begin with: microphones, voices and the room as built decide the last decibels."
    )
    return Schedule(title="Presets", columns=columns, rows=tuple(rows), note=note)


def _bill(made):
    rows = [
        (
            x.kind,
            x.item,
            round(x.quantity, 1),
            x.unit,
            x.price,
            round(x.quantity * x.price, 2),
            round(x.hours, 1),
            round(x.labor, 2),
            round(x.total, 2),
        )
        for x in made.lines
    ]
    total = (
        "total",
        "",
        "",
        "",
        "",
        round(sum(r[5] for r in rows), 2),
        round(sum(r[6] for r in rows), 1),
        round(sum(r[7] for r in rows), 2),
        round(sum(r[8] for r in rows), 2),
    )
    columns = (
        "kind",
        "item",
        "quantity",
        "unit",
        "price of one",
        "material",
        "hours",
        "labor",
        "total",
    )
    return Schedule(
        title="Bill",
        columns=columns,
        rows=(*rows, total),
        note="Prices and hours are the price book's, in its own currency.",
    )
