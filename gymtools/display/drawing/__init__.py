"""The drawing of a design: plan above section, in which loudspeakers can be dragged.

``picture`` says what is drawn, ``judging`` what meets, is close or misses, ``words`` what is said
of a seat and of a handle; ``Drawing`` is the widget, ``drawing.js`` its page side.
"""

from .widget import Drawing

__all__ = ["Drawing"]
