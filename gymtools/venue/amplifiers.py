"""Amplifier types."""

from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

from .quantity import Thing, quantity
from .tables import read_table


@dataclass(frozen=True, kw_only=True)
class AmplifierType(Thing):
    """A type of amplifier; a power of 0 says that it cannot drive such a load."""

    name: str
    description: str
    channels: int = quantity("count", 1, 16)
    watts_8: float = quantity("W", 0, 10_000)  # continuous, of each channel at 8 ohm
    watts_4: float = quantity("W", 0, 10_000)  # at 4 ohm
    line_w: float = quantity("W", 0, 10_000)  # of each channel on a line
    min_ohm: float = quantity("ohm", 1, 16)
    output_ohm: float = quantity("ohm", 0.001, 2)
    idle_w: float = quantity("W", 0, 500)
    efficiency: float = quantity("", 0.1, 0.95)  # at an eighth of its power
    rack_units: int = quantity("count", 1, 10)
    weight_kg: float = quantity("kg", 0.5, 100)
    source: str

    def watts(self, load_ohm):
        """Power of one channel into a load without a line.

        Parameters
        ----------
        load_ohm : float
            Of all that hangs on the channel [ohm]

        Returns
        -------
        power : float
            What its voltage gives between the loads it is rated at, held to what it gives at 4 ohm;
            0 below its least load [W]
        """
        if load_ohm < self.min_ohm - 0.01 or not self.watts_8:
            return 0.0
        return min(self.watts_8 * 8.0 / load_ohm, self.watts_4)


@lru_cache(maxsize=1)
def amplifier_types():
    """All amplifier types of the data table.

    Returns
    -------
    types : dict
        AmplifierType by name
    """
    types = {}
    for row in read_table("amplifiers.csv"):
        words = {k: row.pop(k) for k in ("name", "description", "source")}
        types[words["name"]] = AmplifierType(**words, **{k: float(v) for k, v in row.items()})
    return MappingProxyType(types)
