"""What is looked at, measured and photographed in a gym before anything is designed: the blanks of
the survey sheet, and its tables.
"""

from dataclasses import dataclass

from ..equipment.schedules import Schedule
from ..physics import bands
from ..venue.questions import (
    Question,
    answer_words,
    first_questions,
    parts_of,
    questions_of,
)
from ..venue.units import length_text

READINGS = "readings"  # of a key: what is asked about the gym while it is measured
# keys of the form that somebody in the gym can answer, by table
ASKED = {
    "": ("court",),
    "hall": (
        *("length", "width", "clear_height", "height", "ridge_height"),
        *("joist_spacing", "joists_along"),
        *("floor", "roof", "walls", "north_wall", "south_wall", "east_wall", "west_wall"),
    ),
    "banks": (
        *("rows", "length", "row_run", "row_rise", "offset", "first_height", "setback"),
        *("base_height", "aisles", "wheelchair_spaces"),
    ),
    "stage": ("width", "opening_height", "depth", "floor_height", "offset"),
    "balconies": ("depth", "height", "length", "rows"),
    "tracks": ("depth", "height"),
    "divider": ("height",),
}
PRINTED = "as printed"  # out of sight in a workbook: what was assumed when it was printed
# columns of the first table
BLANKS = ("letter", "of", "what", "assumed", "measured", "remark", PRINTED)
EQUIPMENT = (
    *("what", "how many", "west wall", "south wall", "height", "apart", "faces", "tilts down"),
    *("condition", "remark"),
)
OCTAVES = tuple(f"{f:g} Hz" if f < 1000 else f"{f / 1000:g} kHz" for f in bands.NOMINAL)
READ = ("reading", "who is in it, what runs", *OCTAVES, "dB(A)", "recording", "remark")
ROWS = (  # of the table of readings
    ("noise 1", "nobody; ventilation as in use"),
    ("noise 2", ""),
    ("noise 3", ""),
    *((f"T20 {n}", "") for n in (1, 2, 3)),
    *((f"EDT {n}", "") for n in (1, 2)),
    *((f"pop {n}", "") for n in (1, 2, 3, 4)),
)
LOUDSPEAKERS = 8  # rows for them
BESIDE = ("amplifier", "mixer", "microphone", "cable", "assistive listening")
TICKS = {  # finishes to be ticked, by what they are the finish of    judgment, no source
    "floor": ("wood floor", "synthetic floor", "rubber tile", "concrete"),
    "roof": (
        *("plain deck", "acoustic deck 1 in", "acoustic deck 3 in", "plasterboard ceiling"),
        *("ceiling tile", "sprayed deck"),
    ),
    "walls": (
        *("painted block", "bare block", "brick", "gypsum", "wood lining", "wall pad"),
        *("wall panels", "window"),
    ),
}
PHOTOGRAPHS = (
    "All four walls and the roof from the middle, and each corner from the one across",
    "Bleachers: folded, pulled out, from the side with a tape measure on two rows",
    "Stage opening, curtain, doors, pads, ducts, scoreboard, backboards",
    "Joists and what hangs on them, from below; labels of rated points if there are any",
    "Every loudspeaker near and from afar; rack front and back, type plates, mixer, plates",
    "Electrical panel with its labels, closed: nobody opens it",
)
PHONE = (  # how a phone records a balloon    common practice, no source
    "A phone's microphone loses the octaves at 125 and 250 Hz, and a small balloon hardly has them:"
    " use large balloons, three or more, each at another place.",
    "Switch automatic gain, noise reduction and compression off, or use an app that records plain"
    " WAV; turn the input down until nothing is overdriven.",
    "Record two seconds of quiet before each pop and five after it. The phone lies on something"
    " soft, far from walls and 10 m or more from the balloon; nobody moves until it is quiet.",
    "Everybody in the gym wears hearing protection.",
)
CAUTIONS = (
    "Ladders and lifts: trained people only, a second person stands by, and the floor carries the"
    " lift's load. Nobody works over others.",
    "AC power, racks and panels are opened by a licensed electrician only; the fire-alarm"
    " contractor alone touches the fire alarm.",
    "Balloon pops and loud tests: hearing protection for everybody in the gym; tell the office"
    " first, and nobody uninvolved is inside.",
    "Loads on the structure are judged by a licensed structural engineer; local codes and the"
    " authority having jurisdiction decide. This sheet is no inspection.",
)
AS_MEASURED = {  # what is asked about the gym while it was measured
    "people": ("People in the gym during the readings", "count"),
    "closed": ("Bleachers closed during the readings (names, all, none)", "names"),
    "set_up": ("Chairs, stages, things set out meanwhile (names, all, none)", "names"),
    "curtain_open": ("Stage curtain open meanwhile", "yes"),
    "date": ("Date", "text"),
    "where": ("Who measured, with what", "text"),
}
NOTE = (
    "Write only under 'measured': a value, 'ok' where what is assumed is right, 'not sure' where"
    " nobody can tell. Lengths as 12' 6\", 12-6 or 3.81 m. Bare lengths are in {units}. Letters are"
    " those of the sketch. School: {name}."
)
READINGS_NOTE = (
    "Noise and decay in octaves, or what the instrument gives; T20 and EDT in seconds. 'recording':"
    " name of a WAV file in the folder of this sheet, of balloons that popped. {phone} School:"
    " {name}."
)
EQUIPMENT_NOTE = (
    "A row for each loudspeaker, or for several alike in a line with what they are apart: then the"
    " middle of the line. Kinds: box, small box, 12 in, horn, column, ceiling, cluster, long throw."
    " Faces: the side of the plan (N, NE, E ...) or down. Condition: works, rattles, dead, not"
    " tried. Distances are those of its front. School: {name}."
)


@dataclass(frozen=True, kw_only=True)
class Blank:
    """One thing that is asked, and what is assumed of it until it is answered."""

    question: Question
    of: str  # name of the thing, "" of the gym
    value: object  # what is assumed or known [SI, or the question's unit]
    words: str  # the same as it is printed
    state: str  # "assumed", "confirmed", "not sure" or "usual"

    @property
    def key(self):
        """Key of its answer."""
        return self.question.key

    @property
    def letter(self):
        """Letter on the sketch, "" where it has none."""
        return self.question.letter or ""

    @property
    def is_finish(self):
        """Whether it asks for a finish."""
        return self.question.may_be_unsure

    @property
    def name(self):
        """What a message calls it."""
        label = self.question.label.partition(" (")[0]
        return f"{self.of}: {label}" if self.of not in ("", READINGS) else label


def blanks(school):
    """Everything that is asked in the gym itself.

    Parameters
    ----------
    school : NewSchool
        What is known of it

    Returns
    -------
    blanks : tuple of Blank
        Of the gym, of everything that stands in it, and of its state while it is measured
    """
    found = []
    for table, fields in ASKED.items():
        for name in school.things(table) if table and table != "hall" else ("",):
            known = {parts_of(q.key)[2]: q for q in questions_of(table, name)}
            found += [_blank(known[f], name or _thing(table), school) for f in fields if f in known]
    there = {blank.key for blank in found}
    if school.missing:  # what a school of which nothing is known begins with
        first = [q for q in first_questions() if q.key not in there]
        found += [_blank(question, "", school) for question in first]
    return (*found, *_state_blanks(school))


def _thing(table):
    """What something that a gym has once is called; "" of the gym itself."""
    return table if table in ("stage", "divider") else ""


def _blank(question, of, school):
    value = school.value(question.key)
    words = words_of(question, value, school.units)
    state = school.state(question.key)
    return Blank(question=question, of=of, value=value, words=words, state=state)


def words_of(question, value, units):
    """An answer as the sheet prints it.

    Parameters
    ----------
    question : Question
        What is asked
    value : any
        As of ``NewSchool.value`` [SI, or the question's unit]
    units : str
        "m" or "ft"

    Returns
    -------
    words : str
        Lengths in the school's own units; "" where there is none
    """
    if value is None:
        return ""
    if question.unit == "m":
        return length_text(value, units)
    return answer_words(question, value, units)


def usual_finishes(blank):
    """Finishes that something usually has.

    Parameters
    ----------
    blank : Blank
        One that asks for a finish

    Returns
    -------
    names : tuple of str
        Those that the sheet offers
    """
    field = parts_of(blank.key)[2]
    return TICKS["walls" if field.endswith("_wall") else field]


def _state_blanks(school):
    """What is asked about the gym while it is measured."""
    kinds = {"names": "text"}
    found = []
    for key, (label, unit) in AS_MEASURED.items():
        if key == "curtain_open" and not school.things("stage"):
            continue
        low, high = (0, 20_000) if unit == "count" else (None, None)
        question = Question(
            key=f"{READINGS}.{key}",
            label=label,
            unit=kinds.get(unit, unit),
            low=low,
            high=high,
        )
        found.append(Blank(question=question, of=READINGS, value=None, words="", state="usual"))
    return tuple(found)


def survey_tables(school):
    """The survey sheet as tables to be filled in.

    Parameters
    ----------
    school : NewSchool
        What is known of it

    Returns
    -------
    tables : tuple of Schedule
        "School", "Noise and decay", "Existing equipment"
    """
    said = dict(name=school.name, units={"ft": "feet", "m": "meters"}[school.units])
    rows = [(b.letter, b.of, b.question.label, b.words, "", "", b.words) for b in blanks(school)]
    empty = [""] * (len(OCTAVES) + 3)
    read = [(name, who, *empty) for name, who in ROWS]
    there = [[""] * len(EQUIPMENT) for _ in range(LOUDSPEAKERS)]
    there += [[what, *[""] * (len(EQUIPMENT) - 1)] for what in BESIDE]
    return (
        Schedule(
            title="School",
            columns=BLANKS,
            rows=tuple(rows),
            note=NOTE.format(**said),
            hidden=(PRINTED,),
        ),
        Schedule(
            title="Noise and decay",
            columns=READ,
            rows=tuple(read),
            note=READINGS_NOTE.format(phone=" ".join(PHONE), **said),
        ),
        Schedule(
            title="Existing equipment",
            columns=EQUIPMENT,
            rows=tuple(map(tuple, there)),
            note=EQUIPMENT_NOTE.format(**said),
        ),
    )
