"""Part 2: everything that is bought, by the properties that it must have."""

from collections import Counter

from ....equipment.amplification import PEAK
from ....equipment.assistive_listening import receivers
from ....equipment.bill import THERE
from ....equipment.rack import rack_assumed, rack_units
from ....equipment.schedules import LOADS, schedules
from ....equipment.signal import EXTRA_UNITS, inputs, mixer, plates, processor
from ....physics import bands
from ....venue.finishes import FINISHES
from ....venue.microphones import MICROPHONE_TYPES
from ....venue.units import FOOT, INCH
from .clauses import Article, Part, Table, To, clause, listed
from .figures import (
    area_figure,
    cited_schedule,
    highest_db,
    mass,
    number,
    practice,
    standard,
    stated,
)

SIZES = {"ft": (INCH, ".0f", "in"), "m": (1.0, ".2f", "m")}  # of enclosures
KINDS_OF_MIXER = {
    "rotary": "one knob for each input and one button for each preset, nothing else to see",
    "faders": "a fader for each input, presets recalled by name",
    "tablet": "a page for each preset on a tablet, and wall buttons that recall presets without it",
    "automatic": "microphones open and close by themselves, one at a time",
}


def products(made, titles):
    """Part 2 of a specification.

    Parameters
    ----------
    made : Parts
        Of ``equipment.schedules.parts``
    titles : dict
        Of ``figures.schedule_titles``

    Returns
    -------
    part : Part
        Its articles
    """
    articles = [
        _all(made),
        _loudspeakers(made, titles),
        _hardware(titles),
        _amplifiers(made, titles),
        _cable(made, titles),
        _microphones(made, titles),
        _mixing(made, titles),
        _assistive(made),
        _rack(made, titles),
        _treatment(made),
        _quantities(made),
    ]
    return Part(title="Products", articles=tuple(a for a in articles if a is not None))


def designations(made):
    """What types are called in the text, so that no model is.

    Parameters
    ----------
    made : Parts
        Of ``equipment.schedules.parts``

    Returns
    -------
    names : dict
        "Type L1" ... by the name of a loudspeaker type, "Type P1" ... of an amplifier type
    """
    names = {}
    for kind in dict.fromkeys(c.type.name for c in made.scenario.loudspeakers):
        names[kind] = f"Type L{len(names) + 1}"
    amplifiers = dict.fromkeys(t.name for t in made.amplification.amplifiers.values())
    return names | {kind: f"Type P{n}" for n, kind in enumerate(amplifiers, 1)}


def _type(made, name):
    """The designation of a type, as a figure."""
    return stated(designations(made)[name], "designation", name)


def _all(made):
    staying = [
        clause(
            "What stays is named in the schedules. It is tested before work begins, and what does"
            " not work as the design takes it is reported at once."
        )
    ]
    stays = any(g.existing for g in made.scenario.groups) or made.scenario.equipment.existing
    return Article(
        key="products",
        title="All products",
        blocks=(
            clause(
                "New, of current production, with a warranty that begins at acceptance; one type"
                " for one purpose."
            ),
            clause(
                "What is connected to AC power is listed by a testing laboratory that the authority"
                " having jurisdiction recognizes."
            ),
            *(staying if stays else []),
            clause(
                "Limits for substitution: coverage angles within ",
                practice("angle_pct"),
                ", sensitivity and highest level no more than ",
                practice("sensitivity_db"),
                " lower, directivity index within ",
                practice("directivity_db"),
                " in every octave from ",
                _octave(bands.SPEECH.start),
                " to ",
                _octave(bands.SPEECH.stop - 1),
                ".",
            ),
        ),
    )


# ---- loudspeakers


def _loudspeakers(made, titles):
    s = made.scenario
    types = {c.type.name: c.type for c in s.loudspeakers}
    blocks = [
        clause(
            "Types, with the properties of ",
            To("loudspeakers"),
            " and ",
            To("octaves"),
            "; where each hangs and what it aims at is in ",
            cited_schedule(titles, "Loudspeakers"),
            ".",
        ),
        clause(
            "Coverage angles are nominal, between the directions that are ",
            stated("6 dB", "definition", "coverage"),
            " below the axis. Sensitivity is the level on the axis at ",
            stated("1 m for 1 W", "definition", "sensitivity"),
            "; highest level is that of peaks of ",
            number(PEAK, "g", "times", "constant", "PEAK"),
            " the rated power, without compression.",
        ),
        _properties(made, types),
        _octaves(made, types),
        clause(
            "Enclosures have rated hanging points of their maker, a separate point for the second"
            " safety, and stand ball strike or hang behind a guard that does. No enclosure is"
            " drilled or hung by its handles."
        ),
    ]
    blocks += [*_several_beams(made, types), *_staying(s)]
    return Article(key="loudspeaker article", title="Loudspeakers", blocks=tuple(blocks))


def _several_beams(made, types):
    """Clauses about types with several beams."""
    return [
        clause(
            _type(made, t.name),
            " has ",
            number(t.lobes, ".0f", "beams", "type", t.name, "lobes"),
            ", each ",
            number(t.lobe_tilt_deg, "g", "°", "type", t.name, "lobe_tilt_deg"),
            " below the enclosure's level; angles are those of one beam. An assembly of single"
            " loudspeakers with the same beams is acceptable.",
        )
        for t in types.values()
        if t.lobes > 1
    ]


def _staying(scenario):
    """Clauses about loudspeakers that hang there already."""
    found = []
    for g in scenario.groups:
        if g.existing:
            tags = listed([stated(c.tag, "tag", c.tag) for c in scenario.in_group(g.name)])
            words = ", ".join(x for x in ("there already", g.condition) if x)
            found.append(
                clause(
                    *tags,
                    " stay (",
                    stated(words, "condition", g.name),
                    "): inspect, test and clean them; the structural engineer looks at their"
                    " hardware too.",
                )
            )
    return found


def _properties(made, types):
    return Table(
        key="loudspeakers",
        title="Loudspeaker types",
        columns=(
            "type",
            "loudspeakers",
            "quantity",
            "coverage, horizontal x vertical",
            "sensitivity, at least",
            "highest level at one meter, at least",
            "rated power, at least",
            "impedance",
            "width x height x depth, about",
            "mass, at most",
        ),
        rows=tuple(_properties_of(made, t) for t in types.values()),
    )


def _properties_of(made, kind):
    """The row of one type."""
    name, at = kind.name, ("type", kind.name)
    tags = [c.tag for c in made.scenario.loudspeakers if c.type.name == name]
    own = kind.sensitivity_db[bands.SPEECH]
    one, form, unit = SIZES[made.scenario.units]
    size = " x ".join(f"{v / one:{form}}" for v in (kind.width, kind.height, kind.depth))
    return (
        _type(made, name),
        listed([stated(tag, "tag", tag) for tag in tags]),
        number(len(tags), "d", "", "count of type", name),
        (
            number(kind.horizontal_deg, "g", "°", *at, "horizontal_deg"),
            " x ",
            number(kind.vertical_deg, "g", "°", *at, "vertical_deg"),
        ),
        number(sum(own) / len(own), ".0f", "dB", "mean sensitivity", name),
        number(highest_db(kind), ".0f", "dB", "highest level", name),
        number(kind.rated_w, "g", "W", *at, "rated_w"),
        number(kind.impedance_ohm, "g", "ohm", *at, "impedance_ohm"),
        stated(f"{size} {unit}", "size", name),
        mass(kind.weight_kg, *at, "weight_kg"),
    )


def _octaves(made, types):
    rows = []
    for name, t in types.items():
        for what, values, key in (
            ("sensitivity [dB]", t.sensitivity_db, "sensitivity_db"),
            ("directivity index [dB]", t.index_db, "index_db"),
        ):
            cells = [
                number(float(v), ".0f", "", "octaves of type", name, key, b)
                for b, v in enumerate(values)
            ]
            rows.append((_type(made, name), what, *cells))
    heads = [stated(name, "octave name", b) for b, name in enumerate(bands.NAMES)]
    return Table(
        key="octaves",
        title="Loudspeaker types in octaves",
        columns=("type", "property", *heads),
        rows=tuple(rows),
    )


def _loads(titles):
    """Where the load of every hanging point is, if it is in a schedule."""
    if LOADS not in titles:
        return []
    words = " has the load of every point that the structural engineer is asked to approve."
    return [clause(cited_schedule(titles, LOADS), words)]


def _hardware(titles):
    return Article(
        key="hardware",
        title="Hanging hardware",
        blocks=(
            clause(
                "Only hardware with a rating marked by its maker, for overhead loads, as the"
                " structural engineer's drawings call for."
            ),
            clause(
                "Every loudspeaker has a second, independent safety to the structure that holds it"
                " alone, without slack to fall through."
            ),
            clause(
                "Masses and positions of what hangs are in ",
                cited_schedule(titles, "Loudspeakers"),
                "; they are of the loudspeakers, hardware comes on top.",
            ),
            *_loads(titles),
        ),
    )


# ---- amplifiers, cable


def _amplifiers(made, titles):
    amplification, e = made.amplification, made.scenario.equipment
    drawn, _ = amplification.ac_power_w
    return Article(
        key="amplifiers",
        title="Amplifiers",
        blocks=(
            clause(
                "Every channel of ",
                To("channels"),
                " delivers its power for peaks into its load, with the cable that is installed;"
                " what hangs on it is in ",
                cited_schedule(titles, "Channels"),
                ".",
            ),
            _channels(amplification),
            clause(
                "Amplifier types as designed with: ",
                To("amplifier types"),
                ". Channels may be divided over amplifiers otherwise if each keeps its power,"
                " its load and its own limiter, and height, AC power and heat do not grow.",
            ),
            _amplifier_types(made),
            clause(
                "AC power at an eighth of full power: at most ",
                number(drawn, ".0f", "W", "ac", "drawn"),
                " in all, ",
                number(amplification.current_a, ".1f", "A", "ac", "current"),
                " at ",
                number(e.ac_volts, "g", "V", "equipment", "ac_volts"),
                ".",
            ),
        ),
    )


def _channels(amplification):
    rows = []
    for c in amplification.channels:
        at, limit = ("channel", c.number), min(c.gives_w, c.bears_w)
        line = number(c.line_volts, "g", "V line", *at, "line_volts") if c.line_volts else "direct"
        tap = number(c.tap_w, "g", "W", *at, "tap_w") if c.line_volts else ""
        rows.append(
            (
                number(c.number, "d", "", *at, "number"),
                listed([stated(tag, "tag", tag) for tag in c.tags]),
                line,
                tap,
                number(c.load_ohm, ".1f", "ohm", *at, "load_ohm"),
                number(min(c.need_w, limit), ".0f", "W", *at, "power"),
                number(limit, ".0f", "W", *at, "limit"),
                number(c.high_pass_hz, "d", "Hz", *at, "high_pass_hz"),
            )
        )
    return Table(
        key="channels",
        title="Amplifier channels",
        columns=(
            "channel",
            "loudspeakers",
            "wired",
            "tap of each",
            "load",
            "peaks, at least",
            "peaks limited to, at most",
            "high-pass at",
        ),
        rows=tuple(rows),
    )


def _amplifier_types(made):
    found = {}
    for name, kind in made.amplification.amplifiers.items():
        found.setdefault(kind.name, (kind, []))[1].append(name)
    rows = []
    for kind, names in found.values():
        at = ("amplifier type", kind.name)
        rows.append(
            (
                _type(made, kind.name),
                listed([stated(n, "amplifier", n) for n in names]),
                number(kind.channels, ".0f", "", *at, "channels"),
                *(_watts(kind, key, at) for key in ("watts_8", "watts_4", "line_w")),
                number(kind.min_ohm, "g", "ohm", *at, "min_ohm"),
                number(kind.rack_units, ".0f", "", *at, "rack_units"),
                mass(kind.weight_kg, *at, "weight_kg"),
            )
        )
    return Table(
        key="amplifier types",
        title="Amplifier types",
        columns=(
            "type",
            "amplifiers",
            "channels",
            (stated("8 ohm", "definition", "load"), ", each channel"),
            (stated("4 ohm", "definition", "load"), ", each channel"),
            "on a line, each channel",
            "least load",
            "rack units",
            "mass, about",
        ),
        rows=tuple(rows),
    )


def _octave(band):
    """An octave by its name, e.g. "4 kHz"."""
    return stated(bands.NAMES[band], "octave name", band)


def _watts(kind, key, at):
    watts = getattr(kind, key)
    return number(watts, "g", "W", *at, key) if watts else "not needed"


def _ordered(made, name, length):
    """Length of a cable as the quantities count it."""
    units = made.scenario.units
    count = as_counted(length / FOOT if units == "ft" else length)
    return stated(f"{count} {units}", "cable length", name)


def _cable(made, titles):
    conductors = Counter()
    for c in made.amplification.channels:
        conductors[c.conductor] += c.length
    kinds = [
        (stated(name, "conductor", name), " (", _ordered(made, name, length), ")")
        for name, length in conductors.items()
    ]
    words = tuple(w for kind in kinds for w in (", ", *kind))[1:]
    return Article(
        key="cable",
        title="Cable",
        blocks=(
            clause(
                "Loudspeaker cable: stranded copper, twisted pair, conductors at least as in ",
                cited_schedule(titles, "Cables"),
                "; in all ",
                *words,
                ". Lengths follow walls and roof: measure before cutting.",
            ),
            clause(
                "No cable loses more than ",
                number(
                    made.scenario.equipment.cable_loss_db, "g", "dB", "equipment", "cable_loss_db"
                ),
                " at its last loudspeaker, or what its row of the schedule says if that is more.",
            ),
            clause(
                "Jacket, wiring class and separation as the amplifier's marking and the local code"
                " ask for; plenum-rated where the space above a ceiling carries air. In conduit or"
                " guarded wherever a ball or a hand reaches it."
            ),
            clause(
                "Microphone and line cable: shielded twisted pair, apart from loudspeaker lines."
            ),
        ),
    )


# ---- what goes in


def _microphones(made, titles):
    found = inputs(made.scenario)
    if not found:
        return None
    blocks = [
        clause("Microphones: ", To("inputs"), " and ", cited_schedule(titles, "Inputs"), "."),
        Table(
            key="inputs",
            title="Microphones",
            columns=(
                "input",
                "microphone",
                "kind",
                "connection",
                "from the mouth",
                "where",
                "opened in",
            ),
            rows=tuple(_microphone(made.scenario, i) for i in found),
        ),
        clause(
            "Each has a stand or a holder where it is used, and a switch where its talker can reach"
            " it."
        ),
    ]
    if any(i.wireless for i in found):
        blocks.append(
            clause(
                "Wireless: diversity reception, antennas in sight of the court, frequencies legal"
                " without a license where the school stands, batteries that last a school day"
                " and are charged in a station."
            )
        )
    return Article(key="microphone article", title="Microphones", blocks=tuple(blocks))


def _microphone(scenario, plugged):
    """The row of one microphone."""
    at, kind = ("input", plugged.number), MICROPHONE_TYPES[plugged.type]
    return (
        number(plugged.number, "d", "", *at, "number"),
        stated(plugged.name, *at, "name"),
        stated(kind.description, "microphone type", kind.name, "description"),
        "wireless" if plugged.wireless else "wired",
        stated(_from_mouth(scenario, kind.name), "microphone type", kind.name, "distance"),
        stated(plugged.place, *at, "place"),
        listed([stated(u, "use", u, "name") for u in plugged.uses]),
    )


def _from_mouth(scenario, kind):
    """How far from the mouth a type is used."""
    form = "{:.0f} cm" if scenario.units == "m" else "{:.0f} in"
    one = 0.01 if scenario.units == "m" else INCH
    return form.format(MICROPHONE_TYPES[kind].distance / one)


def _mixing(made, titles):
    s = made.scenario
    needs, kind = processor(s, made.amplification), mixer(s).kind
    return Article(
        key="mixing",
        title="Mixer and processor",
        blocks=(
            clause("Operation: ", KINDS_OF_MIXER[kind], "."),
            clause(
                "At least ",
                number(needs["inputs"], "d", "", "processor", "inputs"),
                " inputs, ",
                number(needs["outputs"], "d", "", "processor", "outputs"),
                " outputs and ",
                number(needs["presets"], "d", "", "processor", "presets"),
                " presets that carry the names of the uses, as in ",
                cited_schedule(titles, "Presets"),
                ".",
            ),
            clause(
                "For every output: gain, polarity, delay",
                *_longest(needs["longest_delay_ms"]),
                ", high-pass, equalization, a limiter of peaks and a limiter of the mean level;"
                " for every preset: gains, delays, open microphones and room equalization.",
            ),
            clause(
                "Settings that limit levels are behind a password that the school keeps; presets"
                " return after a power failure without anybody's help."
            ),
            clause(
                "A muting input for the fire alarm acts on all outputs and cannot be overridden by"
                " operators. It fails silent."
            ),
        ),
    )


def _longest(delay_ms):
    """Words about the longest delay, where any is set."""
    if not delay_ms:
        return ()
    return " up to at least ", number(delay_ms, "g", "ms", "processor", "longest_delay_ms")


def _assistive(made):
    seats = made.scenario.seats
    whole, compatible = receivers(seats)
    if not whole:
        return None
    return Article(
        key="assistive",
        title="Assistive listening",
        blocks=(
            clause(
                "One transmitter that serves every seat, fed from the processor independently of"
                " what the loudspeakers play."
            ),
            clause(
                "Receivers: at least ",
                number(whole, "d", "", "receivers", "all"),
                ", of which at least ",
                number(compatible, "d", "", "receivers", "compatible"),
                " hearing-aid compatible with neck loops, for ",
                number(seats, ",d", "seats", "scenario", "seats"),
                " by ",
                standard("receivers"),
                "; and ",
                practice("spare_receivers_pct"),
                " spare ones.",
            ),
            clause(
                "Receivers and transmitter comply with ",
                standard("receiver"),
                "; signs with ",
                standard("sign"),
                ". The authority having jurisdiction decides which rules hold.",
            ),
            clause("A rack or a case that charges all receivers, and wipes to clean them."),
        ),
    )


def _rack(made, titles):
    filled, high = rack_units(made.amplification, EXTRA_UNITS)
    places = plates(made.scenario)
    return Article(
        key="rack",
        title="Rack and plates",
        blocks=(
            clause(
                "Rack with lockable door, ",
                number(high or filled, "d", "units", "rack", "height"),
                " high or more, of which ",
                number(filled, "d", "units", "rack", "filled"),
                " are filled; ventilation for the heat of the amplifiers, power sequencer, surge"
                " protection, light, drawer. ",
                *_rack_place(made.scenario, titles),
            ),
            clause(
                "Wall plates and floor boxes, of metal, engraved, where balls do not reach: ",
                number(len(places), "d", "", "count", "plates"),
                " in all: ",
                *(w for n, p in enumerate(places) for w in ("; " * (n > 0), stated(p, "plate", n))),
                ".",
            ),
        ),
    )


def _rack_place(scenario, titles):
    """Where the place of the rack is told, or that it is open."""
    if rack_assumed(scenario):
        return ("Its place is to be agreed with the school before cable is ordered.",)
    return "Its place is in ", cited_schedule(titles, "Amplifiers"), "."


def _treatment(made):
    new = [(n, t) for n, t in enumerate(made.scenario.treatments) if not t.existing]
    if not new:
        return None
    rows = []
    for n, t in new:
        absorbed = FINISHES[t.finish].absorption
        rows.append(
            (
                stated(t.surface, "treatment", n, "surface"),
                stated(t.finish, "treatment", n, "finish"),
                area_figure(made.scenario, t.area, "treatment", n, "area"),
                *(number(a, ".2f", "", "absorption", t.finish, b) for b, a in enumerate(absorbed)),
            )
        )
    heads = [stated(name, "octave name", b) for b, name in enumerate(bands.NAMES)]
    return Article(
        key="treatment",
        title="Acoustic treatment",
        blocks=(
            clause(
                "Material with at least the areas of ",
                To("treatment table"),
                " and at least its absorption in every octave, mounted as it was measured.",
            ),
            Table(
                key="treatment table",
                title="Treatment and its absorption coefficients",
                columns=("surface", "finish", "area", *heads),
                rows=tuple(rows),
            ),
            clause(
                "It stands ball strike where balls reach it and has the fire rating that the local"
                " code asks for in an assembly space; its mass is part of what the structural"
                " engineer approves."
            ),
        ),
    )


# ---- for the bid


def as_counted(quantity):
    """A quantity as it is printed: to the tenth, without a zero behind the point.

    Parameters
    ----------
    quantity : float
        In the units of the school [unit]

    Returns
    -------
    text : str
        E.g. "1,250.5"
    """
    return f"{quantity:,.1f}".removesuffix(".0")


def _quantities(made):
    names = designations(made)
    bill = next(table for table in schedules(made) if table.title == "Bill")
    counted = [bill.columns.index(column) for column in ("quantity", "unit")]
    rows = []
    for n, (line, row) in enumerate(zip(made.lines, bill.rows, strict=False)):
        number_of, unit = (row[k] for k in counted)  # in the units of the school
        item = line.item
        for name in sorted(names, key=len, reverse=True):
            item = item.replace(name, names[name])
        quantity = as_counted(number_of)
        rows.append(
            (
                stated(line.kind, "line", n, "kind"),
                stated(item, "line", n, "item"),
                stated(quantity, "line", n, "quantity"),
                stated(unit, "line", n, "unit"),
                *(("stays", "") if line.source == THERE else ("", "")),
            )
        )
    return Article(
        key="quantities article",
        title="Quantities to price",
        blocks=(
            clause(
                "Fill in every row of ",
                To("quantities"),
                ", labor included. Quantities are those of the design; check them, and say where"
                " the bid differs.",
            ),
            Table(
                key="quantities",
                title="Quantities",
                columns=("kind", "item", "quantity", "unit", "price of one", "total"),
                rows=(*rows, ("total of the bid", "", "", "", "", "")),
            ),
        ),
    )
