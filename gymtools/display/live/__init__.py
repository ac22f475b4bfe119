"""Live figures: they survive reloads, mixed updates and a page that was too busy to draw them."""

from .figure import LiveFigure
from .frame import FigureFrame, Watch

__all__ = ["FigureFrame", "LiveFigure", "Watch"]
