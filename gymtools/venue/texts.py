"""Names and words of a scenario: text that can be shown, on one line."""

import re

# control characters, line and paragraph separators, directions that reorder what follows them,
# halves of surrogate pairs, and code points that are no characters
UNFIT = re.compile(
    "[\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufdd0-\ufdef\ufff9-\ufffb"
    + "".join(chr(plane * 0x10000 + end) for plane in range(17) for end in (0xFFFE, 0xFFFF))
    + "]"
)
QUOTED = 60  # characters of a text that a refusal repeats


def check_text(name, value):
    """Refuse text that cannot be shown on one line as it was written.

    Parameters
    ----------
    name : str
        What the text is, for the message
    value : object
        Text, or a tuple, list or dict in which every text and key is looked at; anything else
        passes

    Raises
    ------
    ValueError
        A control character (a line break among them), a character that reverses the direction of
        others, or a code point that is none
    """
    if isinstance(value, str):
        # nearly all text can be printed, which is quicker to see
        found = None if value.isprintable() else UNFIT.search(value)
        if found:
            raise ValueError(
                f"{name} = {short(ascii(value))} holds the character U+{ord(found[0]):04X}, which"
                " cannot be shown. Write plain text on one line."
            )
    elif isinstance(value, dict):
        for key, part in value.items():
            check_text(name, key)
            check_text(name, part)
    elif isinstance(value, (tuple, list)):
        for part in value:
            check_text(name, part)


def short(text, most=QUOTED):
    """Text for a message, cut where it is long.

    Parameters
    ----------
    text : object
        Anything
    most : int
        Characters that are kept [-]

    Returns
    -------
    text : str
        Ending in "..." where it was cut
    """
    text = str(text)
    return text if len(text) <= most else f"{text[:most]}..."
