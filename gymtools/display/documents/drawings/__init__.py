"""Drawings: floor plan, reflected-ceiling plan, sections and uses, as sheets for print and DXF."""

from ....design.revisions import Issue
from .dxf_writer import document, model_places
from .dxf_writer import text_of as dxf_text
from .layers import LAYERS
from .print_writer import figure, pdf, picture
from .sheets import drawing, drawing_set, use_sheets

__all__ = [
    "Issue",
    "LAYERS",
    "document",
    "drawing",
    "drawing_set",
    "dxf_text",
    "figure",
    "model_places",
    "pdf",
    "picture",
    "use_sheets",
]
