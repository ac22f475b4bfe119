"""What is measured in the finished gym, where, and how: a plan made from the design."""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ..acoustics.evaluate import evaluate
from ..acoustics.room_decay import SOURCE_HEIGHT, free_spots, source_spots
from ..equipment.amplification import amplify
from ..physics import bands
from ..venue.arguments import names_of, one_of
from ..venue.locations import spot
from ..venue.scenario import Scenario
from .kinds import KINDS, kind_of
from .positions import seat_of, tape_words, wall_words
from .readings import Position, Reading, of_kind
from .short_form import shortened

APART = 2.0  # between microphone positions    ISO 3382-2:2008, 4.3.1 (from memory) [m]
ROWS = COLUMNS = 3  # seats in a listening area: low, middle and high rows, left, middle and right
# of the reverberation: six combinations, the engineering method    ISO 3382-2:2008, table 1 (from
# memory)
MICROPHONES = 3  # for each of two positions of the source
MICROPHONE_HEIGHT = 1.2  # of the reverberation    the same, 4.3 [m]
# time on site    common practice, no source [min]
UNPACKING = 20.0  # calibrating before and after, and packing up
PRESET = 2.0  # to recall a preset and set its volume
OF_A_USE = ("level", "sti", "arrival", "feedback margin", "maximum level")
QUIET_DBA = 40.0  # taken as the noise of the empty gym until it has been measured    assumption
NOT_HEARD_DB = -99.0  # level of a group that no direct sound reaches


FORMS = ("full", "short")
# accuracies after ISO 3382-2:2008, clause 4 (from memory)
SHORT_NOTES = (
    "Reverberation by the survey method of ISO 3382-2, two positions: octaves to about 10 %. The"
    " full form has the engineering method's six: about 5 %.",
)


@dataclass(frozen=True, kw_only=True, eq=False)
class TestPlan:
    """Readings of one design, in the order in which they are taken."""

    __test__ = False  # nothing for pytest
    scenario: Scenario
    readings: tuple  # of Reading, nothing measured
    leads: dict  # group that arrivals are compared with, by use
    sources: dict  # of the reverberation: x, y, z by the subject of its readings [m]
    notes: tuple  # sentences
    form: str = "full"  # one of FORMS
    channels: tuple = ()  # loudspeakers that share a channel, each a tuple of tags

    @cached_property
    def amplification(self):
        """Amplifiers and lines of the design for all its uses, None where none of the price book
        suits (Amplification or None).
        """
        return _amplified(self.scenario)

    @property
    def minutes(self):
        """Time on site for two people, from unpacking to packing up [min]."""
        return minutes_of(self.readings)

    def reading(self, key):
        """A reading by its key.

        Parameters
        ----------
        key : str
            As in the entry sheet, of today or of an older one

        Returns
        -------
        reading : Reading or None
            None when there is none
        """
        exact = next((r for r in self.readings if r.key == key), None)
        return exact or next((r for r in self.readings if r.earlier_key == key), None)

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


def plan(scenario, uses=None, *, form="full", channels=None):
    """Readings that check a finished gym against its design.

    Parameters
    ----------
    scenario : Scenario
        The design
    uses : sequence of str, optional
        Uses to be measured; all when left out, but for those whose loudspeakers and areas stand as
        in one before
    form : str
        "full", or "short": fewer than 40 of the same readings, in about two hours; the report says
        what they cannot show
    channels : sequence of sequence of str, optional
        Loudspeakers that share a channel of an amplifier, by their tags; as in the schedule of
        channels when left out

    Returns
    -------
    plan : TestPlan
        The same design gives the same plan

    Raises
    ------
    ValueError
        The scenario has no such use, or none is given; there is no such form; the channels do not
        hold every loudspeaker once

    Sources
    -------
    NT ACOU 108:2001 (public address systems in situ: noise, coverage, response, feedback,
    intelligibility); ISO 3382-2:2008 (positions and decays of the reverberation); IEC
    60268-16:2020, annex B (STIPA). From memory where it does not say otherwise.
    """
    one_of("form", form, FORMS)
    chosen = _unlike(scenario) if uses is None else _chosen(scenario, uses)
    channels, notes = _channels(scenario, channels)
    # by formula: where one measures must not hang on the chance of rays
    results = {u.name: evaluate(as_tested(scenario, u.name), room="statistical") for u in chosen}
    decays, sources, too_near = _decays(scenario, next(iter(results.values())))
    readings = [_ambient(), *decays, *_alone(scenario, results, channels)]
    readings += _polarities(scenario, chosen, channels)
    of_uses, leads = _of_uses(scenario, results, channels)
    readings += of_uses
    if form == "short":
        readings = shortened(readings, results, minutes_of)
    return TestPlan(
        scenario=scenario,
        readings=tuple(readings),
        leads=leads,
        sources=sources,
        notes=(
            *notes,
            *_notes(scenario, results, too_near),
            *_volume_notes(readings),
            *SHORT_NOTES[: form == "short"],
        ),
        form=form,
        channels=channels,
    )


def _of_uses(scenario, results, channels):
    """Readings of every use, and the group that leads in it."""
    readings, leads = [], {}
    letters = _letters(scenario)
    split = _split_groups(scenario, channels)
    for name, result in results.items():
        leads[name], arrivals = _arrivals(result)
        positions = _positions(result, letters)
        readings += [*_at_seats(result, positions), *arrivals]
        readings += _arrivals_of_channels(result, leads[name], split)
        readings += _open_microphones(result)
        readings.append(_highest(result, positions[0]))
    return readings, leads


def _notes(scenario, results, too_near):
    """What the plan leaves out or cannot keep, in sentences."""
    left = [u.name for u in scenario.uses if u.name not in results]
    if too_near:
        yield too_near
    if left:
        yield (
            "Not measured, because their loudspeakers and areas stand as in a use that is, or by"
            f" choice: {', '.join(left)}."
        )


def _volume_notes(readings):
    """Where a use has one level only: it sets the volume, and what it cannot say."""
    levels = {}
    for r in readings:
        if r.kind.key == "level":
            levels.setdefault(r.use, []).append(r.position.tag)
    lone = [f"{use} at {tags[0]}" for use, tags in levels.items() if len(tags) == 1]
    more = [f"{use} at {tags[0]}" for use, tags in levels.items() if len(tags) > 1]
    if lone:
        yield (
            f"One level alone sets the volume of these presets: {', '.join(lone)}. It decides"
            " nothing: whatever it reads counts as the volume, and only its octaves are compared."
            + f" The first of several levels sets it for: {', '.join(more)}."
            * bool(more)
        )


def minutes_of(readings):
    """Time on site for some readings.

    Parameters
    ----------
    readings : iterable of Reading
        Of a plan, or some of them

    Returns
    -------
    minutes : float
        Two people, one at the rack and one at the meter: unpacking, calibrating and packing up,
        what each kind needs to be set up, a preset for every use, and the readings with the way
        from one to the next. Common practice, no source [min]
    """
    readings = list(readings)
    kinds = dict.fromkeys(r.kind.key for r in readings)
    uses = {r.use for r in readings if r.kind.key in OF_A_USE}
    return (
        UNPACKING
        + PRESET * len(uses)
        + sum(KINDS[key].set_up_minutes for key in kinds)
        + sum(r.kind.minutes for r in readings)
    )


def _channels(scenario, given):
    """Loudspeakers by channel, each a tuple of tags, and a note where nobody knows."""
    tags = [c.tag for c in scenario.loudspeakers]
    if given is not None:
        found = tuple(tuple(channel) for channel in given)
        if sorted(tag for channel in found for tag in channel) != sorted(tags):
            raise ValueError(
                f"channels = {found} do not hold every loudspeaker once: {', '.join(tags)}."
            )
        return found, ()
    made = _amplified(scenario)
    if made is None:
        return tuple((tag,) for tag in tags), (
            "No amplifier of the price book suits this design: every loudspeaker is taken to have a"
            " channel of its own.",
        )
    return channels_of(scenario, made), ()


def channels_of(scenario, amplification):
    """Loudspeakers by the channel of an amplifier that they share.

    Parameters
    ----------
    scenario : Scenario
        The design
    amplification : Amplification
        What drives it

    Returns
    -------
    channels : tuple of tuple of str
        Tags, in the order of the design
    """
    tags = [c.tag for c in scenario.loudspeakers]
    return tuple(tuple(t for t in tags if t in c.tags) for c in amplification.channels)


def _amplified(scenario):
    """Amplifiers and lines, None where the price book has none that suits."""
    try:
        return amplify(scenario)
    except ValueError:
        return None


def _split_groups(scenario, channels):
    """Channels of groups that have several, by group."""
    found = {}
    for channel in channels:
        group = next(c.group for c in scenario.loudspeakers if c.tag == channel[0])
        found.setdefault(group, []).append(channel)
    return {group: own for group, own in found.items() if len(own) > 1}


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
    tag = _source_letters(scenario)
    sources = {f"{tag}{s}": (*map(float, head), SOURCE_HEIGHT) for s, head in enumerate(heads, 1)}
    return readings, sources, note


def _source_letters(scenario):
    """What the positions of the source are tagged with: S, unless loudspeakers are tagged so."""
    taken = {c.tag.rstrip("0123456789").upper() for c in scenario.loudspeakers}
    return "SRC" if "S" in taken else "S"


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
        f"source {wall_words(head, scenario)}, {high} up; microphone"
        f" {wall_words(spot_xy, scenario)}, {low} up"
    )
    earlier = (
        f"source at {spot(head, scenario.units)}, {high} up; microphone at"
        f" {spot(spot_xy, scenario.units)}, {low} up"
    )
    point = (float(spot_xy[0]), float(spot_xy[1]), MICROPHONE_HEIGHT)
    tag = f"{_source_letters(scenario)}{source}"
    return Reading(
        key=f"reverberation {tag} R{microphone}",
        earlier_key=f"reverberation S{source} R{microphone}",
        kind=kind_of("reverberation"),
        subject=tag,
        position=Position(f"R{microphone}", words, point, earlier=(earlier,)),
    )


# ---- readings of single loudspeakers


def _alone(scenario, results, channels):
    """Every loudspeaker with its channel alone, in the first use in which it plays."""
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
                    playing=_channel_of(c.tag, channels),
                    position=seat_of(result, own_seat(result, n)),
                )
            )
    return readings


def _channel_of(tag, channels):
    """Loudspeakers on the channel of one."""
    return next(channel for channel in channels if tag in channel)


def _polarities(scenario, uses, channels):
    """The polarity of every loudspeaker that plays in one of the uses, read under it."""
    playing = {c.group for u in uses for c in scenario.loudspeakers if u.group_setting(c.group).on}
    return [
        Reading(
            key=f"polarity {c.tag}",
            kind=kind_of("polarity"),
            subject=c.tag,
            playing=_channel_of(c.tag, channels),
            position=Position("", f"under it: {wall_words(c.position, scenario)}", earlier=(" ",)),
        )
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


# ---- readings of a use


def _letters(scenario):
    """Initials of the areas, longer where two would share them or loudspeakers are tagged so; and
    as they were in sheets that did not look at loudspeakers.
    """
    tags = {c.tag.rstrip("0123456789").upper() for c in scenario.loudspeakers}
    now, earlier = (_initials(scenario.area_names, taken) for taken in (tags, set()))
    return {name: (now[name], earlier[name]) for name in now}


def _initials(names, taken):
    """Letters for names, none of them taken, no two alike."""
    found = {}
    for name in names:
        initials, word = "".join(w[0] for w in name.split()).upper(), name.replace(" ", "").upper()
        tries = (
            initials,
            *(word[:n] for n in range(2, len(word) + 1)),
            *(f"{initials}{n}-" for n in range(2, 99)),
        )
        found[name] = next(t for t in tries if t not in found.values() and t not in taken)
    return found


def _at_seats(result, positions):
    """Levels at all measuring positions of a use, STI at three in each area."""
    return [
        Reading(
            key=f"{kind} {result.use.name} {p.tag}",
            earlier_key=f"{kind} {result.use.name} {p.earlier_tag}",
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
            seat_of(result, a.points.start + k, *(f"{x}{n + 1}" for x in letters[a.name]))
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
    own = {g: _tags_of(result.scenario, g) for g in groups}
    lead = groups[0]
    readings = [
        Reading(
            key=f"arrival {result.use.name} {g}",
            kind=kind_of("arrival"),
            use=result.use.name,
            subject=g,
            position=seat_of(result, _most_alike(result, own[g], own[lead])),
        )
        for g in groups[1:]
    ]
    return lead, readings


def _arrivals_of_channels(result, lead, split):
    """Channels of groups that have several, but for the first of the lead, which they are compared
    with; once for each group, for what they add is wiring and setting of the outputs.
    """
    playing = {
        c.group for c, on in zip(result.scenario.loudspeakers, result.playing, strict=True) if on
    }
    first = split.get(lead, [_tags_of(result.scenario, lead)])[0]
    for group in [g for g in split if g in playing]:
        channels = split.pop(group)
        for channel in [c for c in channels if c != first]:
            yield Reading(
                key=f"arrival {result.use.name} {' '.join(channel)}",
                kind=kind_of("arrival"),
                use=result.use.name,
                subject=", ".join(channel),
                playing=channel,
                against=first,
                position=seat_of(result, _most_alike(result, channel, first)),
            )


def _tags_of(scenario, group):
    """Loudspeakers of a group."""
    return tuple(c.tag for c in scenario.loudspeakers if c.group == group)


def _most_alike(result, tags, others):
    """Seat where two sets of loudspeakers are most alike in level."""
    listened = _listened(result)
    of_all = [c.tag for c in result.scenario.loudspeakers]

    def heard(these):
        mine = np.isin(of_all, these)
        energy = result.direct[mine][:, listened].sum(axis=0)[:, bands.SPEECH].sum(axis=1)
        level = bands.to_level(energy)
        return np.where(np.isfinite(level), level, NOT_HEARD_DB)

    a, b = heard(tags), heard(others)
    both = np.minimum(a, b) - 0.5 * np.abs(a - b)
    return int(listened[int(np.argmax(both))])


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
                f"{wall_words(m.positions[m.worst], result.scenario)},"
                f" {tape_words(m.positions[m.worst][2], result.scenario.units)} up",
                tuple(np.round(m.positions[m.worst], 2).tolist()),
                earlier=(spot(m.positions[m.worst], result.scenario.units),),
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
