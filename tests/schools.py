"""The invented schools, read once for all tests of a process, all of their uses, and what is heard
in them.
"""

from functools import cache
from pathlib import Path

from gymtools.acoustics.evaluate import evaluate
from gymtools.venue.files import load

FOLDER = Path(__file__).resolve().parents[1] / "scenarios"
SCENARIOS = {p.stem: load(p) for p in sorted(FOLDER.glob("*.toml"))}
# the small school with everything as it may be used: a court that is moved, one beside it, a bank
# that is set back and partly out, aisles, wheelchair spaces, chairs that face another way
AS_USED = (FOLDER / "dovecote.toml").read_text(encoding="utf-8")
for old, new in (
    ('court = "junior high"', 'court = "volleyball"\ncourt_x = 1.0\ncourt_turned = true'),
    (
        'side = "north"\n',
        'side = "north"\nsetback = 0.5\naisles = 2\naisle_width = 1.0\nwheelchair_spaces = 4\n',
    ),
    ('name = "game"\n', 'name = "game"\npulled_out = { bleachers = 3 }  # for games\n'),
    ('name = "chairs"\n', 'name = "chairs"\nfacing = "east"\naisles = 1\n'),
    (
        "[[treatments]]",
        '[[side_courts]]\nname = "west court"\nx = -8\ny = -4\nlength = 9\nwidth = 9\n'
        'baskets = "west"\n\n[[treatments]]',
    ),
    ("listens = {", 'listens = { "west court" = 0.5,'),
):
    AS_USED = AS_USED.replace(old, new, 1)
CASES = [(name, use.name) for name, s in SCENARIOS.items() for use in s.uses]
ROOMS = ("statistical", "traced")


@cache
def heard(name, use, room="traced", rays="few"):
    """A school in one use, evaluated once; with few rays, for most tests ask for no figure."""
    return evaluate(SCENARIOS[name], use, room=room, rays=rays)
