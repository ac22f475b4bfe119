"""What a refusal says on the page: a file's keys as the names that the controls have."""

import re

KEY = re.compile(r"(?<![\w'\".])[a-z]+(?:_[a-z0-9]+)+(?![\w'\"])")  # names in quotes stay
UNITS = ("_deg", "_dba", "_db", "_ms", "_c", "_pct", "_kpa", "_kg", "_w")
NAMES = {
    "court_x": "its middle, east of the gym's",
    "court_y": "its middle, north of the gym's",
    "clear_height": "clear height under joists",
    "downtilt_deg": "downtilt",
    "splay_deg": "fan-out",
    "facing_deg": "way the talker faces",
    "target_dba": "speech level",
    "noise_dba": "noise of the use",
    "row_run": "depth of a row",
    "row_rise": "rise of a row",
    "floor_height": "height of its floor",
}


def plain_refusal(text):
    """A refusal in the words of the page.

    Parameters
    ----------
    text : str
        As it was raised, with keys of the scenario file

    Returns
    -------
    words : str
        The same with names that people outside the trade read; what is in quotes is kept

    Examples
    --------
    >>> plain_refusal("clear_height = 30 ft is above the roof.")
    'clear height under joists = 30 ft is above the roof.'
    """
    return KEY.sub(_name, text)


def _name(match):
    key = match[0]
    if key in NAMES:
        return NAMES[key]
    unit = next((u for u in UNITS if key.endswith(u)), "")
    return key.removesuffix(unit).replace("_", " ")
