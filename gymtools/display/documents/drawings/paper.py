"""Paper and scales that drawings usually have, and the pair that a set of drawings takes."""

PAPERS = {  # landscape (name, width, height) [mm]
    "m": (("A2", 594, 420), ("A1", 841, 594), ("A0", 1189, 841)),  # ISO 216
    "ft": (  # ASME Y14.1, architectural sizes
        ("ARCH C", 609.6, 457.2),
        ("ARCH D", 914.4, 609.6),
        ("ARCH E", 1219.2, 914.4),
    ),
}
SCALES = {  # (scale, words)
    "m": tuple((n, f"1:{n}") for n in (20, 50, 100, 200, 500)),  # ISO 5455
    "ft": (  # architect's scale
        (24, '1/2" = 1\'-0"'),
        (48, '1/4" = 1\'-0"'),
        (64, '3/16" = 1\'-0"'),
        (96, '1/8" = 1\'-0"'),
        (128, '3/32" = 1\'-0"'),
        (192, '1/16" = 1\'-0"'),
        (384, '1/32" = 1\'-0"'),
    ),
}
SMALLEST = {"m": 100, "ft": 96}  # scale that a small sheet may have; else a larger sheet is taken
MARGIN = 10.0  # around the frame [mm]
COLUMN = 112.0  # of title block, legend and tables, at the right [mm]
AROUND = 44.0, 60.0  # for dimensions and titles, beside a view and over and under it [mm]


def drawing_room(size):
    """What a sheet leaves for views.

    Parameters
    ----------
    size : tuple
        Width and height of the sheet [mm]

    Returns
    -------
    room : tuple
        Width and height [mm]
    """
    return size[0] - 2 * MARGIN - COLUMN, size[1] - 2 * MARGIN


def choose(width, height, units):
    """Sheet and scale for a view, so that it is read with the usual rulers.

    Parameters
    ----------
    width, height : float
        Of what is drawn [m]
    units : str
        "m" or "ft"

    Returns
    -------
    paper : tuple
        Name, width and height [-, mm, mm]
    scale : float
        Meters of the gym in a meter of paper [-]
    """
    for paper in PAPERS[units]:
        last = paper == PAPERS[units][-1]
        for scale, _ in SCALES[units]:
            room = drawing_room(paper[1:])
            fits = all(
                size * 1000 / scale + around <= free
                for size, around, free in zip((width, height), AROUND, room, strict=True)
            )
            if fits and (scale <= SMALLEST[units] or last):
                return paper, scale
    return PAPERS[units][-1], SCALES[units][-1][0]


def scale_words(scale, units):
    """How a title block says a scale.

    Parameters
    ----------
    scale : float
        One of ``SCALES`` [-]
    units : str
        "m" or "ft"

    Returns
    -------
    words : str
        "1:100", or as on an architect's scale
    """
    return dict(SCALES[units])[scale]
