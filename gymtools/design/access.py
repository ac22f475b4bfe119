"""The way to ``receivers`` that scripts know; it lives in ``equipment.assistive_listening``."""

from ..equipment.assistive_listening import receivers

__all__ = ["receivers"]
