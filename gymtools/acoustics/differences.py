"""Where the traced room differs from the formula, and why: reasons computed from both, in words."""

import numpy as np

from ..physics import bands, intelligibility

LEVEL_DB, STI = 1.0, 0.03  # differences that are told
BENT = 1.5  # T30 over EDT from which a late decay is called long    common practice, no source
EARLY_S = 0.05  # sound that comes within this after the direct sound helps speech [s]    Haas 1951
NOTED = 0.05  # shares that differ by less are not named
# mean absorption of a bare pair of walls, and how far the gym's mean must exceed it    common
# practice, no source
BARE, UNEVEN = 0.12, 2.0


def late_db(result, area):
    """Level of the late speech in an area at one electrical setting, so that two rooms compare.

    Parameters
    ----------
    result : Result
        An evaluation
    area : AreaSummary
        One of its areas

    Returns
    -------
    level : float
        Mean over the area, per 1 W at the loudest group [dB(A)]
    """
    octaves = bands.to_level(
        result.reverberant.at(result.points[area.points]).mean(axis=0, dtype=float)
    )
    return float(
        bands.a_weighted(
            octaves - result.room_eq_db - result.loudspeaker_gain_db[result.playing].max()
        )
    )


def differences(even, traced):
    """What the traced room changes in every area, and why.

    Parameters
    ----------
    even : Result
        The use in the statistical room
    traced : Result
        The same use traced

    Returns
    -------
    sentences : list of str
        One for every area where the late level differs by more than 1 dB or the STI by more than
        0.03, then the reasons
    """
    if traced.room == "statistical":
        return []
    found = []
    for a, b in zip(even.areas, traced.areas, strict=True):
        level, clarity = late_db(traced, b) - late_db(even, a), b.sti_p10 - a.sti_p10
        if abs(level) > LEVEL_DB or abs(clarity) > STI:
            more = (
                f"{abs(level):.1f} dB {'more' if level > 0 else 'less'} sound from the room at the"
                " same setting"
            )
            early, usual = early_share(traced, b), _even_early(even)
            found.append(
                f"{b.name}: {more}; clarity {b.sti_p10:.2f} where the formula says {a.sti_p10:.2f}."
                f" {100 * early:.0f} % of the room's sound comes within {1000 * EARLY_S:.0f} ms of"
                f" the direct sound, off what is near (an even field: {100 * usual:.0f} %)"
            )
    if not found:
        return []
    return [*found, *_ends(traced), *([bent] if (bent := bent_decay(traced)) else [])]


def early_share(result, area):
    """Share of the traced late sound in an area that comes soon after its loudspeaker's direct
    sound.

    Parameters
    ----------
    result : Result
        A traced evaluation
    area : AreaSummary
        One of its areas

    Returns
    -------
    share : float
        500 Hz to 4 kHz, 0 to 1 [-]
    """
    return result.reverberant.early_share(result.points[area.points], EARLY_S, bands.SPEECH)


def _even_early(result):
    """The same by formula, where it depends on the decay alone."""
    energy = bands.to_energy(result.reverberant_db[bands.SPEECH])
    return float(
        energy
        @ (1 - np.exp(-intelligibility.DECAY * EARLY_S / result.rt[bands.SPEECH]))
        / energy.sum()
    )


def ends(result):
    """Where the radiated sound ends, against an even field: share taken by each part of the room
    and by the air.

    Parameters
    ----------
    result : Result
        A traced evaluation

    Returns
    -------
    shares : dict
        (traced, even) by part, 500 Hz to 4 kHz
    """
    room, sources = result.configuration.room, result.sources
    power = sources.radiated[:, bands.SPEECH]
    # (surface, band)
    taken = np.einsum(
        "sb,skb->kb", power, result.reverberant.absorbed[..., bands.SPEECH]
    ) / power.sum(axis=0)
    area = np.append(
        room.area[:, None] * result.absorption[:, bands.SPEECH],
        [4 * sources.decay[bands.SPEECH] * room.volume],
        axis=0,
    )
    even = (area / area.sum(axis=0)).mean(axis=1)
    air = np.einsum("sb,sb->b", power, result.reverberant.air[:, bands.SPEECH]) / power.sum(axis=0)
    traced = np.append(taken.mean(axis=1), air.mean())
    names = [*room.parts, "air"]
    return {
        p: tuple(
            float(sum(v[k] for k, name in enumerate(names) if name == p)) for v in (traced, even)
        )
        for p in dict.fromkeys(names)
    }


def _ends(result):
    """The part of the room that takes most more, and the one that takes most less, than in an even
    field.
    """
    shares = ends(result)
    most = max(shares, key=lambda p: shares[p][0] - shares[p][1])
    least = min(shares, key=lambda p: shares[p][0] - shares[p][1])
    words = [
        f"the {p} takes {100 * shares[p][0]:.0f} % of all sound (500 Hz to 4 kHz) where an even"
        f" field would give it {100 * shares[p][1]:.0f} %"
        for p in (most, least)
        if abs(shares[p][0] - shares[p][1]) > NOTED
    ]
    landed = max(result.parts, key=lambda p: _landed(result, p))
    first = f"{100 * _landed(result, landed):.0f} % of what is radiated lands first on the {landed}"
    return [f"Where the sound goes: {'; '.join([first, *words])}"]


def _landed(result, part):
    power = result.sources.radiated[:, bands.SPEECH].sum(axis=1)
    return float(power @ result.first_incidence[:, result.parts.index(part)] / power.sum())


def bent_decay(result):
    """Words on a decay that goes on much longer than it began.

    Parameters
    ----------
    result : Result
        A traced evaluation

    Returns
    -------
    words : str
        Empty when it does not
    """
    early, late = (float(result.decay_times[key][bands.MIDDLE].mean()) for key in ("edt", "t30"))
    if not late > BENT * early:
        return ""
    pairs = [words for words, _, _ in bare_pairs(result)]
    why = (
        f"the {' and the '.join(pairs)} are bare and face each other, and sound goes on between"
        " them"
        if pairs
        else "sound goes on where little absorbs it"
    )
    return (
        f"The hall begins to ring as if for {early:.1f} s and goes on as if for {late:.1f} s (EDT"
        f" and T30, 500 Hz to 2 kHz): {why}"
    )


def bare_pairs(result):
    """Pairs of facing walls that are bare while the rest of the hall absorbs: between them sound
    can go on bouncing.

    Parameters
    ----------
    result : Result
        An evaluation

    Returns
    -------
    pairs : list of tuple
        (words, mean absorption of the pair, of the hall), at 1 kHz
    """
    room, alpha, found = result.configuration.room, result.absorption[:, 3], []
    overall = float(np.average(alpha, weights=room.area))
    for a, b in (("north", "south"), ("east", "west")):
        at = np.array([part in (f"{a} wall", f"{b} wall") for part in room.parts])
        mean = float(np.average(alpha[at], weights=room.area[at] + 1e-9))
        if mean < BARE and overall > UNEVEN * mean:
            found.append((f"{a} and {b} walls", mean, overall))
    return found
