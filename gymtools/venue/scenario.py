"""One school: the hall, what stands and hangs in it, and its uses; refused as a whole when it cannot be."""

from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import combinations

import numpy as np

from .court import court
from .hall import TREATABLE, Air, Hall
from .quantity import Thing
from .room import build_room, overlap
from .seating import court_listening
from .stage import Stage
from .targets import Targets
from .units import UNITS, length_text, to_file
from .uses import Drive, Use

HEADROOM = 2.0  # over the top row's footing [m]     common practice, no source
PLAY_HEIGHT = 7.0  # free height over a court [m]     FIBA Official Basketball Rules, 2022, art. 2: at least 7 m
PARTS = (*TREATABLE, "court", "floor", "stage", "stage front", "closed bleachers", "bleacher fronts")  # of the hall: no bank's name
RUN_OUT = 0.91  # free floor around a court [m]     3 ft least, 10 ft preferred, NFHS basketball rules (secondary source)


@dataclass(frozen=True, kw_only=True)
class Scenario(Thing):
    """Everything a design needs, in SI; ``units`` is what the file and the panels speak."""

    name: str
    units: str
    source: str
    court: str
    hall: Hall
    air: Air = Air()
    banks: tuple = ()
    floor_seats: tuple = ()
    stage: Stage | None = None
    treatments: tuple = ()
    groups: tuple
    uses: tuple[Use, ...]
    targets: Targets = Targets()
    text: str | None = field(default=None, repr=False, compare=False)  # the file it came from, comments and all

    def __post_init__(self):
        super().__post_init__()
        if self.units not in UNITS:
            raise ValueError(f"units = '{self.units}' is unknown. Known: {', '.join(UNITS)}.")
        self._check_names()
        self._check_seating()
        self._check_treatments()
        self._check_cabinets()
        self._check_uses()

    @property
    def lines(self):
        """The court with its lines."""
        return court(self.court)

    @property
    def room(self):
        """The room as surfaces."""
        return build_room(self.hall, self.lines, self.banks, self.floor_seats, self.stage)

    @cached_property
    def areas(self):
        """Listening areas by name: open banks, chairs, and the court."""
        seated = [a for a in (t.listening(self.hall) for t in (*self.banks, *self.floor_seats)) if a is not None]
        return {a.name: a for a in (*seated, court_listening(self.lines, self.hall, self.banks))}

    @cached_property
    def cabinets(self):
        """Every cabinet of every group."""
        return tuple(c for g in self.groups for c in g.cabinets)

    @property
    def seats(self):
        """Places on open banks and chairs [-]."""
        return sum(b.seats for b in self.banks) + sum(f.seats for f in self.floor_seats)

    def use(self, name=None):
        """A use by name.

        Parameters
        ----------
        name : str, optional
            The first use when left out [-]

        Returns
        -------
        use : Use
            One of ``uses``
        """
        if name is None:
            return self.uses[0]
        for use in self.uses:
            if use.name == name:
                return use
        raise ValueError(f"use '{name}' is unknown. Known: {', '.join(u.name for u in self.uses)}.")

    def say(self, metres):
        """A length in the scenario's own units.

        Parameters
        ----------
        metres : float
            Length [m]

        Returns
        -------
        words : str
            "7.00 m" or feet and inches
        """
        return length_text(metres, self.units)

    def _check_names(self):
        for kind, things in (("bank or block of chairs", (*self.banks, *self.floor_seats)), ("group", self.groups), ("use", self.uses)):
            names = [t.name for t in things]
            for name in names:
                if names.count(name) > 1:
                    raise ValueError(f"two things are called '{name}'. Every {kind} needs its own name.")
        tags = [c.tag for c in self.cabinets]
        for tag in tags:
            if tags.count(tag) > 1:
                raise ValueError(f"two cabinets carry the tag '{tag}'. Give each group its own tag.")
        if not self.groups:
            raise ValueError("there is no loudspeaker group. Add [[groups]].")
        if not self.uses:
            raise ValueError("there is no use. Add [[uses]].")
        for name in PARTS:
            if name in [t.name for t in (*self.banks, *self.floor_seats)]:
                raise ValueError(f"'{name}' names a part of the hall. Call the bank or the chairs something else.")

    def _check_seating(self):
        hall, lines = self.hall, self.lines
        if lines.length > hall.length or lines.width > hall.width:
            size = f"{self.say(lines.length)} x {self.say(lines.width)}"
            raise ValueError(f"court '{self.court}' ({size}) does not fit into the hall ({self.say(hall.length)} x {self.say(hall.width)}).")
        for bank in self.banks:
            wall, deep = (hall.length, hall.width) if bank.side in ("north", "south") else (hall.width, hall.length)
            if bank.length / 2 + abs(bank.offset) > wall / 2 + 1e-6:
                raise ValueError(
                    f"'{bank.name}' ({self.say(bank.length)} long, offset {self.say(bank.offset)}) does not fit along the {bank.side} wall ({self.say(wall)})."
                )
            if bank.depth > deep - 1.0:
                raise ValueError(f"'{bank.name}' is {self.say(bank.depth)} deep: more than the hall ({self.say(deep)}) can hold.")
            edge = max(abs(bank.footprint(hall)[2]), abs(bank.footprint(hall)[3]))
            roof = hall.height if bank.side in ("north", "south") else float(hall.roof_height(edge))
            if bank.top + HEADROOM > roof:  # closed ones too: they are there to be opened
                raise ValueError(
                    f"'{bank.name}': its top row ({self.say(bank.top)}) leaves less than {self.say(HEADROOM)} under the roof ({self.say(roof)}). Fewer rows, less rise?"
                )
        for a, b in combinations((*self.banks, *self.floor_seats), 2):
            if overlap(a.footprint(hall), b.footprint(hall)) > 0.01:
                raise ValueError(f"'{a.name}' and '{b.name}' stand in each other's place.")
        for block in self.floor_seats:
            if abs(block.x) + block.length / 2 > hall.length / 2 or abs(block.y) + block.width / 2 > hall.width / 2:
                raise ValueError(f"'{block.name}' reaches outside the hall.")
        if self.stage:
            self._check_stage()

    def _check_stage(self):
        hall, stage = self.hall, self.stage
        wall = hall.length if stage.side in ("north", "south") else hall.width
        if stage.width / 2 + abs(stage.offset) > wall / 2:
            raise ValueError(f"the stage ({self.say(stage.width)} wide) does not fit into the {stage.side} wall ({self.say(wall)}).")
        if stage.top > hall.height - 0.1:
            raise ValueError(f"the stage opening reaches {self.say(stage.top)}, over the wall ({self.say(hall.height)}).")
        for bank in self.banks:
            if bank.side == stage.side and abs(bank.offset - stage.offset) < (bank.length + stage.width) / 2 - 1e-6:
                raise ValueError(f"'{bank.name}' stands in front of the stage opening. Move or close one of them.")

    def _check_treatments(self):
        for part in {t.surface for t in self.treatments}:
            asked = sum(t.area for t in self.treatments if t.surface == part)
            there = sum(s.area for s in self.room.surfaces if s.part == part)
            if asked > there + 0.01:
                asked, there = (f"{to_file(float(a), 'm2', self.units):.0f} {self.units}2" for a in (asked, there))
                raise ValueError(f"treatment of the {part}: {asked} asked for, {there} there.")

    def _check_cabinets(self):
        hall, cabinets = self.hall, self.cabinets
        for c in cabinets:
            edge = 0.15
            if abs(c.x) > hall.length / 2 - edge or abs(c.y) > hall.width / 2 - edge:
                raise ValueError(
                    f"cabinet {c.tag} at {self.say(c.x)}, {self.say(c.y)} hangs outside the hall ({self.say(hall.length)} x {self.say(hall.width)})."
                )
            clear = min(hall.clear_height, float(hall.roof_height(c.y)))
            if c.z > clear + 1e-6:
                raise ValueError(f"cabinet {c.tag} hangs at {self.say(c.z)}, above the clear height under the joists ({self.say(clear)}).")
            for bank in self.banks:
                low_x, high_x, low_y, high_y = bank.footprint(hall)
                if low_x < c.x < high_x and low_y < c.y < high_y and c.z < bank.top + HEADROOM:
                    floor = self._seat_height(bank, c)
                    if c.z < floor + HEADROOM:
                        raise ValueError(
                            f"cabinet {c.tag} at {self.say(c.z)} hangs less than {self.say(HEADROOM)} over the seats of '{bank.name}'."
                        )
        place = np.array([c.position for c in cabinets])
        size = np.array([min(c.type.width, c.type.depth, c.type.height) for c in cabinets])
        apart = np.linalg.norm(place[:, None] - place[None], axis=-1) + 1e3 * np.eye(len(cabinets))
        a, b = np.unravel_index(np.argmin(apart - (size[:, None] + size) / 2), apart.shape)
        if apart[a, b] < (size[a] + size[b]) / 2:
            raise ValueError(f"cabinets {cabinets[a].tag} and {cabinets[b].tag} hang in each other's place ({self.say(apart[a, b])} apart).")

    def _seat_height(self, bank, cabinet):
        """Height of the seats right under a cabinet [m]."""
        if not bank.open:
            return bank.top
        x0, x1, y0, y1 = bank.footprint(self.hall)
        inward = {"north": y1 - cabinet.y, "south": cabinet.y - y0, "east": x1 - cabinet.x, "west": cabinet.x - x0}[bank.side]
        return bank.first_height + ((bank.depth - inward) / bank.row_run - 0.5) * bank.row_rise

    def _check_uses(self):
        closed = {b.name for b in self.banks if not b.open}
        for use in self.uses:
            groups = [g.name for g in self.groups]
            for name in use.groups:
                if name not in groups:
                    raise ValueError(f"use '{use.name}': group '{name}' is unknown. Known: {', '.join(groups)}.")
            for word, names in (("listens", use.listens), ("occupied", use.occupied)):
                for name in names:
                    if name not in self.areas and name not in closed:
                        raise ValueError(f"use '{use.name}', {word}: area '{name}' is unknown. Known: {', '.join(self.areas)}.")
            if not any(w > 0 for name, w in use.listens.items() if name in self.areas):
                raise ValueError(f"use '{use.name}': nobody listens. Give at least one open area a weight in 'listens'.")
            if not any(use.drive(g).on for g in groups):
                raise ValueError(f"use '{use.name}': every loudspeaker group is off.")

    @property
    def doubts(self):
        """What is legal but should be looked at, as sentences."""
        found, hall, lines = [], self.hall, self.lines
        for c in self.cabinets:
            over = abs(c.x) < lines.length / 2 and abs(c.y) < lines.width / 2
            low = c.z - c.type.height / 2
            if over and low < PLAY_HEIGHT:
                found.append(f"Cabinet {c.tag} hangs over the court with {self.say(low)} under it; international rules ask for {self.say(PLAY_HEIGHT)}.")
        for bank in self.banks:
            if overlap(bank.footprint(hall), (-lines.length / 2, lines.length / 2, -lines.width / 2, lines.width / 2)) > 0.01:
                found.append(f"'{bank.name}' reaches over the lines of the court when it stands like this.")
        free = min((hall.length - lines.length) / 2, (hall.width - lines.width) / 2)
        if free < RUN_OUT:
            found.append(f"Only {self.say(free)} of floor remains around the court; rules ask for at least {self.say(RUN_OUT)}.")
        return found


def changed(scenario, changes):
    """The scenario with some of its values changed, all at once.

    Parameters
    ----------
    scenario : Scenario
        Where to start from [-]
    changes : dict
        New value by path, e.g. ``("hall", "length")``, ``("banks", 0, "rows")``, ``("uses", 1, "groups", "north row", "gain_db")`` [SI]

    Returns
    -------
    scenario : Scenario
        Checked as a whole, so that values which only fit together may change together
    """
    tree = {}
    for path, value in changes.items():
        branch = tree
        for step in path[:-1]:
            branch = branch.setdefault(step, {})
        branch[path[-1]] = value
    return _grown(scenario, tree)


def _grown(thing, tree):
    """A thing, tuple or dict with its branches replaced from the leaves up."""
    if not isinstance(tree, dict):
        return tree
    if isinstance(thing, tuple):
        return tuple(_grown(v, tree[k]) if k in tree else v for k, v in enumerate(thing))
    if isinstance(thing, dict):
        return {**thing, **{k: _grown(thing.get(k, Drive()), v) if isinstance(v, dict) else v for k, v in tree.items()}}
    return replace(thing, **{k: _grown(getattr(thing, k), v) for k, v in tree.items()})
