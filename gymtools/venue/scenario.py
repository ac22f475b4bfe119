"""One school: the hall, what stands and hangs in it, and its uses; refused as a whole when it
cannot be.
"""

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from ..physics.surfaces import Surfaces
from . import validation
from .balcony import Balcony
from .configuration import KEPT, HallConfiguration
from .court import SideCourt, court
from .divider import Divider
from .fixture import Fixture
from .hall import Air, Hall, Treatment
from .loudspeakers import Group, LoudspeakerType, loudspeaker_types
from .measured_room import MeasuredRoom, RoomFit
from .memory import Memory
from .microphones import Microphone
from .paths import changed as changed  # scripts found it here before
from .quantity import NOT_IN_FILE, Thing, quantity
from .seating import Bank, FloorSeats
from .stage import PortableStage, Stage
from .targets import Targets
from .texts import shown
from .track import Track
from .units import UNITS, length_text
from .uses import Use, standing_bank
from .wiring import NOBODY, Equipment


@dataclass(frozen=True, kw_only=True)
class Scenario(Thing):
    """Everything a design needs, in SI; ``units`` is what the file and the panels speak."""

    name: str
    units: str
    source: str
    court: str
    # middle of the court, east and north of the gym's center, and whether it runs across the gym
    court_x: float = quantity("m", -40, 40, default=0.0, hint="East of the gym's center.")
    court_y: float = quantity("m", -30, 30, default=0.0, hint="North of the gym's center.")
    court_turned: bool = False
    hall: Hall
    air: Air = Air()
    side_courts: tuple[SideCourt, ...] = ()
    banks: tuple[Bank, ...] = ()
    floor_seats: tuple[FloorSeats, ...] = ()
    stage: Stage | None = None
    portable_stages: tuple[PortableStage, ...] = ()
    balconies: tuple[Balcony, ...] = ()
    tracks: tuple[Track, ...] = ()
    fixtures: tuple[Fixture, ...] = ()
    divider: Divider | None = None
    microphones: tuple[Microphone, ...] = ()
    treatments: tuple[Treatment, ...] = ()
    groups: tuple[Group, ...] = ()  # none before loudspeakers hang
    uses: tuple[Use, ...]
    targets: Targets = Targets()
    equipment: Equipment = Equipment()
    loudspeaker_files: tuple = ()  # descriptions of measured types, from the scenario's folder
    # read from these
    measured_types: tuple[LoudspeakerType, ...] = field(
        default=(), repr=False, metadata=NOT_IN_FILE
    )
    # by finish: what the table's values are multiplied by, one number or seven
    absorption_factors: dict = field(default_factory=dict)
    scattering_factors: dict = field(default_factory=dict)  # the same for their scattering
    measured_room: MeasuredRoom | None = None  # what was measured in the gym that is there
    room_fit: RoomFit | None = None  # what the factors were fitted to
    assumed: tuple = ()  # keys of what nobody has confirmed, as of ``assumptions``
    # the file it came from, comments and all
    text: str | None = field(default=None, repr=False, compare=False, metadata=NOT_IN_FILE)
    # what has been worked out about it and everything changed from it
    memory: Memory = field(default_factory=Memory, repr=False, compare=False, metadata=NOT_IN_FILE)

    def __post_init__(self):
        super().__post_init__()
        if self.units not in UNITS:
            raise ValueError(f"units = '{self.units}' is unknown. Known: {', '.join(UNITS)}.")
        if not all(isinstance(name, str) for name in self.loudspeaker_files) or isinstance(
            self.loudspeaker_files, str
        ):
            raise ValueError("loudspeaker_files must be a list of file names in quotes.")
        if not all(isinstance(key, str) for key in self.assumed):
            raise ValueError("assumed must be a list of keys in quotes.")
        court(self.court)
        for key in ("absorption_factors", "scattering_factors"):
            factors = validation.checked_factors(getattr(self, key), key)
            object.__setattr__(self, key, factors)
        validation.check(self)

    @property
    def loudspeaker_types(self):
        """Loudspeaker types that a group may have: LoudspeakerType by name, of the package's table
        and measured ones.
        """
        return {**loudspeaker_types(), **{t.name: t for t in self.measured_types}}

    @property
    def lines(self):
        """The court with its lines, where it lies in the gym."""
        lies = dict(x=self.court_x, y=self.court_y, turned=self.court_turned)
        return replace(court(self.court), **lies) if any(lies.values()) else court(self.court)

    @property
    def courts(self):
        """Courts whose lines are on the floor (tuple of Court), the main one first."""
        return (self.lines, *(side.court for side in self.side_courts))

    def configuration(self, use=None):
        """The gym as it stands in one use: banks open or closed, chairs and stages set out, the
        curtain.

        Parameters
        ----------
        use : str, optional
            Name of a use; the first when left out

        Returns
        -------
        configuration : HallConfiguration
            Gives the room's surfaces and the audience areas
        """
        use = self.use(use)
        kept = self._configurations
        if use.name not in kept:
            configuration = self.configuration_of(use)
            # one object for all that are equal: what it has worked out is found at once
            same = self.memory.cache("configurations", KEPT).get(
                configuration, lambda: configuration
            )
            kept[use.name] = same
        return kept[use.name]

    @cached_property
    def _configurations(self):
        """HallConfiguration by the name of a use, as they were asked for."""
        return {}

    def configuration_of(self, use=None):
        """The gym as it stands in a use, made anew.

        Parameters
        ----------
        use : Use, optional
            When left out, banks stand as the school has them, and everything is set up

        Returns
        -------
        configuration : HallConfiguration
            As of ``configuration``, which keeps it
        """
        movable = (*self.floor_seats, *self.portable_stages, *self.fixtures)
        there = [t for t in movable if not use or t.name in use.set_up]
        return HallConfiguration(
            hall=self.hall,
            court=self.lines,
            banks=tuple(standing_bank(b, use) for b in self.banks) if use else self.banks,
            floor_seats=tuple(f for f in self.floor_seats if f in there),
            stage=self.stage,
            curtain_open=not use or use.curtain_open,
            portable_stages=tuple(p for p in self.portable_stages if p in there),
            balconies=self.galleries,
            side_courts=self.side_courts,
            divider=self.divider if use and use.divided else None,
            fixtures=tuple(f for f in self.fixtures if not f.movable or f in there),
            memory=self.memory,
        )

    def absorption(self, use):
        """Absorption coefficients of the room as a use has it.

        Parameters
        ----------
        use : Use
            One of ``uses``

        Returns
        -------
        absorption : ndarray
            (surface, band), not to be changed [-]
        """
        return self.surfaces(use).absorption

    def scattering(self, use):
        """Share of the reflected sound that each surface scatters as a use has it.

        Parameters
        ----------
        use : Use
            One of ``uses``

        Returns
        -------
        scattering : ndarray
            (surface, band), not to be changed [-]
        """
        return self.surfaces(use).scattering

    def surfaces(self, use):
        """The room as a use has it, ready for the formulas.

        Parameters
        ----------
        use : Use
            One of ``uses``

        Returns
        -------
        surfaces : Surfaces
            In the order of the room's surfaces; kept, one object for all that are equal
        """
        factors = self.absorption_factors, self.scattering_factors
        key = (
            self.configuration(use.name),
            frozenset(self._occupied(use).items()),
            self.treatments,
            *(frozenset(f.items()) for f in factors),
        )
        return self.memory.cache("surfaces", KEPT).get(key, lambda: self._surfaces(use))

    def _occupied(self, use):
        """Share of the seats taken by area, also by who is on the other side of a divider."""
        other = self.use(use.beside).occupied if use.beside else {}
        return {**other, **use.occupied}

    def _surfaces(self, use):
        room, occupied = self.configuration(use.name).room, self._occupied(use)
        absorption = room.absorption(occupied, self.treatments, self.absorption_factors)
        scattering = room.scattering(occupied, self.treatments, self.scattering_factors)
        for shared in (absorption, scattering):
            shared.setflags(write=False)
        return Surfaces(
            polygons=room.polygons,
            absorption=absorption,
            scattering=scattering,
            area=room.area,
            counted=room.counted,
            blocks=np.array([s.blocks for s in room.surfaces]),
            volume=room.volume,
            transmission=room.transmission if room.transmission.any() else None,
        )

    def side(self, use):
        """Side of the divider on which the listeners of a use are.

        Parameters
        ----------
        use : Use
            One of ``uses``

        Returns
        -------
        side : int or None
            0 or 1, as ``Divider.side_of``; None where the gym is not divided [-]
        """
        if not use.divided:
            return None
        areas = self.configuration(use.name).areas
        points = [a.points for name, a in areas.items() if use.listens.get(name, 0) > 0]
        return int(self.divider.side_of(np.concatenate(points)).max())

    @property
    def room(self):
        """The room as surfaces (Room), as it stands in the first use."""
        return self.configuration().room

    @property
    def areas(self):
        """Audience areas by name (dict of AudienceArea), as they stand in the first use."""
        return self.configuration().areas

    @cached_property
    def galleries(self):
        """All balconies, and the sides of all tracks (tuple of Balcony); tracks that the gym cannot
        hold, which are refused, have none.
        """
        fitting = (one for one in self.tracks if one.fits(self.hall))
        return (*self.balconies, *(part for one in fitting for part in one.parts(self.hall)))

    @cached_property
    def area_names(self):
        """Names of all audience areas that can listen in one use or another (tuple of str)."""
        names = (
            [b.name for b in self.banks]
            + [f.name for f in self.floor_seats]
            + [b.name for b in self.balconies if b.rows or b.standing]
            + [name for track in self.tracks for name in track.area_names]
        )
        halves = [f"court {side}" for side in self.divider.sides] if self.divider else []
        return (*names, "court", *halves, *(side.name for side in self.side_courts))

    @cached_property
    def loudspeakers(self):
        """Every loudspeaker of every group, in the order of the groups."""
        types = self.loudspeaker_types
        return tuple(c for g in self.groups for c in g.loudspeakers(types[g.loudspeaker]))

    def in_group(self, group):
        """Loudspeakers of one group.

        Parameters
        ----------
        group : str
            Name of a group

        Returns
        -------
        loudspeakers : tuple of Loudspeaker
            In line order; empty when no group is called so
        """
        return tuple(c for c in self.loudspeakers if c.group == group)

    @property
    def seats(self):
        """Seats on the banks that can be opened, on balconies, and on the chairs of the fullest
        use [-].
        """
        chairs = max(
            sum(f.seats for f in self.floor_seats if f.name in u.set_up) for u in self.uses
        )
        return sum(b.seats for b in self.banks) + sum(b.seats for b in self.balconies) + chairs

    @property
    def warnings(self):
        """What is legal but should be looked at (list of str)."""
        return validation.warnings(self)

    def mixes_automatically(self, use):
        """Whether a use has one of its microphones open at a time.

        Parameters
        ----------
        use : Use
            One of ``uses``

        Returns
        -------
        automatic : bool
            As the use says; else as the equipment does, or because nobody runs it
        """
        if use.automatic_mixing is not None:
            return use.automatic_mixing
        return self.equipment.automatic_mixing or self.equipment.operator == NOBODY

    def open_at_once(self, use):
        """Microphones of a use that are open at once.

        Parameters
        ----------
        use : Use
            One of ``uses``

        Returns
        -------
        count : int
            All that it opens, or one where they are mixed automatically [-]
        """
        count = sum(m.name in use.microphones for m in self.microphones)
        return min(count, 1) if self.mixes_automatically(use) else count

    def use(self, name=None):
        """A use by name.

        Parameters
        ----------
        name : str, optional
            The first use when left out

        Returns
        -------
        use : Use
            One of ``uses``

        Raises
        ------
        ValueError
            There is no such use
        """
        if name is None:
            return self.uses[0]
        for use in self.uses:
            if isinstance(name, str) and use.name == name:
                return use
        known = ", ".join(u.name for u in self.uses)
        raise ValueError(f"use {shown(name)} is unknown. Known: {known}.")

    def say(self, meters):
        """A length in the scenario's own units.

        Parameters
        ----------
        meters : float
            Length [m]

        Returns
        -------
        words : str
            "7.00 m" or feet and inches
        """
        return length_text(meters, self.units)
