"""Names and words of a scenario: text that can be shown, on one line."""

import re
import unicodedata

# control characters, line and paragraph separators, directions that reorder what follows them,
# halves of surrogate pairs, and code points that are no characters
UNFIT = re.compile(
    "[\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufdd0-\ufdef"
    "\ufff9-\ufffb"
    + "".join(chr(plane * 0x10000 + end) for plane in range(17) for end in (0xFFFE, 0xFFFF))
    + "]"
)
# takes no room on the page: soft hyphen, marks of direction, fillers, selectors, tags. Joiners are
# letters' neighbors in some scripts, and only looked through
INVISIBLE = re.compile(
    "[\u00ad\u034f\u061c\u115f\u1160\u17b4\u17b5\u180b-\u180f\u200b\u200e\u200f\u2060-\u2064"
    "\u206a-\u206f\u2800\u3164\ufeff\uffa0\U000e0000-\U000e0fff]"
)
JOINERS = re.compile("[\u200c\u200d\ufe00-\ufe0f]")
QUOTED = 60  # characters of a text that a refusal repeats
MOST_NAME, MOST_TEXT = 200, 2000  # characters of a name, and of any other text


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
        others, a code point that is none, or more than MOST_TEXT characters
    """
    if isinstance(value, str):
        if len(value) > MOST_TEXT:
            raise ValueError(
                f"{name} = {short(ascii(value))} has {len(value)} characters, more than"
                f" {MOST_TEXT}. Shorten it."
            )
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


def check_name(name, value):
    """Refuse a name that another one may look like, or that is too long for a drawing.

    Parameters
    ----------
    name : str
        What the text is, for the message
    value : str
        Text that ``check_text`` lets pass

    Raises
    ------
    ValueError
        A space at an end, a character that takes no room, or more than MOST_NAME characters
    """
    said = f"{name} = {short(ascii(value))}"
    if len(value) > MOST_NAME:
        raise ValueError(f"{said} has {len(value)} characters, more than {MOST_NAME}. Shorten it.")
    if value != value.strip():
        raise ValueError(f"{said} begins or ends with a space. Typed by mistake? Take it out.")
    found = INVISIBLE.search(value)
    if found:
        raise ValueError(
            f"{said} holds the character U+{ord(found[0]):04X}, which takes no room. Copied by"
            " mistake? Take it out."
        )


def looks_like(name):
    """What names have in common that nobody tells apart on a page.

    Parameters
    ----------
    name : str
        Of a thing

    Returns
    -------
    look : str
        Without capitals and joiners, its spaces one wide, its accents in one code
    """
    folded = unicodedata.normalize("NFC", JOINERS.sub("", name)).casefold()
    return " ".join(unicodedata.normalize("NFC", folded).split())


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


def shown(value):
    """Anything that was given, for a message.

    Parameters
    ----------
    value : object
        Anything

    Returns
    -------
    text : str
        On one line; texts in quotes, things that are neither text nor number by their kind
    """
    plain = isinstance(value, str | bytes | int | float | list | tuple | dict | None)
    try:
        text = repr(value) if plain else f"({type(value).__name__})"
    except ValueError:  # an integer of thousands of digits
        text = "(a number of thousands of digits)"
    return short("".join(c if c.isprintable() else " " for c in text))
