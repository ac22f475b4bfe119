"""Design of sound systems for school gymnasiums: the few names a workbook needs."""

from .design.aiming import aim
from .design.arrangements import arrange
from .design.delays import aligned
from .design.evaluate import Result, evaluate, evaluate_all
from .design.sweeping import sweep
from .venue.files import load, parse, save, to_text
from .venue.scenario import Scenario

__version__ = "0.1.0"
__all__ = ["Result", "Scenario", "aim", "aligned", "arrange", "evaluate", "evaluate_all", "load", "parse", "save", "sweep", "to_text"]
