"""What is measured in the finished hall, where, and how: a plan made from the design."""

from dataclasses import dataclass, replace

import numpy as np

from ..acoustics.evaluate import Result, evaluate
from ..physics import bands
from ..venue.locations import spot
from ..venue.scenario import Scenario

APART = 2.0  # between microphone places    ISO 3382-2:2008, 4.3.1 (from memory) [m]
OFF_WALLS = 1.0  # of a microphone    the same [m]
ROWS = COLUMNS = 3  # places in a listening area: low, middle and high rows, left, middle and right
SOURCES, MICROPHONES = (
    2,
    3,
    # of the reverberation: six combinations, the engineering method    ISO 3382-2:2008, table 1
    # (from memory)
)
QUIET_DBA = 40.0  # taken as the noise of the empty hall until it has been measured    assumption
TESTS = (
    "ambient",
    "reverberation",
    "alone",
    "level",
    "clarity",
    "arrival",
    "polarity",
    "spare gain",
    "reach",
)
UNITS = {
    "ambient": "dB",
    "reverberation": "s",
    "alone": "dB",
    "level": "dB",
    "clarity": "STI",
    "arrival": "ms",
    "polarity": "outward + or inward -",
    "spare gain": "dB",
    "reach": "dB(A)",
}
IN_OCTAVES = ("ambient", "reverberation", "alone", "level")
HOW = {  # practice after NT ACOU 108:2001, ISO 3382-2:2008, IEC 60268-16:2020 annex B
    "ambient": (
        "Everything off but the ventilation as in use. Energy mean over 30 s or more, in octaves."
    ),
    "reverberation": (
        "Hall empty. A source that radiates all round (or a burst) at the source's place; T20 in"
        " octaves, mean of three decays. Note T30 too where it differs by more than a tenth."
    ),
    "alone": (
        "Pink noise into this loudspeaker alone (the others taken off at their terminals, by who"
        " may open them), the same setting for all of them: the first reads about 75 dB(A). Energy"
        " mean over 10 s or more; in octaves, or dB(A) alone."
    ),
    "level": (
        "Pink noise into all groups of this preset, limiters not working. Turn up until the first"
        " place reads 80 dB(A), then leave it. Energy mean over 10 s or more, at ear height; in"
        " octaves, or dB(A) alone."
    ),
    "clarity": (
        "STIPA signal at the level of speech in this use. 15 to 25 s; twice, three times where the"
        " two differ by more than 0.03. Nobody speaks."
    ),
    "arrival": (
        "Test pulses or sweeps into one group at a time, delays as set. Time by which this group"
        " comes later than the lead; minus when it comes first."
    ),
    "polarity": (
        "Polarity tester or a pulse into this loudspeaker alone: + when the first move is outward,"
        " - when not."
    ),
    "spare gain": (
        "Microphone open alone, at the place, at its working gain. Raise it slowly until it just"
        " rings; write by how much, then go back at once. Wear hearing protection; one hand stays"
        " on the control."
    ),
    "reach": (
        "STIPA signal or speech noise at the place, raised until a limiter shows or it sounds"
        " rough; write the last clean reading. Wear hearing protection; nobody stays under the"
        " loudspeakers."
    ),
}


@dataclass(frozen=True, kw_only=True)
class Item:
    """One reading to be taken."""

    key: str  # what the entry sheet knows it by
    test: str  # one of ``TESTS``
    use: str  # "" when it belongs to none
    of: str  # group, loudspeaker or microphone; "" when there is none
    tag: str  # of the place, "" when there is none
    where: str  # in words
    point: tuple  # x, y, z, or () [m]
    index: int  # among the places of the use's result, -1 when it is none of them

    @property
    def unit(self):
        """Unit of the value."""
        return UNITS[self.test]

    @property
    def octaves(self):
        """Whether it is read in seven octaves."""
        return self.test in IN_OCTAVES


@dataclass(frozen=True, kw_only=True, eq=False)
class TestPlan:
    """Readings of one design, in the order in which they are taken."""

    __test__ = False  # nothing for pytest
    scenario: Scenario
    items: tuple
    leads: dict  # group that arrivals are told against, by use
    notes: tuple

    def item(self, key):
        """A reading by its key.

        Parameters
        ----------
        key : str
            As in the entry sheet [-]

        Returns
        -------
        item : Item or None
            None when there is none
        """
        return next((i for i in self.items if i.key == key), None)

    def of(self, test, use=None):
        """Readings of one kind.

        Parameters
        ----------
        test : str
            One of ``TESTS`` [-]
        use : str, optional
            Of one use only [-]

        Returns
        -------
        items : list of Item
            In order
        """
        return [i for i in self.items if i.test == test and use in (None, i.use)]


def as_tested(scenario, use, ambient_db=None):
    """The scenario as it stands when one of its uses is measured: nobody in it, and the noise of
    the empty hall.

    Parameters
    ----------
    scenario : Scenario
        The design [-]
    use : str
        Name of the use [-]
    ambient_db : array, optional
        Noise as measured (7,); a quiet hall is taken when left out [dB]

    Returns
    -------
    scenario : Scenario
        With that one use
    """
    use = scenario.use(use)
    noise = (
        dict(noise_dba=QUIET_DBA, noise_db=None)
        if ambient_db is None
        else dict(noise_dba=None, noise_db=tuple(np.clip(ambient_db, -20, 120).tolist()))
    )
    return replace(scenario, uses=(replace(use, occupied={}, **noise),), text=None)


def plan(scenario, uses=None):
    """Readings that check a finished hall against its design.

    Parameters
    ----------
    scenario : Scenario
        The design [-]
    uses : sequence of str, optional
        Uses to be measured; all when left out, but for those whose loudspeakers and areas stand as
        in one before [-]

    Returns
    -------
    plan : TestPlan
        The same design gives the same plan

    Sources
    -------
    NT ACOU 108:2001 (public address systems in situ: noise, coverage, response, feedback,
    intelligibility); ISO 3382-2:2008 (places and decays of the reverberation); IEC 60268-16:2020,
    annex B (STIPA). From memory where not said otherwise.
    """
    chosen = [scenario.use(name) for name in uses] if uses is not None else _unlike(scenario)
    results = {u.name: evaluate(as_tested(scenario, u.name), follow_echoes=False) for u in chosen}
    notes, letters = [], _letters(scenario.area_names)
    items = [
        Item(
            key="ambient",
            test="ambient",
            use="",
            of="",
            tag="A1",
            where="middle of the floor",
            point=(0.0, 0.0, 1.2),
            index=-1,
        )
    ]
    reverberation, few = _reverberation(scenario, next(iter(results.values())))
    items += reverberation
    if few:
        notes.append(few)
    playing = {
        c.group for u in chosen for c in scenario.loudspeakers if u.group_setting(c.group).on
    }
    items += _alone(scenario, results)
    items += [
        Item(
            key=f"polarity {c.tag}",
            test="polarity",
            use="",
            of=c.tag,
            tag="",
            where="",
            point=(),
            index=-1,
        )
        for c in scenario.loudspeakers
        if c.group in playing
    ]
    leads = {}
    for name, result in results.items():
        places = _places(result, letters)
        for test, some in (("level", places), ("clarity", _telling(result, places))):
            items += [
                Item(
                    key=f"{test} {name} {tag}",
                    test=test,
                    use=name,
                    of="",
                    tag=tag,
                    where=where,
                    point=point,
                    index=k,
                )
                for tag, where, point, k in some
            ]
        leads[name], arrivals = _arrivals(result)
        items += arrivals
        items += [
            Item(
                key=f"spare {name} {m.microphone.name}",
                test="spare gain",
                use=name,
                of=m.microphone.name,
                tag="",
                where=spot(m.places[m.worst], scenario.units),
                point=tuple(np.round(m.places[m.worst], 2).tolist()),
                index=-1,
            )
            for m in result.microphones
        ]
        tag, where, point, k = places[0]
        items.append(
            Item(
                key=f"reach {name}",
                test="reach",
                use=name,
                of="",
                tag=tag,
                where=where,
                point=point,
                index=k,
            )
        )
    left = [u.name for u in scenario.uses if u.name not in results]
    if left:
        notes.append(
            "Not measured, because their loudspeakers and areas stand as in a use that is, or by"
            f" choice: {', '.join(left)}."
        )
    return TestPlan(scenario=scenario, items=tuple(items), leads=leads, notes=tuple(notes))


def _unlike(scenario):
    """Uses whose loudspeakers or areas differ."""
    seen, kept = [], []
    for u in scenario.uses:
        what = (
            tuple((g.name, u.group_setting(g.name)) for g in scenario.groups),
            tuple(u.listens),
            tuple(u.closed),
            tuple(u.set_up),
            tuple(u.microphones),
        )
        if what not in seen:
            seen.append(what)
            kept.append(u)
    return kept


def _letters(names):
    """Initials of the areas, longer where two would be called alike."""
    found = {}
    for name in names:
        initials, word = "".join(w[0] for w in name.split()).upper(), name.replace(" ", "").upper()
        tries = (
            initials,
            *(word[:n] for n in range(2, len(word) + 1)),
            *(f"{initials}{n}-" for n in range(2, 99)),
        )
        found[name] = next(t for t in tries if t not in found.values())
    return found


def _places(result, letters):
    """Tags, words, points and indices of the places in every area that listens."""
    found = []
    for a in result.areas:
        area = result.configuration.areas[a.name]
        taken = []
        for row in _spread(area.rows, ROWS):
            for column in _spread(area.columns, COLUMNS):
                k = row * area.columns + column
                if all(
                    np.linalg.norm(area.points[k] - area.points[j]) >= APART - 1e-9 for j in taken
                ):
                    taken.append(k)
        taken += [k for k in _own_places(result, a) if k not in taken]
        found += [
            (
                f"{letters[a.name]}{n + 1}",
                f"{a.name}: {area.seat_words(k, result.scenario.units)}",
                tuple(np.round(area.points[k], 3).tolist()),
                a.points.start + k,
            )
            for n, k in enumerate(taken)
        ]
    return found


def _own_places(result, area):
    """Places of this area where one of the loudspeakers stands out most: there it is checked."""
    best = dict.fromkeys(own_place(result, n) for n in np.flatnonzero(result.playing))
    return [k - area.points.start for k in best if area.points.start <= k < area.points.stop]


def _telling(result, places):
    """Of the places in each area the one where clarity is predicted lowest, the one where it is
    highest, and the middle one.
    """
    found = []
    for a in result.areas:
        mine = sorted(
            (p for p in places if a.points.start <= p[3] < a.points.stop),
            key=lambda p: result.sti[p[3]],
        )
        found += [mine[k] for k in sorted({0, len(mine) // 2, len(mine) - 1})]
    return found


def _spread(count, most):
    """Rows or columns spread over an area, off its ends where there are many."""
    return (
        sorted({int(round(v)) for v in np.linspace(0.1 * (count - 1), 0.9 * (count - 1), most)})
        if count > most
        else list(range(count))
    )


def _reverberation(scenario, result):
    """Source and microphone places on the floor, far enough from walls, from each other, and from
    the source.
    """
    hall, volume, rt = (
        scenario.hall,
        result.configuration.room.volume,
        float(result.rt[bands.MIDDLE].mean()),
    )
    least = 2 * np.sqrt(volume / (result.sources.speed * rt))  # ISO 3382-2:2008, 4.3.1
    x, y = (
        np.arange(-v / 2 + OFF_WALLS, v / 2 - OFF_WALLS + 1e-9, 1.0)
        for v in (hall.length, hall.width)
    )
    spots = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)
    free = np.array(
        [
            not any(
                r[0] - OFF_WALLS < px < r[1] + OFF_WALLS
                and r[2] - OFF_WALLS < py < r[3] + OFF_WALLS
                for r in _in_the_way(result)
            )
            for px, py in spots
        ]
    )
    spots = spots[free] if free.any() else np.zeros((1, 2))
    low, high = spots.min(axis=0), spots.max(axis=0)
    # off the axes, so that few modes are missed
    ends = [low + (high - low) * share for share in ((0.12, 0.3), (0.8, 0.75))]
    heads = [spots[np.argmin(np.linalg.norm(spots - end, axis=1))] for end in ends][:SOURCES]
    items, few = [], ""
    for s, head in enumerate(heads, 1):
        chosen, far = [], np.linalg.norm(spots - head, axis=1)
        allowed = (
            spots[far >= least]
            if (far >= least).sum() >= MICROPHONES
            else spots[np.argsort(-far)[: max(MICROPHONES * 4, 1)]]
        )
        if (far >= least).sum() < MICROPHONES:
            few = (
                f"Reverberation: the hall has no places {scenario.say(least)} from a source; the"
                " farthest are taken. Decays near the source come out short."
            )
        while len(chosen) < MICROPHONES and len(allowed):
            gap = [
                min((np.linalg.norm(p - q) for q in chosen), default=np.linalg.norm(p - head))
                for p in allowed
            ]
            best = allowed[int(np.argmax(gap))]
            if chosen and max(gap) < APART:
                break
            chosen.append(best)
        for m, p in enumerate(chosen, 1):
            where = (
                f"source at {spot(head, scenario.units)}, 1.5 m up; microphone at"
                f" {spot(p, scenario.units)}, 1.2 m up"
            )
            items.append(
                Item(
                    key=f"reverberation S{s} R{m}",
                    test="reverberation",
                    use="",
                    of=f"S{s}",
                    tag=f"R{m}",
                    where=where,
                    point=(float(p[0]), float(p[1]), 1.2),
                    index=-1,
                )
            )
    return items, few


def _in_the_way(result):
    """Footprints of what stands on the floor in the use."""
    s, use = result.scenario, result.use
    things = (
        [b for b in s.banks if b.name not in use.closed]
        + [f for f in s.floor_seats if f.name in use.set_up]
        + [p for p in s.portable_stages if p.name in use.set_up]
    )
    return [t.footprint(s.hall) for t in things]


def _alone(scenario, results):
    """Every loudspeaker by itself at the place where it stands out most, in the first use in which
    it plays.
    """
    items = []
    for n, c in enumerate(scenario.loudspeakers):
        result = next((r for r in results.values() if r.playing[n]), None)
        if result is None:
            continue
        k = own_place(result, n)
        area = result.configuration.areas[str(result.area[k])]
        start = int(np.flatnonzero(result.area == area.name)[0])
        where = f"{area.name}: {area.seat_words(k - start, scenario.units)}"
        items.append(
            Item(
                key=f"alone {c.tag}",
                test="alone",
                use=result.use.name,
                of=c.tag,
                tag="",
                where=where,
                point=tuple(np.round(result.points[k], 3).tolist()),
                index=k,
            )
        )
    return items


def own_place(result, loudspeaker):
    """The listening place where a loudspeaker stands out most from all others and the room.

    Parameters
    ----------
    result : Result
        An evaluation in which it plays [-]
    loudspeaker : int
        Which of the scenario's loudspeakers [-]

    Returns
    -------
    index : int
        Among the result's places [-]
    """
    speech = result.direct[:, :, bands.SPEECH].sum(axis=-1)
    listened = np.concatenate([np.arange(a.points.start, a.points.stop) for a in result.areas])
    late = result.reverberant.at(result.points)[:, bands.SPEECH].sum(axis=-1)
    stands_out = speech[loudspeaker] / (speech.sum(axis=0) - speech[loudspeaker] + late)
    return int(listened[np.argmax(stands_out[listened])])


def _arrivals(result):
    """The group that leads, and for every other one the place where the two are most alike in
    level.
    """
    groups = list(
        dict.fromkeys(
            c.group
            for c, on in zip(result.scenario.loudspeakers, result.playing, strict=True)
            if on
        )
    )
    owner = np.array([c.group for c in result.scenario.loudspeakers], object)
    listened = np.concatenate([np.arange(a.points.start, a.points.stop) for a in result.areas])
    level = {
        g: bands.to_level(result.direct[owner == g].sum(axis=0)[:, bands.SPEECH].sum(axis=1))[
            listened
        ]
        for g in groups
    }
    heard = {g: np.where(np.isfinite(level[g]), level[g], -99.0) for g in groups}
    lead, items = groups[0], []
    for g in groups[1:]:
        both = np.minimum(heard[g], heard[lead]) - 0.5 * np.abs(heard[g] - heard[lead])
        k = int(listened[int(np.argmax(both))])
        area = result.configuration.areas[str(result.area[k])]
        start = int(np.flatnonzero(result.area == area.name)[0])
        where = f"{area.name}: {area.seat_words(k - start, result.scenario.units)}"
        items.append(
            Item(
                key=f"arrival {result.use.name} {g}",
                test="arrival",
                use=result.use.name,
                of=g,
                tag="",
                where=where,
                point=tuple(np.round(result.points[k], 3).tolist()),
                index=k,
            )
        )
    return lead, items


def arrival_ms(result: Result, group, index):
    """When a group is first heard at a place.

    Parameters
    ----------
    result : Result
        An evaluation [-]
    group : str
        Its name [-]
    index : int
        Of the place among the result's [-]

    Returns
    -------
    time : float
        Of its nearest loudspeaker that is in sight, delay and way [ms]
    """
    mine = np.array([c.group == group for c in result.scenario.loudspeakers]) & result.playing
    time = result.arrival_s[mine, index]
    seen = result.direct[mine, index].sum(axis=-1) > 0
    return 1000 * float((time[seen] if seen.any() else time).min())
