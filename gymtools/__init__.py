"""Design of sound systems for school gymnasiums: the few names a workbook needs."""

from .design.evaluate import Result, evaluate
from .venue.files import load, parse, save, to_text
from .venue.scenario import Scenario

__version__ = "0.1.0"
__all__ = ["Result", "Scenario", "evaluate", "load", "parse", "save", "to_text"]
