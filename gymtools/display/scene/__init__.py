"""The picture of a design: the gym in 3D, its plan, a section, and the level along the rows, as one
figure.

Every layer is a function of the view and returns only what moves; its style stands once, in
``figure``. ``Painter`` sends to the page what has changed.
"""

from .figure import SPACE, figure, layers, layout, moved
from .painter import Painter
from .plan import plan_range
from .view import View

__all__ = ["SPACE", "Painter", "View", "figure", "layers", "layout", "moved", "plan_range"]
