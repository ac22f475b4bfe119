"""Design of sound systems for school gymnasiums: the few names a workbook needs."""

from .acoustics.evaluate import Result, evaluate, evaluate_all
from .design.advice import advise
from .design.aiming import aim
from .design.arrangements import arrange
from .design.delays import aligned
from .design.sweeping import sweep
from .design.uncertainty import how_sure
from .venue.files import load, parse, save, to_text
from .venue.scenario import Scenario

__version__ = "0.1.0"
__all__ = [
    "Result",
    "Scenario",
    "advise",
    "aim",
    "aligned",
    "arrange",
    "evaluate",
    "evaluate_all",
    "how_sure",
    "load",
    "parse",
    "save",
    "sweep",
    "to_text",
]
