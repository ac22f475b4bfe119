"""Schedules for the installer: plain tables of what hangs where, what drives it, what goes in, what
each button sets, what it costs.
"""

from dataclasses import dataclass, replace

import numpy as np

from ..acoustics.evaluate import evaluate
from ..physics import bands
from ..venue.joists import joist_warnings
from ..venue.scenario import Scenario
from ..venue.units import feet_inches
from . import hanging, hanging_points, schedule_units
from .amplification import CIRCUIT_PART, Amplification, amplify
from .assistive_listening import receivers
from .bill import bill, there_already
from .cabling import counted_in
from .hanging import both_lengths
from .hanging_points import ENGINEER, assumed, total_words
from .loudness import loudness
from .outputs import TRANSFORMER_DB
from .prices import currency_of, in_units
from .rack import rack_assumed, rack_place, rack_units
from .signal import EXTRA_UNITS, inputs, mixer, plates, presets, processor
from .wiring_words import DAMPING, wiring_name

LOADS = "Loads of the hanging points"  # the drawing of where they are is "Hanging points"
BTU_H = 3.412  # of one watt [BTU/h]
TUNED = 3  # octaves of the room equalization: those below 1 kHz
# what is printed as a table of its own: its title, and how its columns begin
APART = {
    "Loudspeakers": ("turn, tilt and aim", ("pan", "tilt", "downtilt", "aim", "throw")),
    LOADS: (
        "masses, suspension and forces",
        ("loudspeaker", "hardware", "load", "suspension", "tension", "rated", "tilt"),
    ),
    "Levels": ("what can be reached in each octave", ("can reach at ",)),
    "Channels": (
        "power, limiters and filters",
        ("peaks", "gives", "limit", "high-pass", "damping"),
    ),
}
AIMS = (
    "Aim points are those of the use in which most of a loudspeaker's sound lands on seats that"
    " listen."
)
CAUTIONS = {
    "Loudspeakers": (
        "Attachment to the structure is designed and approved by a licensed structural engineer:"
        " rated hardware, a second independent safety, only enclosures with rated points,"
        " protection against ball strike. A lift on a sport floor needs its load spread. Weights"
        " are of the loudspeakers; with hardware they are in the schedule"
        f" '{LOADS}'."
    ),
    "Amplifiers": (
        "AC power by a licensed electrician, to the local code. Emergency announcements are not"
        " part of this system: the fire-alarm contractor wires the muting contact."
    ),
    "Cables": (
        "Methods and separation follow the marking on the amplifier and the local code. Lengths"
        " follow walls and roof; measure before cutting."
    ),
    "Levels": (
        "Hours are for speech and noise together, as long as both last; they are rules for people"
        " at work, not for students. Keep the nearest seats within local exposure rules, and set"
        " the limiters before the first use: this one acts on the mean level, over a second or"
        " more, so that peaks of speech pass; those of the channels act on peaks and on heat. What"
        " they do not allow is out of reach; set the use to what can be reached."
    ),
}

CHANNEL_COLUMNS = (
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
    "limit peaks to [V rms]",
    "limit heat to [W]",
    "high-pass [Hz]",
    "damping factor",
    "cable",
)


@dataclass(frozen=True, kw_only=True)
class Schedule:
    """A table; as it is made, lengths stand in meters and most of them in feet as well.

    ``apart`` names columns that are printed as a table of their own, so that both fit a page:
    (title, columns) each.
    """

    title: str
    columns: tuple
    rows: tuple  # tuples of text and numbers
    note: str = ""
    hidden: tuple = ()  # columns that a workbook keeps out of sight
    apart: tuple = ()

    def in_units(self, units):
        """The schedule with lengths, masses and forces in one kind of units.

        Parameters
        ----------
        units : str
            "ft" (feet and inches, pounds) or "m" (meters to the centimeter, kilograms)

        Returns
        -------
        schedule : Schedule
            No column twice

        Raises
        ------
        ValueError
            The units are unknown
        """
        columns, rows = schedule_units.converted(self.columns, self.rows, units)
        names = schedule_units.names_in(self.columns, units)
        apart = tuple((t, tuple(names[c] for c in own if c in names)) for t, own in self.apart)
        return replace(self, columns=columns, rows=rows, apart=apart)


@dataclass(frozen=True, kw_only=True, eq=False)
class Parts:
    """Everything that the schedules are made from, computed once."""

    scenario: Scenario
    results: dict
    amplification: Amplification
    lines: tuple
    currency: str = ""  # sign or code of the money of the lines


def parts(scenario, *, prices=None, room="traced", rays="full", progress=None, stop=None):
    """Evaluate a design and choose what drives it.

    Parameters
    ----------
    scenario : Scenario
        The design
    prices : PriceBook, optional
        The package's invented one when left out
    room, rays : str
        As for ``evaluate``
    progress : callable, optional
        Called with the share that is done, 0 to 1
    stop : callable, optional
        Asked between two uses; when it answers true the work is given up

    Returns
    -------
    parts : Parts or None
        For ``schedules``; None when it was stopped

    Raises
    ------
    ValueError
        As ``evaluate`` and ``amplify``
    """
    results = {}
    for n, use in enumerate(scenario.uses, 1):
        results[use.name] = evaluate(scenario, use.name, room=room, rays=rays)
        if progress:
            progress(n / len(scenario.uses))
        if stop and stop():
            return None
    amplification = amplify(scenario, results, prices=prices)
    return Parts(
        scenario=scenario,
        results=results,
        amplification=amplification,
        lines=bill(scenario, prices, amplification=amplification),
        currency=currency_of(prices),
    )


def schedules(made):
    """All schedules of a design.

    Parameters
    ----------
    made : Parts
        Of ``parts``

    Returns
    -------
    schedules : tuple of Schedule
        Loudspeakers, Loads of the hanging points, Levels, Amplifiers, Channels, Cables, Inputs,
        Presets, Bill
    """
    makers = (
        _loudspeakers,
        _hanging_points,
        _levels,
        _amplifiers,
        _channels,
        _cables,
        _inputs,
        _presets,
        _bill,
    )
    groups = [g.name for g in made.scenario.groups]
    return tuple(_parted(make(made), groups) for make in makers)


def _parted(schedule, groups):
    """A schedule that knows which of its columns are printed apart."""
    if schedule.title == "Presets":  # a group may be called like any column
        words, own = "gain and delay of every row of loudspeakers", tuple(groups)
    else:
        words, beginnings = APART.get(schedule.title, ("", ()))
        own = tuple(c for c in schedule.columns if c.startswith(beginnings))
    return replace(schedule, apart=((f"{schedule.title}: {words}", own),) if own else ())


def _measured(scenario):
    """Where the balloons of measured types come from, and what of them was not measured."""
    types = {c.type.name: c.type for c in scenario.loudspeakers if c.type.measured_db is not None}
    return [f"{name} as measured: {t.source}." for name, t in types.items()]


def _staying(scenario):
    """Which loudspeakers hang there already, and in which condition."""
    found = []
    for g in scenario.groups:
        if g.existing:
            tags = ", ".join(c.tag for c in scenario.in_group(g.name))
            found.append(f"{tags} ({g.condition})" if g.condition else tags)
    if not found:
        return []
    return [
        f"There already: {'; '.join(found)}. What stays hangs on hardware of unknown age: the"
        " structural engineer looks at it too."
    ]


def _loudspeakers(made):
    return Schedule(
        title="Loudspeakers",
        columns=hanging.COLUMNS,
        rows=hanging.rows(made.scenario, made.results, made.amplification),
        note=" ".join(
            [
                *(w[0].upper() + w[1:] for w in joist_warnings(made.scenario)),
                AIMS,
                CAUTIONS["Loudspeakers"],
                *_measured(made.scenario),
                *_staying(made.scenario),
            ]
        ),
    )


def _hanging_points(made):
    words = (total_words(made.scenario, made.amplification), assumed(made.scenario.units), ENGINEER)
    return Schedule(
        title=LOADS,
        columns=hanging_points.COLUMNS,
        rows=hanging_points.rows(made.scenario, made.amplification),
        note=" ".join(words),
    )


def _levels(made):
    rows = []
    for r in made.results.values():
        x = loudness(r, made.amplification)
        rows.append(
            (
                x.use,
                x.target_dba,
                round(x.reach_dba, 1),
                round(x.spare_db, 1),
                x.word,
                f"{x.tag}, {x.limited_by}",
                *(round(float(v), 0) for v in x.reach_db),
                round(x.loudest_dba, 1),
                round(x.set_dba, 1),
                round(x.limiter_db, 1) + 0.0,
                round(x.exposed_dba, 1),
                round(min(x.niosh_h, 24.0), 1),
                round(min(x.osha_h, 24.0), 1),
            )
        )
    columns = (
        "use",
        "wanted [dB(A)]",
        "can reach [dB(A)]",
        "to spare [dB]",
        "verdict",
        "limited by",
        *(f"can reach at {f} [dB]" for f in bands.NAMES),
        "loudest seat, speech [dB(A)]",
        "set to [dB(A)]",
        "limiter over that [dB]",
        "loudest seat with the noise [dB(A)]",
        "NIOSH hours with both",
        "OSHA hours with both",
    )
    return Schedule(title="Levels", columns=columns, rows=tuple(rows), note=CAUTIONS["Levels"])


def _amplifiers(made):
    rows, condition = [], made.scenario.equipment.existing_condition
    for name, amplifier_type in made.amplification.amplifiers.items():
        again, called = name in made.amplification.reused, amplifier_type.name
        used = [c for c in made.amplification.channels if c.amplifier == name]
        rows.append(
            (
                name,
                there_already(called, condition) if again else called,
                len(used),
                amplifier_type.channels,
                amplifier_type.rack_units,
                amplifier_type.weight_kg,
                ", ".join(str(c.number) for c in used),
            )
        )
    columns = (
        "amplifier",
        "type",
        "channels used",
        "channels",
        "rack units",
        "weight [kg]",
        "channels by number",
    )
    note = f"{_power_words(made.amplification)} {_rack_words(made)} {CAUTIONS['Amplifiers']}"
    return Schedule(title="Amplifiers", columns=columns, rows=tuple(rows), note=note)


def _power_words(amplification):
    """AC power and heat in a sentence."""
    e, (drawn, heat) = amplification.scenario.equipment, amplification.ac_power_w
    count = amplification.circuits
    return (
        f"At an eighth of all power the amplifiers draw {drawn:.0f} W,"
        f" {amplification.current_a:.1f} A at {e.ac_volts:g} V: {count} circuit{'s' * (count > 1)}"
        f" of {e.circuit_a:g} A (loaded to {100 * CIRCUIT_PART:.0f} %); heat {heat:.0f} W,"
        f" {heat * BTU_H:.0f} BTU/h."
    )


def _rack_words(made):
    """Height and place of the rack in a sentence."""
    filled, rack = rack_units(made.amplification, EXTRA_UNITS)
    high = f"{rack} units high" if rack else "more than one rack"
    return f"Rack: {filled} units filled, {high}. {_rack_place_words(made.scenario)}"


def _rack_place_words(scenario):
    """Where the rack stands, or that nobody has said so yet."""
    hall, (x, y, _) = scenario.hall, rack_place(scenario)
    west, south = x + hall.length / 2, y + hall.width / 2
    place = (
        f"{west:.2f} m ({feet_inches(west)}) from the west wall, {south:.2f} m"
        f" ({feet_inches(south)}) from the south wall"
    )
    if rack_assumed(scenario):
        return f"Place of the rack: to be agreed; until then cable is counted from {place}."
    return f"Place of the rack: {place}."


def _channels(made):
    rows = tuple(
        (
            c.number,
            c.amplifier,
            c.output,
            c.group,
            ", ".join(c.tags),
            wiring_name(c.line_volts),
            c.tap_w or "",
            round(c.load_ohm, 1),
            round(c.need_w),
            round(c.gives_w),
            round(c.limit_w),
            round(c.limit_v, 1),
            round(c.rated_w) if c.rated_w < c.limit_w else "",
            c.high_pass_hz,
            "" if c.line_volts else round(c.damping),
            c.cable,
        )
        for c in made.amplification.channels
    )
    return Schedule(
        title="Channels",
        columns=CHANNEL_COLUMNS,
        rows=rows,
        note=_channel_words(made.amplification),
    )


def _channel_words(amplification):
    """Warnings about the channels, or that there is none; why they are wired as they are."""
    said = [words[0].upper() + words[1:] for words in amplification.warnings]
    strong = [str(c.number) for c in amplification.channels if c.gives_w > c.bears_w]
    if strong:
        said.append(
            f"Channel{'s' * (len(strong) > 1)} {', '.join(strong)}: the amplifier delivers more"
            " than the loudspeakers can take; set the limiter before they are first driven."
        )
    said += [_stands(amplification, c) for c in amplification.channels if c.need_w > c.bears_w]
    if not said:
        said = [f"Every channel suffices; damping factors of {DAMPING:.0f} or more are usual."]
    if any(c.rated_w >= c.limit_w for c in amplification.channels):
        said.append(
            "No limit of heat stands where the loudspeakers take for long what their peaks are"
            " limited to."
        )
    return " ".join([*said, *amplification.remarks, "Why so:", *amplification.reasons])


def _stands(amplification, channel):
    """That a limit stands although the peaks of a use exceed it."""
    own = [n for n in amplification.needs if n.tag in channel.tags]
    worst = min(own, key=lambda n: n.headroom_db)
    return (
        f"Channel {channel.number}: peaks in {worst.use} ask for {channel.need_w:.0f} W, more than"
        f" the {channel.bears_w:.0f} W that its loudspeakers bear. The limit stands, and the level"
        f" of {worst.use} is out of reach by {max(-worst.headroom_db, 0.0):.1f} dB."
    )


def _cables(made):
    rows = tuple(
        (
            c.cable,
            f"rack, {c.amplifier} output {c.output}",
            " - ".join(c.tags),
            there_already(c.conductor, made.scenario.equipment.wired(c.group).cable_condition)
            if c.existing_cable
            else c.conductor,
            " + ".join(f"{x:.1f}" for x in c.lengths),
            " + ".join(map(feet_inches, c.lengths)),
            *both_lengths(c.length),
            round(c.loss_db, 2),
        )
        for c in made.amplification.channels
    )
    columns = (
        "cable",
        "from",
        "to",
        "conductor",
        "pieces [m]",
        "pieces [ft-in]",
        "length [m]",
        "length [ft-in]",
        "loss at the last [dB]",
    )
    note = f"{_loss_words(made)} {CAUTIONS['Cables']}"
    return Schedule(title="Cables", columns=columns, rows=rows, note=note)


def _loss_words(made):
    """What the losses in cables are computed from, in a sentence or two."""
    unit = counted_in(made.scenario.equipment.conductor, made.scenario.units)
    standard = "IEC 60228" if unit == "mm2" else "ASTM B258"
    words = (
        "Loss: level at the last loudspeaker, from the resistance of copper there and back"
        f" ({standard}); {made.scenario.equipment.cable_loss_db:g} dB is allowed."
    )
    if any(c.line_volts for c in made.amplification.channels):
        words += (
            f" Line transformers lose {TRANSFORMER_DB:g} dB beside it, which power and levels count"
            " (common practice: 0.5 to 1 dB)."
        )
    return words


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
    chosen, needs = mixer(s), processor(s, made.amplification)
    whole, compatible = receivers(s.seats)
    note = (
        f"Mixer: {chosen.kind} ({chosen.reason}). Processor: {needs['inputs']} inputs,"
        f" {needs['outputs']} outputs, {needs['presets']} presets, delays to"
        f" {needs['longest_delay_ms']:.0f} ms, high-pass"
        f" {' and '.join(str(f) for f in needs['high_pass_hz'])} Hz. Plates:"
        f" {'; '.join(plates(s))}. Assistive listening for {s.seats} seats: {whole} receivers,"
        f" {compatible} of them hearing-aid compatible (2010 ADA Standards 219.3). The fire-alarm"
        " contractor's contact mutes all outputs. High-pass microphones at 80 to 100 Hz (common"
        " practice)."
    )
    columns = ("input", "name", "type", "kind", "where", "uses")
    return Schedule(title="Inputs", columns=columns, rows=rows, note=note)


def masters(results):
    """Setting of the whole system that each use asks for.

    Parameters
    ----------
    results : dict
        Evaluations by use

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


def _pushed_back(preset):
    """Banks that are closed, and those of which some rows are out."""
    partly = {n: rows for n, rows in preset.pulled_out.items() if n not in preset.closed}
    words = [*preset.closed, *(n for n, rows in partly.items() if not rows)]
    words += [f"{n} but for its first {rows} rows" for n, rows in partly.items() if rows]
    return ", ".join(words) or "none"


def _presets(made):
    groups = [g.name for g in made.scenario.groups]
    rows, master = [], masters(made.results)
    for p in presets(made.scenario):
        tuned = [round(float(v), 1) + 0.0 for v in made.results[p.use].room_eq_db[:TUNED]]
        rows.append(
            (
                p.number,
                p.use,
                p.target_dba,
                round(master[p.use], 1) + 0.0,
                *tuned,
                *(_setting_words(p.groups[g]) for g in groups),
                ", ".join(p.microphones) or "none",
                _pushed_back(p),
                ", ".join(p.set_up) or "nothing",
            )
        )
    columns = (
        "preset",
        "use",
        "speech level [dB(A)]",
        "master [dB]",
        *(f"room equalization at {f} [dB]" for f in bands.NAMES[:TUNED]),
        *groups,
        "open microphones",
        "bleachers pushed back",
        "set out",
    )
    note = (
        "Master: setting of the whole system, 0 for the preset that is turned up most. Gains of the"
        " groups stand relative to their preset's master, delays to its undelayed groups. Room"
        " equalization is for all outputs and follows what stands in the gym, preset by preset."
        " These are settings to begin with: microphones, voices and the room as built decide the"
        " last decibels."
    )
    return Schedule(title="Presets", columns=columns, rows=tuple(rows), note=note)


def _setting_words(setting):
    """Gain and delay of a group in a preset."""
    return "off" if setting is None else f"gain {setting[0]:g} dB, delay {setting[1]:g} ms"


def _bill_row(line, units):
    """A line of the bill, counted in the units of the school."""
    quantity, unit, one = in_units(line, units)
    return (
        line.kind,
        line.item,
        round(quantity, 1),
        unit,
        line.price if one == 1.0 else round(line.price * one, 2),
        round(line.quantity * line.price, 2),
        round(line.hours, 1),
        round(line.labor, 2),
        round(line.total, 2),
    )


def _bill(made):
    rows = [_bill_row(line, made.scenario.units) for line in made.lines]
    money = f"; money is in {made.currency}" if made.currency else ", in its own currency"
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
    sums = {n: 1 if columns[n] == "hours" else 2 for n in range(5, 9)}  # and digits
    total = [round(sum(r[n] for r in rows), digits) for n, digits in sums.items()]
    return Schedule(
        title="Bill",
        columns=columns,
        rows=(*rows, ("total", "", "", "", "", *total)),
        note=f"Prices and hours are the price book's{money}.",
    )
