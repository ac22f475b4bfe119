"""What a school usually does in its gym: who listens in each use, what is set out, and the
microphones that are open.
"""

from .hall import SIDES
from .presets import presets
from .usual import court_of

COURT_AT_GAMES = 0.3  # how much the court counts beside the seats    common practice, no source
TABLE_GAP = 1.0  # from the side line to the scorer's table [m]    common practice, no source
SEATED_MOUTH = 1.2  # height of a microphone before a seated talker [m]    the same
LECTERN_DISTANCE = 0.2  # from the mouth to a gooseneck on a lectern [m]    the same
STAGE_PLACES = {"on the left": 0.25, "on the right": -0.25}  # share of the opening's width
# of uses that need them
CHAIRS, PLATFORM = "chairs", "platform"
NEEDS_CHAIRS = ("graduation", "show")


def needs(uses, tables):
    """What uses need that is set out on the floor.

    Parameters
    ----------
    uses : sequence of str
        Presets of the uses
    tables : dict
        Of the school so far [SI]

    Returns
    -------
    needed : tuple of str
        "platform", "chairs", or none
    """
    if not any(use in NEEDS_CHAIRS for use in uses):
        return ()
    return (CHAIRS,) if tables.get("stage") else (PLATFORM, CHAIRS)


def use_table(usual, name, preset, tables):
    """A use.

    Parameters
    ----------
    usual : Usual
        Gives what is known of it
    name : str
        Of the use
    preset : str
        What kind of use, e.g. "game"
    tables : dict
        Of the school so far [SI]

    Returns
    -------
    use : dict
        Its table [SI]
    """
    values = dict(presets("uses").get(preset, presets("uses")["assembly"]))
    full = values.pop("full", 0.0)
    banks = [b["name"] for b in tables.get("banks", ()) if b.get("open", True)]
    rows = [b["name"] for b in tables.get("balconies", ()) if b.get("rows")]
    chairs = [f["name"] for f in tables.get("floor_seats", ())]
    platforms = [p["name"] for p in tables.get("portable_stages", ())]
    seats = [*banks, *rows]
    out = [*platforms, *chairs] if preset in NEEDS_CHAIRS else []
    if preset == "show" and tables.get("stage"):
        out = chairs
    half = _half(name, tables)
    heard = {
        "game": {**dict.fromkeys(seats, 1.0), "court": COURT_AT_GAMES},
        "class": {"court": 1.0},
        "two classes": {half: 1.0},
    }.get(preset, dict.fromkeys([*(c for c in chairs if c in out), *seats], 1.0) or {"court": 1.0})
    values["listens"] = heard
    if full:
        values["occupied"] = dict.fromkeys([n for n in heard if n != "court"], full)
    if preset in ("class", "two classes") and banks:
        values["closed"] = banks
    if out:
        values["set_up"] = out
    if not tables.get("stage"):
        values.pop("curtain_open", None)
    elif preset in NEEDS_CHAIRS:
        values["curtain_open"] = True
    values["microphones"] = list(microphones_of(preset, name, tables))
    if preset == "two classes":
        values["divided"], values["beside"] = True, _other(name, tables)
    return usual.table("uses", name, **values)


def halves(tables):
    """Names of the two uses that go on beside each other, by the side of the divider.

    Parameters
    ----------
    tables : dict
        Of the school [SI]

    Returns
    -------
    names : tuple of str
        "class west" and "class east", or of the south and the north
    """
    divider = tables.get("divider") or {}
    sides = ("south", "north") if divider.get("y") is not None else ("west", "east")
    return tuple(f"class {side}" for side in sides)


def _half(name, tables):
    """Half of the court where a class is."""
    side = next((side for side in SIDES if name.endswith(side)), halves(tables)[0][6:])
    return f"court {side}"


def _other(name, tables):
    """The use on the other side."""
    both = halves(tables)
    return both[1] if name == both[0] else both[0]


def microphones_of(preset, name, tables):
    """Microphones that are open in a use, by name.

    Parameters
    ----------
    preset : str
        What kind of use
    name : str
        Of the use
    tables : dict
        Of the school [SI]

    Returns
    -------
    microphones : dict of dict
        Their tables by name, without the name [SI]
    """
    if preset == "game":
        return {"announcer": _announcer(tables)}
    if preset == "class":
        return {"teacher": {"type": "headset", "walks": "court"}}
    if preset == "two classes":
        side = _half(name, tables)[6:]
        return {f"teacher {side}": _teacher(side, tables)}
    stage, platform = tables.get("stage"), next(iter(tables.get("portable_stages", ())), None)
    if preset == "show" and stage:
        return {
            f"stage {where}": {
                "type": "stage overhead",
                "on": "stage",
                "x": 0.6,
                "y": round(share * stage["width"], 2),
                "height": round(min(2.7, 0.7 * stage["opening_height"]), 2),
            }
            for where, share in STAGE_PLACES.items()
        }
    if preset in NEEDS_CHAIRS and (stage or platform):
        return {"lectern": _lectern(stage, platform)}
    return {"roving": {"type": "hand-held wireless", "walks": "court"}}


def _announcer(tables):
    """At the scorer's table, beside the court's south line, or as near as banks allow."""
    court = court_of(tables)
    half = court.length if tables.get("court_turned") else court.width
    y = tables.get("court_y", 0.0) - half / 2 - TABLE_GAP
    return {
        "type": "announcer's headset",
        "x": tables.get("court_x", 0.0),
        "y": round(max(y, _clear_of_bank(tables)), 2),
        "height": SEATED_MOUTH,
        "facing_deg": 90.0,
    }


def _clear_of_bank(tables):
    """How far south somebody can sit [m]."""
    y = -tables["hall"]["width"] / 2 + 0.5
    for bank in tables.get("banks", ()):
        if bank["side"] == "south" and not bank.get("base_height"):
            deep = bank.get("rows", 1) * bank.get("row_run", 0.6) + bank.get("setback", 0.0)
            y = max(y, -tables["hall"]["width"] / 2 + deep + 0.3)
    return y


def _teacher(side, tables):
    """In the middle of one half of the court."""
    court, divider = court_of(tables), tables.get("divider") or {}
    axis = 1 if side in ("south", "north") else 0
    turned = tables.get("court_turned", False)
    size = (court.width, court.length) if turned else (court.length, court.width)
    at = [tables.get("court_x", 0.0), tables.get("court_y", 0.0)]
    edge = at[axis] + (0.5 if side in ("east", "north") else -0.5) * size[axis]
    at[axis] = (edge + (divider.get("xy"[axis]) or 0.0)) / 2
    return {"type": "headset", "x": round(at[0], 2), "y": round(at[1], 2)}


def _lectern(stage, platform):
    """On the stage, near its front edge."""
    if stage:
        facing = {"east": 180.0, "west": 0.0, "north": -90.0, "south": 90.0}[stage["side"]]
        return {
            "type": "lectern",
            "on": "stage",
            "x": 1.0,
            "height": SEATED_MOUTH,
            "facing_deg": facing,
            "distance": LECTERN_DISTANCE,
        }
    return {
        "type": "lectern",
        "on": platform["name"],
        "x": round(platform["x"] + platform["length"] / 4, 2),
        "y": platform["y"],
        "height": SEATED_MOUTH,
        "facing_deg": 0.0,
        "distance": LECTERN_DISTANCE,
    }
