"""What the picture says, in words and numbers: HTML made of plain tables, one module per topic."""

from .halls import assumed_list, error_sentences, halls_table, is_inside, shown_halls
from .markup import bullets, card
from .options import options_table
from .room import (
    differences_list,
    fit_table,
    landing_table,
    measured_table,
    room_shown,
    room_table,
    settled_words,
)
from .schedules import schedule_table
from .uncertainty import sureness_table
from .verdicts import checks_text, headline, limits, uses_table, verdict_table

__all__ = [
    "assumed_list",
    "bullets",
    "card",
    "checks_text",
    "differences_list",
    "error_sentences",
    "fit_table",
    "halls_table",
    "headline",
    "is_inside",
    "landing_table",
    "limits",
    "measured_table",
    "options_table",
    "room_shown",
    "settled_words",
    "room_table",
    "schedule_table",
    "shown_halls",
    "sureness_table",
    "uses_table",
    "verdict_table",
]
