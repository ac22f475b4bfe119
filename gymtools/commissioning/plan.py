"""What is measured in the finished gym, where, and how: a plan made from the design."""

from dataclasses import dataclass, replace

import numpy as np

from ..acoustics.evaluate import evaluate
from ..acoustics.room_decay import SOURCE_HEIGHT, free_spots, source_spots
from ..physics import bands
from ..venue.arguments import names_of
from ..venue.locations import spot
from ..venue.scenario import Scenario
from .kinds import kind_of
from .readings import Position, Reading, of_kind

APART = 2.0  # between microphone positions    ISO 3382-2:2008, 4.3.1 (from memory) [m]
ROWS = COLUMNS = 3  # seats in a listening area: low, middle and high rows, left, middle and right
# of the reverberation: six combinations, the engineering method    ISO 3382-2:2008, table 1 (from
# memory)
MICROPHONES = 3  # for each of two positions of the source
MICROPHONE_HEIGHT = 1.2  # of the reverberation    the same, 4.3 [m]
QUIET_DBA = 40.0  # taken as the noise of the empty gym until it has been measured    assumption
NOT_HEARD_DB = -99.0  # level of a group that no direct sound reaches


@dataclass(frozen=True, kw_only=True, eq=False)
class TestPlan:
    """Readings of one design, in the order in which they are taken."""

    __test__ = False  # nothing for pytest
    scenario: Scenario
    readings: tuple  # of Reading, nothing measured
    leads: dict  # group that arrivals are compared with, by use
    sources: dict  # of the reverberation: x, y, z by the subject of its readings [m]
    notes: tuple  # sentences

    def reading(self, key):
        """A reading by its key.

        Parameters
        ----------
        key : str
            As in the entry sheet

        Returns
        -------
        reading : Reading or None
            None when there is none
        """
        return next((r for r in self.readings if r.key == key), None)

    def of(self, kind, use=None):
        """Readings of one kind.

        Parameters
        ----------
        kind : str
            Key of ``kinds.KINDS``
        use : str, optional
            Of one use only

        Returns
        -------
        readings : list of Reading
            In order
        """
        return of_kind(self.readings, kind, use)


def as_tested(scenario, use, ambient_db=None):
    """The scenario as it is when one of its uses is measured.

    Nobody is in it, and the noise is that of the empty gym.

    Parameters
    ----------
    scenario : Scenario
        The design
    use : str
        Name of the use
    ambient_db : array, optional
        Noise as measured (7,); a quiet gym is taken when left out [dB]

    Returns
    -------
    scenario : Scenario
        With that one use

    Raises
    ------
    ValueError
        The scenario has no such use
    """
    use = scenario.use(use)
    noise = (
        dict(noise_dba=QUIET_DBA, noise_db=None)
        if ambient_db is None
        else dict(noise_dba=None, noise_db=tuple(np.clip(ambient_db, -20, 120).tolist()))
    )
    alone = replace(use, occupied={}, beside=None, **noise)
    return replace(scenario, uses=(alone,), text=None)


def _chosen(scenario, uses):
    """Uses by name, at least one."""
    names = names_of("uses", uses, [u.name for u in scenario.uses])
    if not names:
        raise ValueError("uses = [] names no use. Leave it out for all of them.")
    return [scenario.use(name) for name in names]


def plan(scenario, uses=None):
    """Readings that check a finished gym against its design.

    Parameters
    ----------
    scenario : Scenario
        The design
    uses : sequence of str, optional
        Uses to be measured; all when left out, but for those whose loudspeakers and areas stand as
        in one before

    Returns
    -------
    plan : TestPlan
        The same design gives the same plan

    Raises
    ------
    ValueError
        The scenario has no such use, or none is given

    Sources
    -------
    NT ACOU 108:2001 (public address systems in situ: noise, coverage, response, feedback,
    intelligibility); ISO 3382-2:2008 (positions and decays of the reverberation); IEC
    60268-16:2020, annex B (STIPA). From memory where it does not say otherwise.
    """
    chosen = _unlike(scenario) if uses is None else _chosen(scenario, uses)
    # by formula: where one measures must not hang on the chance of rays
    results = {u.name: evaluate(as_tested(scenario, u.name), room="statistical") for u in chosen}
    decays, sources, too_near = _decays(scenario, next(iter(results.values())))
    readings, leads = [_ambient(), *decays, *_alone(scenario, results)], {}
    readings += _polarities(scenario, chosen)
    letters = _letters(scenario.area_names)
    for name, result in results.items():
        leads[name], arrivals = _arrivals(result)
        positions = _positions(result, letters)
        readings += [*_at_seats(result, positions), *arrivals, *_open_microphones(result)]
        readings.append(_highest(result, positions[0]))
    left = [u.name for u in scenario.uses if u.name not in results]
    notes = [too_near] if too_near else []
    if left:
        notes.append(
            "Not measured, because their loudspeakers and areas stand as in a use that is, or by"
            f" choice: {', '.join(left)}."
        )
    return TestPlan(
        scenario=scenario,
        readings=tuple(readings),
        leads=leads,
        sources=sources,
        notes=tuple(notes),
    )


def _unlike(scenario):
    """Uses whose loudspeakers or areas differ."""
    seen, kept = [], []
    for u in scenario.uses:
        what = (
            tuple((g.name, u.group_setting(g.name)) for g in scenario.groups),
            tuple(u.listens),
            tuple(u.closed),
            tuple(sorted(u.pulled_out.items())),
            tuple(u.set_up),
            tuple(u.microphones),
            scenario.open_at_once(u),
        )
        if what not in seen:
            seen.append(what)
            kept.append(u)
    return kept


# ---- readings of the gym as a whole


def _ambient():
    """The noise of the empty gym."""
    middle = Position("A1", "middle of the floor", (0.0, 0.0, MICROPHONE_HEIGHT))
    return Reading(key="ambient", kind=kind_of("ambient"), position=middle)


def _decays(scenario, result):
    """Reverberation: readings, sources, and a note where microphones stand too near them."""
    volume, rt = result.configuration.room.volume, float(result.rt[bands.MIDDLE].mean())
    least = 2 * np.sqrt(volume / (result.sources.speed * rt))  # ISO 3382-2:2008, 4.3.1
    where = result.configuration, result.scenario.side(result.use)
    spots, heads = free_spots(*where), source_spots(*where)
    readings, note = [], ""
    for s, head in enumerate(heads, 1):
        far = np.linalg.norm(spots - head, axis=1)
        allowed = spots[far >= least]
        if len(allowed) < MICROPHONES:
            allowed = spots[np.argsort(-far)[: max(MICROPHONES * 4, 1)]]
            note = (
                f"Reverberation: the gym has no positions {scenario.say(least)} from a source; the"
                " farthest are taken. Decays near the source come out short."
            )
        readings += [
            _decay(scenario, s, m, head, p) for m, p in enumerate(_far_apart(allowed, head), 1)
        ]
    sources = {f"S{s}": (*map(float, head), SOURCE_HEIGHT) for s, head in enumerate(heads, 1)}
    return readings, sources, note


def _far_apart(allowed, head):
    """Spots for the microphones, each as far from the others as can be."""
    chosen = []
    while len(chosen) < MICROPHONES and len(allowed):
        gap = [
            min((np.linalg.norm(p - q) for q in chosen), default=np.linalg.norm(p - head))
            for p in allowed
        ]
        if chosen and max(gap) < APART:
            break
        chosen.append(allowed[int(np.argmax(gap))])
    return chosen


def _decay(scenario, source, microphone, head, spot_xy):
    """One reading of the reverberation."""
    low, high = scenario.say(MICROPHONE_HEIGHT), scenario.say(SOURCE_HEIGHT)
    words = (
        f"source at {spot(head, scenario.units)}, {high} up; microphone at"
        f" {spot(spot_xy, scenario.units)}, {low} up"
    )
    point = (float(spot_xy[0]), float(spot_xy[1]), MICROPHONE_HEIGHT)
    return Reading(
        key=f"reverberation S{source} R{microphone}",
        kind=kind_of("reverberation"),
        subject=f"S{source}",
        position=Position(f"R{microphone}", words, point),
    )


# ---- readings of single loudspeakers


def _alone(scenario, results):
    """Every loudspeaker alone, in the first use in which it plays."""
    readings = []
    for n, c in enumerate(scenario.loudspeakers):
        result = next((r for r in results.values() if r.playing[n]), None)
        if result is not None:
            readings.append(
                Reading(
                    key=f"alone {c.tag}",
                    kind=kind_of("alone"),
                    use=result.use.name,
                    subject=c.tag,
                    position=_seat(result, own_seat(result, n)),
                )
            )
    return readings


def _polarities(scenario, uses):
    """The polarity of every loudspeaker that plays in one of the uses."""
    playing = {c.group for u in uses for c in scenario.loudspeakers if u.group_setting(c.group).on}
    return [
        Reading(key=f"polarity {c.tag}", kind=kind_of("polarity"), subject=c.tag)
        for c in scenario.loudspeakers
        if c.group in playing
    ]


def own_seat(result, loudspeaker):
    """The seat where a loudspeaker is strongest against all others and the room.

    Parameters
    ----------
    result : Result
        An evaluation in which it plays
    loudspeaker : int
        Which of the scenario's loudspeakers [-]

    Returns
    -------
    index : int
        Among the result's points [-]
    """
    speech = result.direct[:, :, bands.SPEECH].sum(axis=-1)  # (source, point)
    listened = _listened(result)
    late = result.reverberant.at(result.points)[:, bands.SPEECH].sum(axis=-1)
    over_others = speech[loudspeaker] / (speech.sum(axis=0) - speech[loudspeaker] + late)
    return int(listened[np.argmax(over_others[listened])])


def _listened(result):
    """Indices of all seats in use."""
    return np.concatenate([np.arange(a.points.start, a.points.stop) for a in result.areas])


def _seat(result, k):
    """Position of a point of the result, without a tag."""
    area = result.configuration.areas[str(result.area[k])]
    start = int(np.flatnonzero(result.area == area.name)[0])
    words = f"{area.name}: {area.seat_words(k - start, result.scenario.units)}"
    return Position("", words, tuple(np.round(result.points[k], 3).tolist()), k)


# ---- readings of a use


def _letters(names):
    """Initials of the areas, longer where two would share them."""
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


def _at_seats(result, positions):
    """Levels at all measuring positions of a use, STI at three in each area."""
    return [
        Reading(
            key=f"{kind} {result.use.name} {p.tag}",
            kind=kind_of(kind),
            use=result.use.name,
            position=p,
        )
        for kind, chosen in (("level", positions), ("sti", _range_of_sti(result, positions)))
        for p in chosen
    ]


def _positions(result, letters):
    """Measuring positions in every area that listens."""
    found = []
    for a in result.areas:
        area = result.configuration.areas[a.name]
        taken = []
        for row in _spread_over(area.rows, ROWS):
            for column in _spread_over(area.columns, COLUMNS):
                k = row * area.columns + column
                gaps = [np.linalg.norm(area.points[k] - area.points[j]) for j in taken]
                if min(gaps, default=APART) >= APART - 1e-9:
                    taken.append(k)
        taken += [k for k in _own_seats(result, a) if k not in taken]
        found += [
            Position(
                f"{letters[a.name]}{n + 1}",
                f"{a.name}: {area.seat_words(k, result.scenario.units)}",
                tuple(np.round(area.points[k], 3).tolist()),
                a.points.start + k,
            )
            for n, k in enumerate(taken)
        ]
    return found


def _own_seats(result, area):
    """Seats of this area where one of the loudspeakers is strongest against the others."""
    best = dict.fromkeys(own_seat(result, n) for n in np.flatnonzero(result.playing))
    return [k - area.points.start for k in best if area.points.start <= k < area.points.stop]


def _range_of_sti(result, positions):
    """In each area the positions with the lowest, the middle and the highest predicted STI."""
    found = []
    for a in result.areas:
        mine = sorted(
            (p for p in positions if a.points.start <= p.index < a.points.stop),
            key=lambda p: result.sti[p.index],
        )
        found += [mine[k] for k in sorted({0, len(mine) // 2, len(mine) - 1})]
    return found


def _spread_over(count, most):
    """Rows or columns spread over an area, off its ends where there are many."""
    return (
        sorted({int(round(v)) for v in np.linspace(0.1 * (count - 1), 0.9 * (count - 1), most)})
        if count > most
        else list(range(count))
    )


def _arrivals(result):
    """The group that leads, and a reading of every other where the two are most alike in level."""
    sounding = zip(result.scenario.loudspeakers, result.playing, strict=True)
    groups = list(dict.fromkeys(c.group for c, on in sounding if on))
    owner = np.array([c.group for c in result.scenario.loudspeakers], object)
    listened = _listened(result)
    heard = {}  # (listened,) [dB]
    for g in groups:
        energy = result.direct[owner == g].sum(axis=0)[:, bands.SPEECH].sum(axis=1)
        level = bands.to_level(energy)[listened]
        heard[g] = np.where(np.isfinite(level), level, NOT_HEARD_DB)
    lead, readings = groups[0], []
    for g in groups[1:]:
        both = np.minimum(heard[g], heard[lead]) - 0.5 * np.abs(heard[g] - heard[lead])
        readings.append(
            Reading(
                key=f"arrival {result.use.name} {g}",
                kind=kind_of("arrival"),
                use=result.use.name,
                subject=g,
                position=_seat(result, int(listened[int(np.argmax(both))])),
            )
        )
    return lead, readings


def _open_microphones(result):
    """Every open microphone, at its worst position."""
    return [
        Reading(
            key=f"feedback margin {result.use.name} {m.microphone.name}",
            kind=kind_of("feedback margin"),
            use=result.use.name,
            subject=m.microphone.name,
            position=Position(
                "",
                spot(m.positions[m.worst], result.scenario.units),
                tuple(np.round(m.positions[m.worst], 2).tolist()),
            ),
        )
        for m in result.microphones
    ]


def _highest(result, position):
    """The highest clean level of the use, at one position."""
    return Reading(
        key=f"maximum level {result.use.name}",
        kind=kind_of("maximum level"),
        use=result.use.name,
        position=position,
    )
