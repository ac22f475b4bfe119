"""Where the traced room differs from the diffuse-field formula, and why."""

from dataclasses import dataclass

import numpy as np

from ..physics import bands, intelligibility

LEVEL_DB, STI = 1.0, 0.03  # smaller differences in an area are not listed
BENT = 1.5  # T30 over EDT from which a decay is called bent    common practice, no source
EARLY_S = 0.05  # sound that comes within this after the direct sound helps speech [s]    Haas 1951
NOTED = 0.05  # smaller differences of a share are not listed
BARE = 0.12  # mean absorption at 1 kHz of a bare pair of walls    common practice, no source
UNEVEN = 2.0  # how far the gym's mean must exceed a bare pair's    common practice, no source
BARE_BAND = 3  # 1 kHz, in which bare walls are looked for
SIDES = (("north", "south"), ("east", "west"))  # walls that face each other


@dataclass(frozen=True, kw_only=True)
class AreaDifference:
    """One audience area in both rooms."""

    area: str
    reverberant_db: float  # reverberant speech at one setting, traced re statistical [dB]
    sti: float  # that 9 of 10 seats reach, traced
    sti_statistical: float
    early_share: float  # of the reverberant sound, within ``EARLY_S``, traced, 0 to 1
    early_share_statistical: float

    @property
    def notable(self):
        """Whether level or STI differ by more than ``LEVEL_DB`` or ``STI``."""
        return abs(self.reverberant_db) > LEVEL_DB or abs(self.sti - self.sti_statistical) > STI


@dataclass(frozen=True, kw_only=True)
class AbsorbedShare:
    """Share of all sound, 500 Hz to 4 kHz, that ends in one part of the room or in the air."""

    part: str
    traced: float  # 0 to 1
    statistical: float  # the same in a diffuse field, 0 to 1

    @property
    def difference(self):
        """Traced less statistical, -1 to 1 [-]."""
        return self.traced - self.statistical


@dataclass(frozen=True, kw_only=True)
class BentDecay:
    """A decay that goes on much longer than it began."""

    edt_s: float  # early decay time, mean of 500 Hz to 2 kHz [s]
    t30_s: float  # the same from T30 [s]
    bare_walls: tuple  # of ``BareWalls`` that explain it; may be empty


@dataclass(frozen=True, kw_only=True)
class BareWalls:
    """Two walls that face each other and absorb little while the rest of the gym absorbs."""

    sides: tuple  # e.g. ("north", "south")
    absorption: float  # mean of both walls at 1 kHz, 0 to 1
    absorption_gym: float  # mean of all surfaces at 1 kHz, 0 to 1


@dataclass(frozen=True, kw_only=True)
class RoomComparison:
    """A use in the traced room against the diffuse-field formula; without areas both agree."""

    areas: tuple = ()  # AreaDifference of every area that differs notably
    most_hit: str = ""  # part of the room that most of the sound meets first
    most_hit_share: float = 0.0  # of all sound, 500 Hz to 4 kHz, 0 to 1
    absorbed: tuple = ()  # AbsorbedShare of the part that takes most more, and of the most less
    bent: BentDecay | None = None


def compare_rooms(statistical, traced):
    """What the traced room changes in every area, and why.

    Parameters
    ----------
    statistical : Result
        A use in the statistical room
    traced : Result
        The same use traced; a statistical one has nothing to compare

    Returns
    -------
    comparison : RoomComparison
        Without areas where both rooms agree
    """
    if traced.room == "statistical":
        return RoomComparison()
    pairs = zip(statistical.areas, traced.areas, strict=True)
    compared = [_area_difference(statistical, traced, a, b) for a, b in pairs]
    areas = tuple(area for area in compared if area.notable)
    if not areas:
        return RoomComparison()
    hit = {part: _met_first(traced, part) for part in traced.parts}
    most_hit = max(hit, key=hit.get)
    shares = sorted(absorbed_shares(traced), key=lambda share: -share.difference)
    return RoomComparison(
        areas=areas,
        most_hit=most_hit,
        most_hit_share=hit[most_hit],
        absorbed=tuple(s for s in (shares[0], shares[-1]) if abs(s.difference) > NOTED),
        bent=bent_decay(traced),
    )


def _area_difference(statistical, traced, area, area_traced):
    """One area in both rooms."""
    level = reverberant_dba(traced, area_traced) - reverberant_dba(statistical, area)
    return AreaDifference(
        area=area.name,
        reverberant_db=level,
        sti=area_traced.sti_p10,
        sti_statistical=area.sti_p10,
        early_share=early_share(traced, area_traced),
        early_share_statistical=_early_share_statistical(statistical),
    )


def reverberant_dba(result, area):
    """Level of the reverberant speech in an area at one electrical setting, so that rooms compare.

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
    energy = result.reverberant.at(result.points[area.points]).mean(axis=0, dtype=float)
    gain_db = result.room_eq_db + result.loudspeaker_gain_db[result.playing].max()
    return float(bands.a_weighted(bands.to_level(energy) - gain_db))


def early_share(result, area):
    """Share of the traced reverberant sound in an area that comes within ``EARLY_S`` after its
    loudspeaker's direct sound.

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


def _early_share_statistical(result):
    """The same in a diffuse field, where it depends on the decay alone."""
    energy = bands.to_energy(result.reverberant_db[bands.SPEECH])
    early = 1 - np.exp(-intelligibility.DECAY * EARLY_S / result.rt[bands.SPEECH])
    return float(energy @ early / energy.sum())


def _met_first(result, part):
    """Share of all sound that meets a part of the room first."""
    power = result.sources.radiated[:, bands.SPEECH].sum(axis=1)
    return float(power @ result.first_incidence[:, result.parts.index(part)] / power.sum())


def absorbed_shares(result):
    """Where the radiated sound ends, traced and in a diffuse field.

    Parameters
    ----------
    result : Result
        A traced evaluation

    Returns
    -------
    shares : list of AbsorbedShare
        One for every part of the room, and one for the air
    """
    room = result.configuration.room
    names = np.array([*room.parts, "air"])
    traced, diffuse = _absorbed_traced(result), _absorbed_diffuse(result)  # (surface and air,)
    return [
        AbsorbedShare(
            part=part,
            traced=float(traced[names == part].sum()),
            statistical=float(diffuse[names == part].sum()),
        )
        for part in (*result.parts, "air")
    ]


def _absorbed_traced(result):
    """Share of the radiated energy that ends in each surface, and in the air last."""
    power = result.sources.radiated[:, bands.SPEECH]  # (source, band)
    by_surface = result.reverberant.absorbed[..., bands.SPEECH]
    taken = np.einsum("sb,skb->kb", power, by_surface) / power.sum(axis=0)
    air = (power * result.reverberant.air[:, bands.SPEECH]).sum(axis=0) / power.sum(axis=0)
    return np.append(taken.mean(axis=1), air.mean())


def _absorbed_diffuse(result):
    """The same in a diffuse field: by absorption area."""
    room = result.configuration.room
    of_surfaces = room.area[:, None] * result.absorption[:, bands.SPEECH]
    of_air = 4 * result.sources.decay[bands.SPEECH] * room.volume
    area = np.append(of_surfaces, [of_air], axis=0)  # (surface and air, band) [m2]
    return (area / area.sum(axis=0)).mean(axis=1)


def bent_decay(result):
    """A decay that goes on much longer than it began, and the walls that explain it.

    Parameters
    ----------
    result : Result
        A traced evaluation

    Returns
    -------
    bent : BentDecay or None
        None for a decay without a bend
    """
    times = result.own_decay
    edt, t30 = (float(values[bands.MIDDLE].mean()) for values in (times.edt, times.t30))
    if not t30 > BENT * edt:
        return None
    return BentDecay(edt_s=edt, t30_s=t30, bare_walls=bare_walls(result))


def bare_walls(result):
    """Pairs of facing walls that are bare while the rest of the gym absorbs: sound can go on
    between them.

    Parameters
    ----------
    result : Result
        An evaluation

    Returns
    -------
    pairs : tuple of BareWalls
        Empty where there are none
    """
    room, alpha = result.configuration.room, result.absorption[:, BARE_BAND]
    gym = float(np.average(alpha, weights=room.area))
    pairs = []
    for sides in SIDES:
        walls = np.isin(room.parts, [f"{side} wall" for side in sides])
        # a wall may be all stage opening or bank: its area is then nothing
        mean = float(np.average(alpha[walls], weights=room.area[walls] + 1e-9))
        if mean < BARE and gym > UNEVEN * mean:
            pairs.append(BareWalls(sides=sides, absorption=mean, absorption_gym=gym))
    return tuple(pairs)


def sentences(comparison):
    """A comparison of rooms in words.

    Parameters
    ----------
    comparison : RoomComparison
        Of ``compare_rooms``

    Returns
    -------
    sentences : list of str
        One for every area that differs, then the reasons; empty where both rooms agree
    """
    if not comparison.areas:
        return []
    bent = bent_decay_sentence(comparison.bent)
    found = [_area_sentence(area) for area in comparison.areas]
    return [*found, _where_sentence(comparison), *([bent] if bent else [])]


def _area_sentence(area):
    more = "more" if area.reverberant_db > 0 else "less"
    return (
        f"{area.area}: {abs(area.reverberant_db):.1f} dB {more} reverberant sound at the same"
        f" setting; STI {area.sti:.2f} where the formula gives {area.sti_statistical:.2f}."
        f" {100 * area.early_share:.0f} % of the reverberant sound comes within"
        f" {1000 * EARLY_S:.0f} ms of the direct sound, off nearby surfaces (diffuse field:"
        f" {100 * area.early_share_statistical:.0f} %)"
    )


def _where_sentence(comparison):
    first = f"{100 * comparison.most_hit_share:.0f} % of the sound meets the {comparison.most_hit}"
    taken = [
        f"the {share.part} takes {100 * share.traced:.0f} % of all sound (500 Hz to 4 kHz), in a"
        f" diffuse field it would take {100 * share.statistical:.0f} %"
        for share in comparison.absorbed
    ]
    return f"Where the sound goes: {'; '.join([f'{first} first', *taken])}"


def bent_decay_sentence(bent):
    """A bent decay in words.

    Parameters
    ----------
    bent : BentDecay or None
        Of ``bent_decay``

    Returns
    -------
    sentence : str
        Empty for None
    """
    if bent is None:
        return ""
    walls = " and the ".join(f"{' and '.join(pair.sides)} walls" for pair in bent.bare_walls)
    why = (
        f"the {walls} are bare and face each other, and sound goes on between them"
        if walls
        else "sound goes on where little absorbs it"
    )
    return (
        f"The gym begins to ring as if for {bent.edt_s:.1f} s and goes on as if for"
        f" {bent.t30_s:.1f} s (EDT and T30, 500 Hz to 2 kHz): {why}"
    )
