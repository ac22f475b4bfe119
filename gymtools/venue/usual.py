"""What is assumed of a school of which little is known: from its size, its walls with bleachers and
its uses follow court, bleachers, chairs, stage, uses and microphones.

Everything here is a dict in SI, as the tables of the scenario file; what is known stays.
"""

import math
from functools import cache

from .court import COURTS
from .faults import HEADROOM, RUN_OUT
from .files import MANY, ONE
from .hall import SIDES
from .presets import presets
from .quantity import file_fields
from .seating import FLOOR_AISLE, NEW_SPACING, SEAT, Bank
from .size_classes import size_class
from .tables import meanings
from .units import FOOT, INCH
from .wheelchairs import seats_taken, spaces_required

ROUNDING = 1e-6  # [m]
STEP = {"m": 0.1, "ft": FOOT}  # assumed lengths are a whole number of these [m]
FINEST = {"m": 0.01, "ft": INCH}  # of other assumed lengths [m]
# the following: common practice, no source
BEFORE_STAGE = 2.0  # free floor before the first row [m]
AROUND = 1.2  # free floor around chairs [m]
MIDDLE_SECTION = 7.0  # chairs between two aisles, at most [m]
CHAIR_ROW = 0.9  # from row to row of chairs [m]
LEVELS = ("college", "high school", "junior high", "volleyball")  # the largest first


class Usual:
    """Assumed tables of a school.

    Parameters
    ----------
    answers : dict
        What is known, by key [SI]
    units : str
        "m" or "ft"
    """

    def __init__(self, answers, units):
        self.answers, self.step, self.finest = answers, STEP[units], FINEST[units]
        self.units = units
        length, width = answers["hall.length"], answers["hall.width"]
        self.size = size_class(length * width)
        self.walls = tuple(side for side in SIDES if side in answers.get("walls", ()))

    def table(self, table, name, **usual):
        """A thing: its answers, and what is usual for the rest.

        Parameters
        ----------
        table : str
            Of the file
        name : str
            Of the thing; empty where the file has the table once
        usual : any
            Values by key, rounded as people write them [SI]

        Returns
        -------
        table : dict
            In the order in which it is written [SI]
        """
        stem = f"{table}.{name}." if name else f"{table}."
        own = {
            key[len(stem) :]: value
            for key, value in self.answers.items()
            if key.startswith(stem) and "." not in key[len(stem) :]
        }
        named = {"name": name} if name else {}
        limits, fitted = lengths_of(table), {}
        for key, value in usual.items():
            if key in limits and value is not None:
                low, high = limits[key]
                value = min(max(self._fine(value), low), high)
            fitted[key] = value
        return {**named, **fitted, **own}

    def _fine(self, length):
        """A length to the inch or the centimeter."""
        return round(length / self.finest) * self.finest

    def _down(self, length):
        """A length, rounded down to one that people write."""
        return max(1, math.floor(length / self.step + 1e-6)) * self.step

    def hall(self):
        """Size and finishes.

        Returns
        -------
        hall : dict
            Its table [SI]
        """
        size, clear = self.size, self.answers["hall.clear_height"]
        ridge = self.answers.get("hall.ridge_height")
        height = self._down(clear + size.over_clear)
        return self.table(
            "hall",
            "",
            length=self.answers["hall.length"],
            width=self.answers["hall.width"],
            clear_height=clear,
            height=height if ridge is None else min(height, ridge),
            floor=size.floor,
            roof=size.roof,
            walls=size.walls,
        )

    def court(self, tables):
        """The largest court that is usual and fits between the bleachers, in the middle of the gym
        or, where too little floor would remain around it, in the middle of the free floor.

        Parameters
        ----------
        tables : dict
            Hall and bleachers of the school [SI]

        Returns
        -------
        court : dict
            Keys of the file; the smallest level where none fits [SI]
        """
        free, hall = self.free_floor(tables), tables["hall"]
        allowed = LEVELS[LEVELS.index(self.size.court) :]
        level, turned = next(fitting(free, allowed), (allowed[-1], False))
        long, wide = _lines(level, turned)
        return {
            "court": level,
            "court_x": self._middle(free[:2], long, hall["length"]),
            "court_y": self._middle(free[2:], wide, hall["width"]),
            "court_turned": turned,
        }

    def _middle(self, free, size, gym):
        """Where a court lies in one direction: as far from bleachers as the gym allows [m]."""
        low, high = free
        if size / 2 + RUN_OUT <= min(high, -low):
            return 0.0
        most = max((gym - size) / 2 - self.finest, 0.0)
        return self._fine(min(max((low + high) / 2, -most), most))

    def banks(self, hall):
        """A bank along each wall that has one.

        Parameters
        ----------
        hall : dict
            Table of the gym [SI]

        Returns
        -------
        banks : list of dict
            Those at the ends stand between those along the sides [SI]
        """
        made = []
        deep = dict.fromkeys(SIDES, 0.0)
        for side in self.walls:
            across = side in ("east", "west")
            wall = hall["width" if across else "length"]
            # a bank at an end stands between those along the sides
            beside = [deep[s] for s in (("north", "south") if across else ("east", "west"))]
            ends = [max(self.size.end, one + (1.0 if one else 0.0)) for one in beside]
            bank = self._bank(f"{side} bank", side, wall - 2 * max(ends))
            deep[side] = bank["row_run"] * bank["rows"] + bank.get("setback", 0.0)
            made.append(bank)
        return made

    def _bank(self, name, side, longest):
        """A bank of usual rows, as long as its wall allows."""
        size = self.size
        length = self.answers.get(f"banks.{name}.length", self._down(max(longest, 1.5)))
        bank = self.table(
            "banks",
            name,
            side=side,
            rows=self.answers.get("rows", 1),
            row_run=size.row_run,
            row_rise=size.row_rise,
            length=min(length, 80.0),
            first_height=size.first_height,
            aisles=max(0, math.ceil(length / size.section - 1e-6) - 1),
            seat_spacing=SEAT,  # stated, so that a count can be followed; 18 in where in feet
        )
        if f"banks.{name}.wheelchair_spaces" not in self.answers:
            bank["wheelchair_spaces"] = self._spaces(bank)
        return bank

    def _spaces(self, bank):
        """Wheelchair spaces that a bank's seats ask for, as far as its first row holds them."""
        made = made_of(Bank, bank)
        if made is None:
            return 0
        most = made.seats_in_row // seats_taken(made.seat_spacing, made.row_run, made.rows)[1]
        return min(spaces_required(made.seats), most)

    def free_floor(self, tables):
        """Floor that banks leave when they are out.

        Parameters
        ----------
        tables : dict
            Hall and bleachers of the school [SI]

        Returns
        -------
        floor : tuple
            (x low, x high, y low, y high) [m]
        """
        hall = tables["hall"]
        x, y = hall["length"] / 2, hall["width"] / 2
        low, high = [-x, -y], [x, y]
        for bank in tables.get("banks", ()):
            deep = bank.get("rows", 1) * bank.get("row_run", 0.6) + bank.get("setback", 0.0)
            if bank.get("base_height") or bank["side"] not in SIDES:
                continue
            ends = {"west": (low, 0, 1), "south": (low, 1, 1)}
            ends |= {"east": (high, 0, -1), "north": (high, 1, -1)}
            end, axis, inward = ends[bank["side"]]
            wall = inward * (-(x, y)[axis] + deep)
            end[axis] = max(end[axis], wall) if inward > 0 else min(end[axis], wall)
        return low[0], high[0], low[1], high[1]

    def _platform(self, name, tables):
        """A portable stage at the west end of the free floor."""
        west, _, south, north = self.free_floor(tables)
        size = presets("portable_stages")["platform"]
        wide = min(size["width"], self._down(0.8 * (north - south)))
        return self.table(
            "portable_stages",
            name,
            x=west + 0.6 + size["length"] / 2,
            y=(south + north) / 2,
            **{**size, "width": wide},
        )

    def _chairs(self, name, tables, toward):
        """A block of chairs before a stage; ``toward`` is the side that people look to."""
        west, east, south, north = self.free_floor(tables)
        platform = next(iter(tables.get("portable_stages", ())), None)
        if platform and toward == "west":
            west = max(west, platform["x"] + platform["length"] / 2)
        along = toward in ("west", "east")
        wide, deep = (north - south, east - west) if along else (east - west, north - south)
        room = max(wide - 2 * AROUND, 2.0), max(deep - BEFORE_STAGE - AROUND, 1.0)
        chair = NEW_SPACING[self.units]
        row, aisle = self._fine(CHAIR_ROW), self._fine(FLOOR_AISLE)
        rows, in_row, aisles = self._rows_of_chairs(room, chair, row)
        block_wide = in_row * chair + aisles * aisle
        block_deep = rows * row
        x, y = (west + east) / 2, (south + north) / 2
        first = {
            "west": (west + BEFORE_STAGE + block_deep / 2, y),
            "east": (east - BEFORE_STAGE - block_deep / 2, y),
            "south": (x, south + BEFORE_STAGE + block_deep / 2),
            "north": (x, north - BEFORE_STAGE - block_deep / 2),
        }[toward]
        return self.table(
            "floor_seats",
            name,
            x=first[0],
            y=first[1],
            length=block_deep if along else block_wide,
            width=block_wide if along else block_deep,
            row_spacing=row,
            seat_spacing=chair,
            facing=toward,
            aisles=aisles,
            aisle_width=aisle,
        )

    def _rows_of_chairs(self, room, chair, row):
        """Rows, chairs in a row and aisles: as many chairs as wanted, else as many as fit."""
        wide, deep = room
        aisles = max(0, math.ceil(wide / MIDDLE_SECTION) - 1)
        sections = aisles + 1
        in_section = max(1, int((wide - aisles * FLOOR_AISLE) / sections / chair + 1e-6))
        wanted = self.answers.get("chairs")
        if wanted is None:
            wanted = min(self.size.chairs, int(deep / row) * sections * in_section)
        rows = max(1, math.ceil(max(wanted, 1) / (sections * in_section)))
        in_section = max(1, math.ceil(wanted / rows / sections))
        return rows, sections * in_section, aisles

    def thing(self, table, name, preset, tables):
        """A thing that was added, of a preset's usual size, made to fit where that is easy.

        Parameters
        ----------
        table : str
            Of the file
        name : str
            Of the thing
        preset : str
            One of ``presets`` of the table
        tables : dict
            Of the school so far [SI]

        Returns
        -------
        thing : dict
            Its table [SI]
        """
        if table == "banks":
            side = self.answers.get(f"banks.{name}.side", "east")
            wall = tables["hall"]["width" if side in ("east", "west") else "length"]
            return self._bank(name, side, wall - 2 * self.size.end)
        if table == "floor_seats":
            return self._chairs(name, tables, self._facing(tables))
        if table == "portable_stages":
            return self._platform(name, tables)
        if table == "microphones":
            return self.table(table, name, type="hand-held wireless", walks="court")
        values = {k: v for k, v in presets(table).get(preset, {}).items() if k != "full"}
        made = self.table(table, name, **values)
        fitted = self._fitted(table, preset, made, tables)
        return {**made, **{k: v for k, v in fitted.items() if not self._known(table, name, k)}}

    def _known(self, table, name, key):
        return ".".join(part for part in (table, name, key) if part) in self.answers

    def _facing(self, tables):
        """Side that people on chairs look to: the built-in stage, else the west."""
        stage = tables.get("stage")
        return stage["side"] if stage and stage["side"] in SIDES else "west"

    def _fitted(self, table, preset, made, tables):
        """Sizes that follow from the hall."""
        hall, clear = tables["hall"], tables["hall"]["clear_height"]
        side = made.get("side")
        wall = hall["width" if side in ("east", "west") else "length"]
        if table == "fixtures":
            return self._fitted_fixture(preset, made, tables)
        if table == "balconies":
            return {"length": self._down(wall), "height": self._over_heads(made, tables)}
        if table == "tracks":
            return {"height": self._over_heads(made, tables)}
        if table == "stage":
            high = self._down(max(2.0, clear - made["floor_height"] - 0.6))
            return {
                "width": min(made["width"], self._down(0.6 * wall)),
                "opening_height": min(made["opening_height"], high),
            }
        if table == "treatments":
            return {"area": round(min(made["area"], 0.3 * wall * hall["height"]))}
        return {}

    def _over_heads(self, made, tables):
        """Height of a balcony that leaves headroom over the top rows, as far as the gym has it."""
        tops = [top for bank in tables.get("banks", ()) for _, _, top in [standing(bank)]]
        over = max(tops, default=0.0) + HEADROOM + made.get("thickness", 0.3) + self.step
        highest = self._down(max(tables["hall"]["clear_height"] - HEADROOM - 0.3, 2.3))
        return min(max(made["height"], self._down(over)), highest)

    def _under_the_roof(self, preset, hall):
        """Beams from the clear height up, ducts beside the middle: neither meets the other."""
        clear = hall["clear_height"]
        if preset == "beams":
            high = hall.get("height", clear) - clear
            return {"bottom": clear, "height": high} if high > self.finest else {}
        return {"y": self._down(0.3 * hall["width"])} if preset == "duct" else {}

    def _fitted_fixture(self, preset, made, tables):
        """A fixture under the joists; backboards where the court has its baskets."""
        hall, clear = tables["hall"], tables["hall"]["clear_height"]
        fitted = {"bottom": max(0.0, min(made.get("bottom", 0.0), clear - made["height"]))}
        if made.get("side") is None:
            along = made["length"] + (made.get("number", 1) - 1) * made.get("spacing", 0.0)
            if along > hall["length"]:
                fitted["length"] = self._down(0.8 * hall["length"])
            fitted["depth"] = min(made["depth"], self._down(0.8 * hall["width"]))
            fitted |= self._under_the_roof(preset, hall)
        else:
            low = fitted["bottom"]
            fitted |= free_place(made, (low, low + made["height"]), tables)
        if preset.startswith("backboards"):
            court = court_of(tables)
            if court.hoop_height and not tables.get("court_turned"):
                fitted["spacing"] = court.length - 2 * court.board_inset
                fitted["x"], fitted["y"] = tables.get("court_x", 0.0), tables.get("court_y", 0.0)
        return fitted


def _lines(level, turned):
    """Size of a court east to west, and north to south [m]."""
    court = COURTS[level]
    return (court.width, court.length) if turned else (court.length, court.width)


def fitting(floor, levels=LEVELS):
    """Courts that fit on a floor.

    Parameters
    ----------
    floor : tuple
        (x low, x high, y low, y high) [m]
    levels : sequence of str
        Levels of play that are asked about

    Returns
    -------
    courts : iterator of tuple
        (level, whether it is turned), in the order of the levels
    """
    room = floor[1] - floor[0] + ROUNDING, floor[3] - floor[2] + ROUNDING
    for level in levels:
        for turned in (False, True):
            if all(size <= most for size, most in zip(_lines(level, turned), room, strict=True)):
                yield level, turned


def court_of(tables):
    """The main court of a school.

    Parameters
    ----------
    tables : dict
        Of the school so far [SI]

    Returns
    -------
    court : Court
        In the middle of the gym; the smallest one where the level of play is unknown
    """
    meant = meanings(tables.get("court"), COURTS)
    return COURTS[meant[0] if len(meant) == 1 else LEVELS[-1]]


def free_place(made, heights, tables):
    """Wall, and place along it, where a fixture finds room beside what is there.

    Parameters
    ----------
    made : dict
        The fixture, with the wall that it is usual on [SI]
    heights : tuple
        Of its lower and its upper side [m]
    tables : dict
        Of the school so far [SI]

    Returns
    -------
    place : dict
        Its side, offset and length; as usual where it finds no room [SI]
    """
    hall = tables["hall"]
    for side in dict.fromkeys((made["side"], "east", "west", "south", "north")):
        wall = hall["width" if side in ("east", "west") else "length"]
        length = min(made["length"], wall / 2)
        taken = _taken(side, heights, tables)
        free = wall / 2 - length / 2 - 0.5
        # the middle of the wall first, then farther and farther to both sides
        steps = [(-1) ** n * (n // 2 + n % 2) * 0.5 for n in range(int(4 * free))]
        for at in steps:
            low, high = at - length / 2, at + length / 2
            if abs(at) <= free and all(high < a or low > b for a, b in taken):
                return {"side": side, "offset": at, "length": length}
    return {}


def standing(bank):
    """A bank with its lower and its upper end.

    Parameters
    ----------
    bank : dict
        Its table [SI]

    Returns
    -------
    bank, low, top : tuple
        The same table, and heights over the floor [m]
    """
    low = bank.get("base_height", 0.0)
    rows, rise = bank.get("rows", 1), bank.get("row_rise", 0.25)
    return bank, low, low + bank.get("first_height", 0.43) + rows * rise


def _taken(side, heights, tables):
    """Stretches of a wall that have something at some heights (low end, high end) [m]."""
    found = []
    found += [standing(bank) for bank in tables.get("banks", ())]
    stage = tables.get("stage")
    if stage:
        low = stage.get("floor_height", 0.9)
        found.append(({**stage, "length": stage["width"]}, 0.0, low + stage["opening_height"]))
    for one in tables.get("balconies", ()):
        found.append((one, one["height"] - one.get("thickness", 0.3), one["height"] + 1.2))
    for one in tables.get("fixtures", ()):
        low = one.get("bottom", 0.0)
        found.append((one, low, low + one["height"]))
    return [
        (one.get("offset", 0.0) - one["length"] / 2, one.get("offset", 0.0) + one["length"] / 2)
        for one, low, top in found
        if one.get("side") == side and low < heights[1] and top > heights[0]
    ]


@cache
def lengths_of(table):
    """Keys of a table whose values are lengths.

    Parameters
    ----------
    table : str
        Of the file

    Returns
    -------
    limits : dict of tuple
        Closed limits by key [m]
    """
    known = [f for f in file_fields({**ONE, **MANY}[table]) if f.metadata.get("unit") == "m"]
    return {f.name: (f.metadata["low"], f.metadata["high"]) for f in known}


def made_of(kind, table):
    """A thing of a table.

    Parameters
    ----------
    kind : type
        Of the thing
    table : dict
        Its values [SI]

    Returns
    -------
    thing : kind or None
        None where it cannot be
    """
    try:
        return kind(**table)
    except (ValueError, TypeError):
        return None
