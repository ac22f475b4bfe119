"""Part 3: checking the site, installation, setting up, acceptance, hand-over."""

from ....commissioning.kinds import KINDS
from ....venue.assumptions import assumed_values
from ...cautions import CAUTIONS
from .clauses import Article, Part, Table, To, clause
from .figures import (
    LENGTHS,
    Figure,
    cited_schedule,
    number,
    practice,
    standard,
    stated,
)

# a kind of reading: the table whose figures it is for; "" for what the others are read with
PROVES = {
    "ambient": "",
    "level": "areas",
    "sti": "areas",
    "arrival": "areas",
    "feedback margin": "microphones",
    "maximum level": "levels",
    "reverberation": "room",
}


def execution(made, titles):
    """Part 3 of a specification.

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
    return Part(
        title="Execution",
        articles=(
            _site(made),
            _hanging(made, titles),
            _wiring(made, titles),
            _muting(),
            _setting_up(made, titles),
            _acceptance(),
            _hand_over(made),
            _cautions(),
        ),
    )


def _site(made):
    blocks = [
        clause(
            "Before ordering, measure on site what the drawings dimension, the clear height under"
            " the structure, and what stands between loudspeakers and seats. Report differences"
            " before going on."
        )
    ]
    rows = [
        (stated(where, "assumed", n, "what"), stated(value, "assumed", n, "value"), "")
        for n, (where, value) in enumerate(assumed_values(made.scenario))
    ]
    if rows:
        blocks += [
            clause(
                "The design took what ",
                To("assumed"),
                " lists from schools of this size, and nobody has confirmed it. Write what was"
                " found and hand it in before anything is ordered.",
            ),
            Table(
                key="assumed",
                title="Assumed, to be confirmed on site",
                columns=("what", "taken as", "found"),
                rows=tuple(rows),
            ),
        ]
    return Article(key="site", title="Examination of the site", blocks=tuple(blocks))


def _hanging(made, titles):
    value, text = LENGTHS[made.scenario.units]
    return Article(
        key="hanging",
        title="Hanging",
        blocks=(
            clause(
                "Nothing is hung before the structural engineer's approval is on site. The lift's"
                " load is spread on the floor; nobody stands or plays below."
            ),
            clause(
                "Hang every loudspeaker where ",
                cited_schedule(titles, "Loudspeakers"),
                " says, within ",
                Figure(value=value, text=text, source=("length", made.scenario.units)),
                ", with pan and tilt within ",
                practice("aim_deg"),
                ". Check each tilt with an inclinometer and each pan at its aim point.",
            ),
            clause(
                "Where the structure does not allow a position, ask the designer for another; do"
                " not turn a loudspeaker to make up for it."
            ),
            clause("Label every loudspeaker with its tag, to be read from the floor."),
        ),
    )


def _wiring(made, titles):
    e, amplification = made.scenario.equipment, made.amplification
    return Article(
        key="wiring",
        title="AC power and wiring",
        blocks=(
            clause(
                "Circuits of AC power for the rack: ",
                number(amplification.circuits, "d", "", "ac", "circuits"),
                ", each of ",
                number(e.circuit_a, "g", "A", "equipment", "circuit_a"),
                " at ",
                number(e.ac_volts, "g", "V", "equipment", "ac_volts"),
                ", by the licensed electrician, with a common ground for all sound equipment.",
            ),
            clause(
                "Cables run as ",
                cited_schedule(titles, "Cables"),
                " and the drawings say, in their order of loudspeakers. Both ends carry the cable's"
                " name.",
            ),
            clause(
                "Keep polarity throughout. Before an amplifier is connected, measure every line's"
                " resistance or impedance against its load in ",
                To("channels"),
                ", and its insulation from ground; write both down.",
            ),
            clause("No splices but at loudspeakers and plates; strain relief at every end."),
        ),
    )


def _muting():
    return Article(
        key="muting",
        title="Fire-alarm muting",
        blocks=(
            clause(
                "The fire-alarm contractor connects the contact. Both contractors prove, before the"
                " authority having jurisdiction where it wishes, that an alarm silences all outputs"
                " in every preset, and that a broken wire to the contact does too; they write date"
                " and witnesses down."
            ),
        ),
    )


def _setting_up(made, titles):
    return Article(
        key="setting up",
        title="Setting up",
        blocks=(
            clause(
                "Set limiters and high-pass filters of ",
                To("channels"),
                " before a loudspeaker is first driven; the limiter of the mean level as ",
                cited_schedule(titles, "Levels"),
                " says.",
            ),
            clause(
                "Load the presets of ",
                cited_schedule(titles, "Presets"),
                ", then trim by measurement: polarity, levels between groups, delays, equalization,"
                " feedback, in this order. Room equalization is cut rather than lifted; nothing is"
                " lifted to fill a seat that no loudspeaker faces.",
            ),
            clause(
                "In no preset, and at no setting that an operator can reach, is a seat louder than"
                " the limit of ",
                To("room"),
                " (",
                number(made.scenario.targets.loudest_dba, "g", "dB(A)", "target", "loudest_dba"),
                ").",
            ),
            clause("Save all settings in the rack and in the hand-over documents."),
        ),
    )


# ---- acceptance


def _proves(table):
    if table is None:
        return "workmanship"
    return To(table) if table else "what the other readings allow for"


def _tests():
    rows = [
        (
            stated(kind.label, "kind", key, "label"),
            stated(kind.how, "kind", key, "how"),
            _proves(PROVES.get(key)),
        )
        for key, kind in KINDS.items()
    ]
    return Table(
        key="tests",
        title="Acceptance tests",
        columns=("reading", "how", "proves"),
        rows=tuple(rows),
    )


def _measuring():
    """Who measures what, and with what."""
    return (
        clause(
            "The contractor measures what the test plan of this design lists, at its positions,"
            " and fills its entry sheet; the school's inspector may attend and repeat any"
            " reading. The plan follows ",
            standard("in situ"),
            ", ",
            standard("decay"),
            " and ",
            standard("sti"),
            ".",
        ),
        clause(
            "Meters: ",
            standard("meter"),
            ", with octave filters, calibrated before and after; a meter of STI; a source for"
            " reverberation; a polarity tester.",
        ),
    )


def _acceptance():
    return Article(
        key="acceptance",
        title="Tests and acceptance",
        blocks=(
            *_measuring(),
            clause("What is measured, and what it is for: ", To("tests"), "."),
            _tests(),
            clause(
                "Readings are taken in the empty gym. Each is compared with what the test plan"
                " expects there from the same design, within the spread printed beside it, and so"
                " proves the performance that ",
                To("performance"),
                " requires with people and noise.",
            ),
            clause(
                "Accepted when every reading is within its spread, or the designer has found the"
                " cause in the building and not in the system. What is outside is mended and all"
                " that it touches is measured again at the contractor's cost."
            ),
            clause(
                "Before readings: every channel heard alone, no hum or rattle at a listening seat,"
                " all presets recalled from every control, muting proved."
            ),
        ),
    )


def _hand_over(made):
    return Article(
        key="hand-over",
        title="Hand-over",
        blocks=(
            clause(
                "Documents, on paper in the rack and as files: drawings and schedules as built,"
                " the engineer's approval, settings of every preset, the filled entry sheet, data"
                " sheets, warranty, passwords in a sealed envelope for the school."
            ),
            clause(
                "One page at the controls, in plain words: which button for which use, which"
                " microphone, what to do when it rings, whom to call."
            ),
            clause(
                "Training: ",
                practice("training_sessions"),
                " of together ",
                practice("training_hours"),
                " for those who run it, one of them at the start of a real event.",
            ),
            clause(
                "Clean the gym, repair what the work has marked, and take waste away. Hand over"
                " keys, microphones, receivers and spares against a signed list."
            ),
            clause(
                "Acceptance is signed by the school and the contractor once tests, documents and"
                " training are complete; the warranty begins that day."
            ),
        ),
    )


def _cautions():
    return Article(
        key="cautions",
        title="Cautions that hold throughout",
        blocks=tuple(clause(text) for text in CAUTIONS),
    )
