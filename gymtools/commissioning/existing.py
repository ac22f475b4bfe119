"""The sound system that is there: what a survey lists of it, and the gym as it sounds with it, as
the "before" of a new design.
"""

import re
from dataclasses import dataclass, replace
from functools import cache

from ..venue.files import load
from ..venue.loudspeakers import CONDITIONS, Group, loudspeaker_types
from ..venue.reading_files import one_line
from ..venue.tables import read_table
from ..venue.texts import shown
from ..venue.typed_values import read_value
from ..venue.units import length_text
from ..venue.uses import GroupSetting
from ..venue.wiring import Wiring

BEFORE = "before"  # what the gym as it is is called among the kept designs
OTHER = ("amplifier", "mixer", "processor", "microphone", "cable", "rack", "assistive listening")
TILT_DEG = 20.0  # of a loudspeaker whose tilt nobody read    judgment, no source
DOWN_DEG = 90.0  # of one that fires at the floor
SIDES_DEG = {  # counter-clockwise from east, north up
    **dict.fromkeys(("e", "east"), 0.0),
    **dict.fromkeys(("ne", "northeast", "north-east"), 45.0),
    **dict.fromkeys(("n", "north"), 90.0),
    **dict.fromkeys(("nw", "northwest", "north-west"), 135.0),
    **dict.fromkeys(("w", "west"), 180.0),
    **dict.fromkeys(("sw", "southwest", "south-west"), -135.0),
    **dict.fromkeys(("s", "south"), -90.0),
    **dict.fromkeys(("se", "southeast", "south-east"), -45.0),
}
# short names of the sides
SIDE_NAMES = {round(pan): name.upper() for name, pan in SIDES_DEG.items() if len(name) <= 2}
DOWN = ("down", "floor", "straight down")
CONDITION_WORDS = {
    **{word: word for word in CONDITIONS},
    **dict.fromkeys(("ok", "good", "fine", "yes", "plays", "working"), "works"),
    **dict.fromkeys(("buzzes", "distorts", "rattle", "buzz", "distorted", "crackles"), "rattles"),
    **dict.fromkeys(("no", "broken", "silent", "defective", "no sound", "blown"), "dead"),
    **dict.fromkeys(("", "?", "not sure", "unknown", "n/a", "not tested"), "not tried"),
}
# cells that say nothing
UNWRITTEN = ("", "?", "-", "n/a", "na", "not sure", "unknown", "none", "not measured")
# a line as the survey writes it down, e.g. "70 V amplifier"
LINE = re.compile(r"\b(70(?:[.,]7)?|100) ?V\b")
LINE_VOLTS = {"70": 70.7, "70.7": 70.7, "70,7": 70.7, "100": 100.0}
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


@dataclass(frozen=True, kw_only=True)
class ExistingItem:
    """One row of what is there; positions only where it is a loudspeaker."""

    where: str  # cell or line of the survey
    words: str  # what it is, as it was written
    kind: str  # name of the nearest loudspeaker type, or one of ``OTHER``
    number: int = 1
    west: float | None = None  # from the west wall [m]
    south: float | None = None  # from the south wall [m]
    height: float | None = None  # over the floor [m]
    spacing: float = 0.0  # from one to the next of several, across their aim [m]
    pan_deg: float | None = None
    downtilt_deg: float = TILT_DEG
    tilt_assumed: bool = False  # nobody read it
    condition: str = "not tried"
    remark: str = ""

    @property
    def is_loudspeaker(self):
        """Whether it is a loudspeaker."""
        return self.kind not in OTHER

    @property
    def missing(self):
        """What the design needs of a loudspeaker and nobody wrote down (list of str)."""
        if not self.is_loudspeaker:
            return []
        words = {
            "its distance from the west wall": self.west,
            "its distance from the south wall": self.south,
            "its height": self.height,
            "the side that it faces": self.pan_deg,
        }
        return [name for name, value in words.items() if value is None]


def hanging_words(item, units):
    """How a loudspeaker hangs, as it was understood.

    Parameters
    ----------
    item : ExistingItem
        One that is a loudspeaker
    units : str
        "m" or "ft"

    Returns
    -------
    place, height, faces, tilt : tuple of str
        "-" where nobody wrote it; a tilt that is taken says so
    """

    def length(value):
        return "-" if value is None else length_text(value, units)

    place = "-"
    if item.west is not None or item.south is not None:
        place = f"{length(item.west)} from west, {length(item.south)} from south"
    if item.spacing and item.number > 1:
        place += f", {length(item.spacing)} apart"
    faces = "-" if item.pan_deg is None else SIDE_NAMES[round(item.pan_deg)]
    if item.pan_deg is not None and round(item.downtilt_deg) == round(DOWN_DEG):
        return place, length(item.height), "down", f"{item.downtilt_deg:.0f}\u00b0"
    taken = " (taken: nobody wrote it)" if item.tilt_assumed else ""
    return place, length(item.height), faces, f"{item.downtilt_deg:.0f}\u00b0{taken}"


def kind_of_equipment(words):
    """What a piece of equipment is, by the words of who saw it.

    Parameters
    ----------
    words : str
        "paging horn", "12 in box", "mixer" or a type's name

    Returns
    -------
    kind : str
        Name of the nearest generic loudspeaker type, or one of ``OTHER``

    Raises
    ------
    ValueError
        Nobody can tell
    """
    said = " ".join(one_line(words).lower().replace('"', " in ").split())
    if said in loudspeaker_types():
        return said
    found = [w for w in _kinds() if re.search(rf"(?<!\w){re.escape(w)}(s|es)?(?!\w)", said)]
    if not found:
        raise ValueError(
            f"{shown(words)} is no kind of equipment. Write e.g. box, small box, 12 in, horn,"
            f" column, ceiling, cluster, long throw; or {', '.join(OTHER)}."
        )
    return _kinds()[max(found, key=len)]


@cache
def _kinds():
    """What is meant by the words people use."""
    return {row["words"]: row["kind"] for row in read_table("existing_kinds.csv")}


def facing(text):
    """Where a loudspeaker looks to.

    Parameters
    ----------
    text : str
        A side of the plan ("N", "southeast", "to the east wall") or "down"

    Returns
    -------
    pan_deg : float
        Counter-clockwise from east [deg]
    downtilt_deg : float or None
        90 for "down"; None where the text says nothing of it [deg]

    Raises
    ------
    ValueError
        It names no side, or two
    """
    words = re.findall(r"[a-z-]+", one_line(text).lower())
    sides = {SIDES_DEG[w] for w in words if w in SIDES_DEG}
    down = any(w in DOWN for w in words)
    if len(sides) > 1 or not (sides or down):
        raise ValueError(
            f"{shown(text)} is no direction. Write the side of the plan that it faces (N, NE, E"
            " ...) or down."
        )
    return (sides.pop() if sides else 0.0), (DOWN_DEG if down else None)


def condition_of(text):
    """Condition of a loudspeaker.

    Parameters
    ----------
    text : str
        "works", "OK", "rattles", "dead", "?" ...

    Returns
    -------
    condition : str
        One of ``venue.loudspeakers.CONDITIONS``

    Raises
    ------
    ValueError
        It says nothing
    """
    word = " ".join(one_line(text).lower().rstrip("!.").split())
    if word not in CONDITION_WORDS:
        raise ValueError(f"{shown(text)}: write works, rattles, dead or not tried.")
    return CONDITION_WORDS[word]


def existing_item(row, where, units):
    """A row of the survey's table of equipment.

    Parameters
    ----------
    row : dict
        Texts by column: "what", "how many", "west wall", "south wall", "height", "apart", "faces",
        "tilts down", "condition", "remark"; those that are missing are empty
    where : callable
        Gives the words for the cell of a column, for messages
    units : str
        What bare lengths are in: "m" or "ft"

    Returns
    -------
    item : ExistingItem or None
        None where the row is empty
    faults : list of str
        What of the row cannot be understood: the value counts as not written

    Raises
    ------
    ValueError
        One line: nobody can tell what it is
    """
    cells = _Cells(row, where, units)
    if not cells.filled:
        return None, []
    words = cells.text("what")
    kind = kind_of_equipment(words)
    known = dict(where=where("what"), words=words, kind=kind)
    if kind in OTHER:  # nobody judges it: what is written of it is kept as it is
        said = f"{cells.text('condition')} {cells.text('remark')}".strip()
        number = cells.count("how many", 999)
        return ExistingItem(number=number, remark=said, **known), cells.faults
    pan, down = cells.read("faces", facing) or (None, None)
    read = cells.read("tilts down", _tilt)
    tilt = read if read is not None else down
    item = ExistingItem(
        number=cells.count("how many", 12),
        west=cells.length("west wall"),
        south=cells.length("south wall"),
        height=cells.length("height"),
        spacing=cells.length("apart") or 0.0,
        pan_deg=pan,
        downtilt_deg=TILT_DEG if tilt is None else tilt,
        tilt_assumed=tilt is None,
        condition=cells.read("condition", condition_of) or "not tried",
        remark=cells.text("remark"),
        **known,
    )
    return item, cells.faults


class _Cells:
    """Cells of a row as they are read; what cannot be is noted."""

    def __init__(self, row, where, units):
        self.cells = {column: one_line(text).strip() for column, text in row.items()}
        self.where, self.units, self.faults = where, units, []

    @property
    def filled(self):
        """Whether anything but a remark is written."""
        return any(text for column, text in self.cells.items() if column != "remark")

    def text(self, column):
        """A cell as it is."""
        return self.cells.get(column, "")

    def read(self, column, reader):
        """A cell as it is understood, None where nothing is written or nobody understands it."""
        text = self.text(column)
        if text.lower() in UNWRITTEN:
            return None
        try:
            return reader(text)
        except ValueError as error:
            self.faults.append(f"{self.where(column)}: {column}: {one_line(error)}")
            return None

    def length(self, column):
        """A length [m]."""
        return self.read(
            column, lambda text: _within(read_value(text, "m", self.units), 0, 100, "m")
        )

    def count(self, column, most):
        """A number of things, 1 where none is written [-]."""

        def read(text):
            return _within(read_value(text, "count", "m"), 1, most, "")

        return int(self.read(column, read) or 1)


def _tilt(text):
    return _within(read_value(text, "deg", "m"), -30, 90, "degrees")


def _within(value, low, high, unit):
    if not low <= value <= high:
        raise ValueError(f"{value:g} {unit} is outside {low:g} to {high:g}.".replace("  ", " "))
    return value


@dataclass(frozen=True, kw_only=True, eq=False)
class Before:
    """The gym with the sound system that is there."""

    scenario: object  # Scenario; None where nothing that plays is known
    left_out: tuple  # sentences: what could not be taken along, and why
    assumed: tuple  # sentences: what was taken for granted


def before(scenario, items):
    """The gym as it sounds today, ready to be evaluated as any design.

    Parameters
    ----------
    scenario : Scenario
        The gym with its uses; its own loudspeakers are left out
    items : sequence of ExistingItem
        What hangs there

    Returns
    -------
    before : Before
        Its loudspeakers are ``existing``; dead ones are off in every use. Treatments that are not
        there yet, and uses of a divided gym, are left out
    """
    left_out, groups = [], []
    for item in (i for i in items if i.is_loudspeaker):
        if item.missing:
            words = ", ".join(item.missing)
            left_out.append(f"{item.where}: '{item.words}' is left out: {words} is not known.")
            continue
        try:
            group = _group(item, scenario, groups)
            _with(scenario, [*groups, group])
        except ValueError as error:
            left_out.append(f"{item.where}: '{item.words}' is left out: {one_line(error)}")
        else:
            groups.append(group)
    left_out += [
        f"Use '{u.name}': what hangs there plays to both sides of the divider; the use is left out."
        for u in scenario.uses
        if u.divided
    ]
    plays = any(g.condition != "dead" for g in groups)
    if not plays:
        left_out.append("Nothing that plays is known, so there is nothing to compare with.")
    return Before(
        scenario=_with(scenario, groups, _lines(items)) if plays else None,
        left_out=tuple(left_out),
        assumed=tuple(_assumed(items)),
    )


def _with(scenario, groups, lines=()):
    """The gym with some loudspeakers, dead ones off; while all are dead they are looked at as if
    they played. Their line is the one that the survey states; two different ones say of no group
    which is its own.
    """
    line = Wiring(line_volts=lines[0]) if len(lines) == 1 else None
    dead = [g.name for g in groups if g.condition == "dead"]
    off = {name: GroupSetting(on=False) for name in dead} if len(dead) < len(groups) else {}
    wiring = {g.name: line for g in groups} if line else {}
    return replace(
        scenario,
        groups=tuple(groups),
        uses=tuple(replace(u, groups=off) for u in scenario.uses if not u.divided),
        treatments=tuple(t for t in scenario.treatments if t.existing),
        equipment=replace(scenario.equipment, existing=True, wiring=wiring),
    )


def _group(item, scenario, there):
    """A row of the survey as a group."""
    names, tags = [g.name for g in there], [g.tag for g in there]
    name = item.words if item.words not in names else f"{item.words} {len(there) + 1}"
    hall = scenario.hall
    across = (item.pan_deg + 90 + 180) % 360 - 180
    return Group(
        name=name,
        tag=next(letter for letter in LETTERS if letter not in tags),
        loudspeaker=item.kind,
        number=item.number,
        x=item.west - hall.length / 2,
        y=item.south - hall.width / 2,
        height=item.height,
        spacing=item.spacing if item.number > 1 else 0.0,
        along_deg=across if item.number > 1 else 0.0,
        pan_deg=item.pan_deg,
        downtilt_deg=item.downtilt_deg,
        existing=True,
        condition=item.condition,
    )


def _assumed(items):
    """What is taken for granted of loudspeakers that hang there."""
    found = []
    for item in (i for i in items if i.is_loudspeaker and not i.missing):
        said = [f"counts as '{item.kind}'"] if item.kind != item.words.lower() else []
        if item.condition == "not tried":
            said.append("is taken to work")
        if item.tilt_assumed:
            said.append(f"tilts down {TILT_DEG:.0f}°")
        if said:
            found.append(f"{item.where}: '{item.words}' {' and '.join(said)}.")
    if any(i.is_loudspeaker and not i.missing for i in items) and not _lines(items):
        found.append(
            "Nobody wrote down how the old loudspeakers are wired: their wiring is left open, and"
            " how loud they can get is that of amplifiers that suit them."
        )
    return found


def _lines(items):
    """Voltages of lines that the survey states of amplifiers, cable or loudspeakers [V]."""
    stated = (LINE.search(f"{i.words} {i.remark}") for i in items)
    return sorted({LINE_VOLTS[found[1]] for found in stated if found})


def before_file(file):
    """Where the gym as it sounds today is kept, beside the file of its school.

    Parameters
    ----------
    file : Path
        Of the school

    Returns
    -------
    file : Path
        "NAME before.toml"
    """
    return file.with_name(f"{file.stem} {BEFORE}{file.suffix}")


def kept_before(file):
    """The gym as it sounds today, to stand among the kept designs of a meeting.

    Parameters
    ----------
    file : Path
        Of the school

    Returns
    -------
    designs : list of tuple
        Its name and scenario; empty where there is no such file

    Raises
    ------
    ValueError
        The file is there and no scenario
    """
    if not file.name:
        return []
    there = before_file(file)
    return [(BEFORE, load(there))] if there.is_file() else []
