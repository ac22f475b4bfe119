"""The hall as it stands in one use."""

from dataclasses import dataclass
from functools import lru_cache

from .court import Court
from .hall import Hall
from .room import build_room
from .seating import court_area
from .stage import Stage
from .zones import layers


@dataclass(frozen=True, kw_only=True)
class HallConfiguration:
    """What is there in one use, and as it is: banks open or closed, chairs and stages set out, the
    curtain.
    """

    hall: Hall
    court: Court
    banks: tuple
    floor_seats: tuple
    stage: Stage | None
    curtain_open: bool
    portable_stages: tuple
    balconies: tuple

    @property
    def room(self):
        """The room as surfaces; cached by what makes it."""
        return build_room(
            self.hall,
            self.court,
            self.banks,
            self.floor_seats,
            self.stage,
            self.curtain_open,
            self.portable_stages,
            self.balconies,
        )

    @property
    def areas(self):
        """Listening areas by name: open banks, balconies with rows, chairs, and the
        court; cached.
        """
        return _areas(self)

    @property
    def zones(self):
        """The air over the listeners and talkers in zones, for tracing; cached."""
        return _zones(self)


_zones = lru_cache(maxsize=64)(layers)


@lru_cache(maxsize=256)
def _areas(configuration):
    things = (*configuration.banks, *configuration.balconies, *configuration.floor_seats)
    seated = [a for a in (t.audience_area(configuration.hall) for t in things) if a is not None]
    return {
        a.name: a
        for a in (
            *seated,
            court_area(configuration.court, configuration.hall, configuration.banks),
        )
    }
