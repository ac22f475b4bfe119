"""What the picture says, in words and numbers: HTML made of plain tables, one module per topic."""

from .markup import card
from .options import options_table
from .room import differences_list, landing_table, room_shown, room_table
from .schedules import schedule_table
from .uncertainty import sureness_table
from .verdicts import checks_text, headline, limits, uses_table, verdict_table

__all__ = [
    "card",
    "checks_text",
    "differences_list",
    "headline",
    "landing_table",
    "limits",
    "options_table",
    "room_shown",
    "room_table",
    "schedule_table",
    "sureness_table",
    "uses_table",
    "verdict_table",
]
