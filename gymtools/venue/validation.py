"""What fits where: a scenario that cannot be is refused in one line; one that should be looked at
says so.
"""

from itertools import combinations
from types import SimpleNamespace

import numpy as np

from ..physics.checks import within
from ..physics.geometry import boxes_apart
from . import wheelchairs
from .configuration import KEPT, has_room
from .enclosures import beyond_room, corners, filling, holding, meeting, solids
from .faults import (
    HEADROOM,
    SLACK,
    Fault,
    bank_faults,
    court_doubts,
    court_faults,
    divider_doubts,
    floor_faults,
    standing_faults,
)
from .finishes import FINISHES
from .fixture import FLUSH
from .hall import SIDES, TREATABLE
from .joists import joist_warnings
from .locations import overlap
from .loudspeakers import loudspeaker_types
from .measured_room import check_measured, measured_warnings
from .paths import value_at
from .pieces import against
from .refusals import Line, Refusal, collect, lines_of
from .seating import CHAIR_HEIGHT, EAR_SEATED, EAR_STANDING
from .tables import named
from .texts import check_name, looks_like
from .units import area_text, length_text
from .uses import on_court

# free height over a court [m]     FIBA Official Basketball Rules, 2022, art. 2: at least 7 m
PLAY_HEIGHT = 7.0
EDGE = 0.15  # a loudspeaker hangs this far from a wall at least [m]
UNDER = 0.1  # and this far under the roof itself [m]
# what hangs lower over people who stand can be reached and struck [m]    8 ft, common practice, no
# source
OUT_OF_REACH = 2.44
AMONG_JOISTS = 0.005  # over the clear height that is nothing [m]
FOOT_UNDER_SEAT = 0.43  # footboard under the seat board of a bank [m]     as ``EAR_OVER_SEAT``
# most of each list of a scenario, far above any school's: what holds more was not written for a gym
MOST = {
    "side_courts": 12,
    "banks": 40,
    "floor_seats": 40,
    "portable_stages": 20,
    "balconies": 20,
    "tracks": 4,
    "fixtures": 60,
    "microphones": 60,
    "treatments": 100,
    "groups": 100,
    "uses": 40,
    "loudspeaker_files": 40,
}
MOST_LOUDSPEAKERS = 300
# no thing's name
PARTS = (
    *TREATABLE,
    "court",
    "floor",
    "stage",
    "stage front",
    "closed bleachers",
    "bleacher fronts",
    "portable stage",
    "balcony",
    "divider",
    *(f"court {side}" for side in SIDES),
)


class Blocked(Refusal):
    """A loudspeaker cannot hang where it is: something is in the way.

    Parameters
    ----------
    lines : str
        What is in the way, with the place; then what else is wrong, if anything
    limit : str
        The same of the nearest place where it can hang: what is there, without a place
    """

    def __init__(self, *lines, limit=""):
        first = lines[0] if getattr(lines[0], "limit", "") else Line(lines[0], limit)
        super().__init__(first, *lines[1:])
        self.limit = first.limit


def check(scenario):
    """Refuse a scenario that cannot be.

    Parameters
    ----------
    scenario : Scenario
        Its parts have been checked one by one; here it is whether they fit together

    Raises
    ------
    Refusal
        A ValueError: one line on the first thing that does not fit; its ``faults`` has all
    """
    _refuse(faults(scenario))


def faults(scenario):
    """Everything that does not fit together in a scenario.

    Parameters
    ----------
    scenario : Scenario
        Its parts have been checked one by one

    Returns
    -------
    faults : list of str
        A line each, none where it can be
    """
    found = []
    counts = {key: len(getattr(scenario, key)) for key in MOST}
    hung = {"loudspeakers": sum(g.number for g in scenario.groups)}
    collect(found, check_counts, counts)
    collect(found, check_counts, hung, {"loudspeakers": MOST_LOUDSPEAKERS})
    if found:  # too much to be looked at
        return found
    typed = collect(found, _check_types, scenario)
    named_apart = collect(found, _check_names, scenario, typed)
    found += [f.words for f in _seating_faults(scenario, _courts(scenario))]
    if not scenario.uses:
        return found
    if typed:
        collect(found, _check_through, scenario)
    collect(found, _check_uses, scenario)
    collect(found, _check_treatments, scenario)
    if typed:
        collect(found, _check_loudspeakers, scenario)
        if named_apart:
            collect(found, _check_microphones, scenario)
    collect(found, check_measured, scenario)
    return found


def faults_of_a_part(scenario):
    """What is wrong with the sound things of a scenario of which other things are refused: only
    what does not depend on these.

    Parameters
    ----------
    scenario : Scenario
        Unchecked, without the things that are refused; ``hall`` may be None

    Returns
    -------
    faults : list of str
        A line each
    """
    found = []
    typed = collect(found, _check_types, scenario)
    if scenario.hall is None:
        return found
    found += [f.words for f in _seating_faults(scenario, _courts(scenario))]
    uses, told = {use.name: use for use in scenario.uses}, {}
    for use in uses.values():
        collect(told.setdefault(use.name, []), _check_configuration, scenario, use)
    found += _said_once(told)
    if typed and scenario.groups:
        collect(found, _check_through, scenario)
        collect(found, _check_loudspeakers, scenario)
    for microphone in scenario.microphones:
        if microphone.walks is None and microphone.on == "floor":
            collect(found, _check_position, scenario, microphone)
    return found


def fit_faults(configuration, units="m", *, tracks=(), divider=None):
    """Everything that does not fit of a gym as it stands in one use, before there is a loudspeaker.

    Parameters
    ----------
    configuration : HallConfiguration
        Gym, court, seats, stages and fixtures
    units : str
        "m" or "ft", in which lengths are said
    tracks : sequence of Track
        Running tracks of the school, also those that the gym cannot hold
    divider : Divider, optional
        The school's, also where it is not drawn

    Returns
    -------
    faults : list of Fault
        The name of what does not fit, and one line that says why and by how much
    """
    c = configuration
    draft = SimpleNamespace(
        hall=c.hall,
        stage=c.stage,
        banks=c.banks,
        floor_seats=c.floor_seats,
        portable_stages=c.portable_stages,
        galleries=c.balconies,
        tracks=tracks,
        fixtures=c.fixtures,
        divider=divider or c.divider,
        say=lambda meters: length_text(meters, units),
    )
    return [*_seating_faults(draft, c), *_standing_faults(draft, c)]


def _faults_of(name, check, *given):
    """What a check refuses, as faults of a thing."""
    try:
        check(*given)
    except ValueError as error:
        return [Fault(name, line) for line in lines_of(error)]
    return []


def check_counts(counts, most=MOST):
    """Refuse a scenario that holds more than any gym, before any work is done on it.

    Parameters
    ----------
    counts : dict
        Number of things by the key of their list
    most : dict
        Most of each; what it does not name may be any number

    Raises
    ------
    ValueError
        One line on what there is too much of
    """
    for key, count in counts.items():
        if count > most.get(key, count):
            raise ValueError(f"{key}: {count} are given, more than {most[key]}.")


def checked_factors(factors, key="absorption_factors"):
    """Factors on the absorption or scattering of finishes, refused when they cannot be.

    Parameters
    ----------
    factors : dict
        One number or seven (octaves from 125 Hz) by the name of a finish
    key : str
        Which factors they are

    Returns
    -------
    factors : dict
        Float, or tuple of seven

    Raises
    ------
    ValueError
        A finish is unknown, or a factor is outside 0.1 to 10
    """
    if not isinstance(factors, dict):
        raise ValueError(f"{key} must be a table of finishes and numbers.")
    found = {}
    for name, value in factors.items():
        named(FINISHES, name, key)
        given = list(value) if isinstance(value, (tuple, list)) else [value]
        if any(isinstance(v, bool) or not isinstance(v, (int, float)) for v in given):
            raise ValueError(f"{key} '{name}' = {value!r} must be a number, or seven.")
        if len(given) not in (1, 7):
            raise ValueError(
                f"{key} '{name}' has {len(given)} values. Give one, or one for each of"
                " the seven octaves 125 Hz to 8 kHz."
            )
        given = [
            float(v)
            for v in within(
                f"{key} '{name}'",
                given,
                0.1,
                10,
                "",
                "What the table's value is multiplied by; 1 leaves it.",
            )
        ]
        found[name] = given[0] if len(given) == 1 else tuple(given)
    return found


def _check_types(scenario):
    """Every group has a type that is known here, and a measured type a name of its own."""
    known = dict(loudspeaker_types())
    alike = {looks_like(name): one for name, one in known.items()}
    for measured in scenario.measured_types:
        check_name("name of a loudspeaker type", measured.name)
        if alike.setdefault(looks_like(measured.name), measured) != measured:
            raise ValueError(
                f"another loudspeaker type is called '{measured.name}', or nearly so. Give it"
                " another name."
            )
        known[measured.name] = measured
    found = []
    for group in scenario.groups:
        try:
            named(known, group.loudspeaker, "loudspeaker")
        except ValueError as error:
            measured = " A measured one needs its loudspeaker_files."
            found.append(f"group '{group.name}': {error}{measured}")
    _refuse(found)


def _refuse(found):
    """Refuse what has faults; where a loudspeaker is in the way of something first, as that."""
    if found:
        raise (Blocked if getattr(found[0], "limit", "") else Refusal)(*found)


def _check_names(scenario, typed=True):
    seats = (*scenario.banks, *scenario.floor_seats, *scenario.portable_stages, *scenario.galleries)
    seats = (*seats, *scenario.side_courts)
    found = []
    kinds = {
        "bank, balcony, stage, block of chairs or fixture": (
            *seats,
            *scenario.tracks,
            *scenario.fixtures,
        ),
        "group": scenario.groups,
        "use": scenario.uses,
        "microphone": scenario.microphones,
    }
    for kind, things in kinds.items():
        collect(found, _check_alike, kind, [t.name for t in things])
    tags = [c.tag for c in scenario.loudspeakers] if typed else []
    found += [
        f"two loudspeakers carry the tag '{tag}'. Give each group its own tag."
        for tag in dict.fromkeys(tags)
        if tags.count(tag) > 1
    ]
    if not scenario.uses:
        found.append("there is no use. Add [[uses]].")
    for thing in (*seats, *scenario.fixtures):
        if looks_like(thing.name) in PARTS:
            found.append(
                f"'{thing.name}' names a part of the gym. Call the bank or the chairs something"
                " else."
            )
    _refuse(found)


def _check_alike(kind, names):
    """Two things have names that can be told apart on a drawing."""
    seen = {}
    for name in names:
        look = looks_like(name)
        if look not in seen:
            seen[look] = name
            continue
        other = seen[look]
        if other == name:
            raise ValueError(f"two things are called '{name}'. Every {kind} needs its own name.")
        raise ValueError(
            f"'{other}' and '{name}' look alike. Give every {kind} a name that differs in more than"
            " capitals, accents' codes or spaces."
        )


def _seating_faults(scenario, courts):
    """What of courts, seats, stages and balconies does not fit into the gym, each for itself, as
    the gym has it whatever a use closes.
    """
    hall, say = scenario.hall, scenario.say
    yield from court_faults(courts, say)
    for bank in scenario.banks:
        yield from bank_faults(bank, hall, say)
    for thing in (*scenario.floor_seats, *scenario.portable_stages):
        yield from floor_faults(thing, hall, say)
    for track in scenario.tracks:
        yield from _faults_of(track.name, track.parts, hall)
    for balcony in scenario.galleries:
        yield from _faults_of(balcony.name, _check_balcony, scenario, balcony)
    for fixture in scenario.fixtures:
        yield from _fixture_faults(scenario, fixture)
    if scenario.divider:
        yield from _faults_of("divider", scenario.divider.outline, hall)
    if scenario.stage:
        yield from _faults_of("stage", _check_stage, scenario)


def _courts(scenario):
    """The gym with its courts, as of a configuration, before any can be made."""
    return SimpleNamespace(
        hall=scenario.hall, court=scenario.lines, side_courts=scenario.side_courts
    )


def _standing_faults(scenario, configuration):
    """Nothing stands in another's place, and people have headroom."""
    hall, c, say = scenario.hall, configuration, scenario.say
    yield from standing_faults(c, say)
    for seats in c.floor_seats:
        for balcony in c.balconies:
            if (
                overlap(seats.footprint(), balcony.footprint(hall)) > 0.01
                and balcony.underside < HEADROOM
            ):
                yield Fault(
                    seats.name,
                    f"'{seats.name}' has less than {say(HEADROOM)} under '{balcony.name}'"
                    f" ({say(balcony.underside)}).",
                )
    for bank in c.banks:
        for balcony in c.balconies:
            if overlap(bank.footprint(hall), balcony.footprint(hall)) > 0.01:
                yield from _bank_and_balcony(bank, balcony, say)
    yield from _reaching_faults(c)


def _bank_and_balcony(bank, balcony, say):
    """A bank under a balcony whose people have no headroom, or on it where people are already."""
    below = bank.base_height < balcony.height - FLUSH
    if below and bank.top + HEADROOM > balcony.underside:
        yield Fault(
            bank.name,
            f"the top row of '{bank.name}' ({say(bank.top)}) leaves less than"
            f" {say(HEADROOM)} under '{balcony.name}' ({say(balcony.underside)}).",
        )
    reach = balcony.depth if balcony.standing else balcony.rows * balcony.row_run
    before = bank.side == balcony.side and bank.setback > reach - SLACK
    if abs(bank.base_height - balcony.height) < FLUSH and reach and not before:
        what = "people stand" if balcony.standing else "rows of its own are"
        yield Fault(
            bank.name,
            f"'{bank.name}' stands on '{balcony.name}', where {what}. Leave them out, or move the"
            " bank.",
        )


def _check_configuration(scenario, use):
    """What stands in this use fits."""
    configuration, found = scenario.configuration(use.name), []
    found += [f"use '{use.name}': {f.words}" for f in _standing_faults(scenario, configuration)]
    found += _seats_in_decks(use, configuration)
    found += _seats_in_fixtures(use, configuration)
    for a, b in combinations(configuration.balconies, 2):
        if overlap(a.footprint(scenario.hall), b.footprint(scenario.hall)) > 0.01:
            found.append(
                f"balconies '{a.name}' and '{b.name}' run into each other. Shorten one of them."
            )
    _refuse(list(dict.fromkeys(found)))


def _seats_in_decks(use, configuration):
    """Lines on people who would listen in or under the deck of a portable stage."""
    for deck in configuration.portable_stages:
        if deck.height < EAR_SEATED:  # over it every ear is free
            continue
        x0, x1, y0, y1 = deck.footprint()
        for name, area in configuration.areas.items():
            if use.listens.get(name, 0) <= 0:
                continue
            x, y, z = area.points.T
            # people on the court stand in the deck when only their heads are over it
            head = EAR_STANDING - EAR_SEATED if area.kind == "court" else 0.0
            under = (x > x0) & (x < x1) & (y > y0) & (y < y1) & (z < deck.height + head + 1e-9)
            if under.any():
                yield (
                    f"use '{use.name}': {int(under.sum())} seats of '{name}' lie in or under the"
                    f" deck of '{deck.name}'. Move or lower the stage, or let nobody listen there."
                )


def _fixture_faults(scenario, one):
    """A fixture that does not lie within the gym, or lies in the opening of the stage."""
    hall, stage, say = scenario.hall, scenario.stage, scenario.say
    boxes = one.boxes(hall)
    x, y = np.abs(boxes[..., :2]).max(axis=(0, 1))
    if x > hall.length / 2 + SLACK or y > hall.width / 2 + SLACK:
        yield Fault(
            one.name,
            f"'{one.name}' reaches outside the gym ({say(hall.length)} x {say(hall.width)}).",
        )
    roof = float(hall.roof_height(boxes[..., 1]).min())
    if one.top > roof + SLACK:
        yield Fault(
            one.name,
            f"'{one.name}' reaches up to {say(one.top)}, above the roof ({say(roof)} there). bottom"
            " is the height of its lower side over the floor, height its own.",
        )
    if stage and _in_opening(hall, stage, one):
        yield Fault(
            one.name,
            f"'{one.name}' lies in the opening of the stage. Give it a gap to the wall, or move"
            " it.",
        )


def _in_opening(hall, stage, one):
    """Whether a fixture lies on the wall where the stage opens."""
    opening = stage.offset - stage.width / 2, stage.offset + stage.width / 2
    return any(
        overlap((u0, u1, low, high), (*opening, stage.floor_height, stage.top)) > 1e-6
        for u0, u1, low, high in against(hall, stage.side, (one,))
    )


def _reaching_faults(configuration):
    """Fixtures that reach into another thing."""
    hall, fixtures = configuration.hall, configuration.fixtures
    others = (*configuration.banks, *configuration.portable_stages, *configuration.balconies)
    filled = [(thing, box) for thing in (*others, *fixtures) for box in solids(thing, hall)]
    filled += [(f, (f.footprint(), 0.0, CHAIR_HEIGHT)) for f in configuration.floor_seats]
    told = set()
    for one in fixtures:
        for (x0, y0, low), (x1, y1, high) in one.boxes(hall):
            for other, (footprint, bottom, top) in filled:
                high_enough = min(high, top) - max(low, bottom) > FLUSH
                meet = overlap((x0, x1, y0, y1), footprint) > 1e-3
                pair = frozenset((one.name, other.name))
                if other is one or pair in told or not (high_enough and meet):
                    continue
                told.add(pair)
                yield Fault(
                    one.name,
                    f"'{one.name}' reaches into '{other.name}'. Move one of them, or let one be"
                    " movable and not set up in this use.",
                )


def _seats_in_fixtures(use, configuration):
    """Lines on people who would listen inside a fixture."""
    for one in configuration.fixtures:
        boxes = one.boxes(configuration.hall)
        for name, area in configuration.areas.items():
            inside = sum(
                int(((area.points > low) & (area.points < high)).all(axis=1).sum())
                for low, high in boxes
            )
            if inside and use.listens.get(name, 0) > 0:
                yield (
                    f"use '{use.name}': {inside} seats of '{name}' lie inside '{one.name}'. Move"
                    " it, or let nobody listen there."
                )


def _check_balcony(scenario, balcony):
    hall = scenario.hall
    wall = hall.length if balcony.side in ("north", "south") else hall.width
    if balcony.length / 2 + abs(balcony.offset) > wall / 2 + 1e-6:
        raise ValueError(
            f"'{balcony.name}' ({scenario.say(balcony.length)} long) does not fit along the"
            f" {balcony.side} wall ({scenario.say(wall)})."
        )
    back = balcony.height + balcony.rows * balcony.row_rise + HEADROOM
    if back > hall.height:
        raise ValueError(
            f"'{balcony.name}' leaves less than {scenario.say(HEADROOM)} over its back under the"
            f" roof ({scenario.say(hall.height)})."
        )
    if (
        scenario.stage
        and scenario.stage.side == balcony.side
        and balcony.underside < scenario.stage.top
    ):
        if (
            abs(balcony.offset - scenario.stage.offset)
            < (balcony.length + scenario.stage.width) / 2
        ):
            raise ValueError(f"'{balcony.name}' runs across the stage opening.")


def _check_stage(scenario):
    hall, stage = scenario.hall, scenario.stage
    wall = hall.length if stage.side in ("north", "south") else hall.width
    if stage.width / 2 + abs(stage.offset) > wall / 2:
        raise ValueError(
            f"the stage ({scenario.say(stage.width)} wide) does not fit into the {stage.side} wall"
            f" ({scenario.say(wall)})."
        )
    if stage.top > hall.height - 0.1:
        raise ValueError(
            f"the stage opening reaches {scenario.say(stage.top)}, over the wall"
            f" ({scenario.say(hall.height)})."
        )
    for bank in scenario.banks:
        if (
            bank.side == stage.side
            and abs(bank.offset - stage.offset) < (bank.length + stage.width) / 2 - 1e-6
        ):
            raise ValueError(
                f"'{bank.name}' stands in front of the stage opening. Move or shorten one of them."
            )


def _check_treatments(scenario):
    found = []
    for part in dict.fromkeys(t.surface for t in scenario.treatments):
        asked = sum(t.area for t in scenario.treatments if t.surface == part)
        there = scenario.room.area_of(part)
        if asked > there + 0.01:
            asked, there = (area_text(a, scenario.units) for a in (asked, there))
            found.append(f"treatment of the {part}: {asked} asked for, {there} there.")
            continue
        new = sum(t.area for t in scenario.treatments if t.surface == part and not t.existing)
        above = scenario.room.area_of(part, scenario.hall.ball_height)
        if part != "roof" and new > above + 0.01:
            asked, above = (area_text(a, scenario.units) for a in (new, above))
            found.append(
                f"treatment of the {part}: {asked} of panels asked for, {above} there above"
                f" ball_height = {scenario.say(scenario.hall.ball_height)}. Take less, or say that"
                " it is existing."
            )
    _refuse(found)


def _check_loudspeakers(scenario):
    _refuse(hanging_faults(scenario, scenario.loudspeakers))


def hanging_faults(scenario, loudspeakers, others=()):
    """Why some loudspeakers cannot hang where they are.

    Parameters
    ----------
    scenario : Scenario
        The gym; its own loudspeakers do not count
    loudspeakers : sequence of Loudspeaker
        Those that are asked about
    others : sequence of Loudspeaker
        Those that hang already

    Returns
    -------
    faults : list of str
        A line each, none where they can
    """
    found, outside = [], set()
    for loudspeaker in loudspeakers:
        if not collect(found, _check_inside, scenario, loudspeaker):
            outside.add(loudspeaker.tag)
        collect(found, _check_over_seats, scenario, loudspeaker)
    for c, part, far in beyond_room(loudspeakers, scenario.hall):
        if c.tag not in outside:  # that says it
            found.append(
                Line(
                    f"loudspeaker {c.tag}: its enclosure reaches {scenario.say(far)} into the"
                    f" {part}. It must stay within the gym: move it, or turn or tilt it less.",
                    f"{c.tag} would reach into the {part}.",
                )
            )
    for a, b in colliding_loudspeakers([*others, *loudspeakers]):
        found.append(
            Line(
                f"loudspeakers {a.tag} and {b.tag} overlap. Move one of them.",
                f"{a.tag} and {b.tag} would overlap.",
            )
        )
    met = meeting(loudspeakers, _standing(scenario), scenario.hall)
    if met:
        found.append(
            Line(
                f"loudspeaker {met[0].tag}: its enclosure reaches {scenario.say(met[2])} into"
                f" '{met[1].name}'. Hang it higher, or move one of them.",
                f"{met[0].tag} would reach into '{met[1].name}'.",
            )
        )
    return found


def _standing(scenario):
    """Banks, open and closed, stages, balconies and fixtures as they stand in one use or
    another.
    """
    found = {}
    for use in scenario.uses:
        c = scenario.configuration(use.name)
        found |= dict.fromkeys((*c.banks, *c.portable_stages, *c.balconies, *c.fixtures))
    return tuple(found)


def _check_inside(scenario, loudspeaker):
    """A loudspeaker hangs within the walls, under joists and roof."""
    c, hall, say = loudspeaker, scenario.hall, scenario.say
    if abs(c.x) > hall.length / 2 - EDGE or abs(c.y) > hall.width / 2 - EDGE:
        raise Blocked(
            f"loudspeaker {c.tag} at {say(c.x)}, {say(c.y)} hangs outside the gym"
            f" ({say(hall.length)} x {say(hall.width)}).",
            limit=f"{c.tag} is at the wall.",
        )
    clear = min(hall.clear_height, float(hall.roof_height(c.y)) - UNDER)
    if c.z > clear + 1e-6:
        raise Blocked(
            f"loudspeaker {c.tag} hangs at {say(c.z)}, above the clear height under the joists"
            f" ({say(clear)}).",
            limit=f"the roof is too low for {c.tag} there.",
        )


def _check_over_seats(scenario, loudspeaker):
    """A loudspeaker leaves people on balconies and bleachers room over their heads."""
    c, hall, say = loudspeaker, scenario.hall, scenario.say
    for balcony in scenario.galleries:
        over = balcony.underside - 0.3 < c.z < balcony.height + HEADROOM
        if over and _stands_under(balcony, c, hall):
            raise Blocked(
                f"loudspeaker {c.tag} hangs in or less than {say(HEADROOM)} over '{balcony.name}'.",
                limit=f"{c.tag} keeps {say(HEADROOM)} over '{balcony.name}'.",
            )
    for bank in scenario.banks:
        if not _stands_under(bank, c, hall) or c.z < bank.base_height:  # it hangs under a mezzanine
            continue
        if c.z < min(bank.top, _seat_height(scenario, bank, c)) + HEADROOM:
            raise Blocked(
                f"loudspeaker {c.tag} at {say(c.z)} hangs less than {say(HEADROOM)} over the seats"
                f" of '{bank.name}'.",
                limit=f"{c.tag} keeps {say(HEADROOM)} over the seats of '{bank.name}'.",
            )


def _stands_under(thing, loudspeaker, hall):
    """Whether a loudspeaker hangs over the floor that a thing covers."""
    x0, x1, y0, y1 = thing.footprint(hall)
    return x0 < loudspeaker.x < x1 and y0 < loudspeaker.y < y1


def colliding_loudspeakers(loudspeakers):
    """Pairs of loudspeakers whose enclosures meet.

    Parameters
    ----------
    loudspeakers : sequence of Loudspeaker
        Where they hang

    Returns
    -------
    pairs : list of tuple
        Two Loudspeakers each
    """
    place = np.array([c.position for c in loudspeakers])
    reach = np.array(
        [np.linalg.norm([c.type.width, c.type.depth, c.type.height]) for c in loudspeakers]
    )
    near = np.argwhere(
        np.triu(np.linalg.norm(place[:, None] - place, axis=-1) < reach[:, None] + reach, 1)
    )
    return [
        (loudspeakers[a], loudspeakers[b])
        for a, b in near
        if boxes_apart(loudspeakers[a].enclosure, loudspeakers[b].enclosure) < 0
    ]


def _seat_height(scenario, bank, loudspeaker):
    """Height of the seats, or of the folded stack, right under a loudspeaker [m]."""
    x0, x1, y0, y1 = bank.footprint(scenario.hall)
    inward = {
        "north": y1 - loudspeaker.y,
        "south": loudspeaker.y - y0,
        "east": x1 - loudspeaker.x,
        "west": loudspeaker.x - x0,
    }[bank.side]
    rows = (bank.depth - inward) / bank.row_run
    if rows > bank.rows_out:
        return bank.top
    return bank.first_seat + (rows - 0.5) * bank.row_rise


def _check_uses(scenario):
    """Every use names what is there, and what stands in it fits; what is the same in several uses
    is said once.
    """
    found = unknown_names(scenario.uses, names_by_kind(scenario), scenario.equipment.wiring)
    known, told, hangs = not found, {}, _hang(scenario)
    for use in scenario.uses:
        own = told.setdefault(use.name, [])
        collect(own, _check_heard, scenario, use)
        if known and use.divided and hangs:
            collect(own, _check_divided, scenario, use)
        if known:
            collect(own, _check_configuration, scenario, use)
    _refuse(found + _said_once(told))


def _hang(scenario):
    """Whether divider and tracks fit into the gym: where they do not they say so, and no use is
    blamed for it.
    """
    divider, hall = scenario.divider, scenario.hall
    fits = divider is None or collect([], divider.outline, hall)
    return fits and all(track.fits(hall) for track in scenario.tracks)


def _said_once(told):
    """Lines by the name of a use, where what is the same in several uses is one line."""
    same = {}
    for use, lines in told.items():
        for line in lines:
            what = line.removeprefix(f"use '{use}': ")
            same.setdefault(what, (line, []))[1].append(f"'{use}'")
    return [
        line + (f" The same in {', '.join(uses[1:])}." if uses[1:] and line != what else "")
        for what, (line, uses) in same.items()
    ]


def names_by_kind(scenario):
    """Names that a use may refer to.

    Parameters
    ----------
    scenario : Scenario
        Any

    Returns
    -------
    names : dict
        List of names by the key of the use
    """
    groups, microphones = [g.name for g in scenario.groups], [m.name for m in scenario.microphones]
    banks = [b.name for b in scenario.banks]
    movable = [t.name for t in (*scenario.floor_seats, *scenario.portable_stages)]
    movable += [f.name for f in scenario.fixtures if f.movable]
    return {
        "groups": groups,
        "listens": scenario.area_names,
        "occupied": scenario.area_names,
        "closed": banks,
        "pulled_out": banks,
        "set_up": movable,
        "microphones": microphones,
        "beside": [use.name for use in scenario.uses],
    }


# what a name in each list of a use stands for
KINDS = {
    "groups": "group",
    "listens": "area",
    "occupied": "area",
    "closed": "bank",
    "pulled_out": "bank",
    "set_up": "block of chairs, portable stage or movable fixture",
    "microphones": "microphone",
    "beside": "use",
}


def unknown_names(uses, names, wiring=()):
    """Names that uses and wiring refer to and that are not there.

    Parameters
    ----------
    uses : sequence of Use
        The uses
    names : dict
        Of ``names_by_kind``; None for a key says that nobody knows its names
    wiring : iterable of str
        Groups with wiring of their own

    Returns
    -------
    faults : list of str
        A line each
    """
    found = [
        f"equipment, wiring: group '{name}' is unknown. Known: {', '.join(names['groups'])}."
        for name in wiring
        if names["groups"] is not None and name not in names["groups"]
    ]
    for use in uses:
        for word, kind in KINDS.items():
            if names[word] is None:
                continue
            found += [
                f"use '{use.name}', {word}: {kind} '{name}' is unknown. Known:"
                f" {', '.join(names[word]) or 'none'}."
                for name in _names(use, word)
                if name not in names[word]
            ]
    return found


def _names(use, word):
    """Names under one word of a use, which may have one name, or none."""
    given = getattr(use, word)
    return (given,) if isinstance(given, str) else given or ()


def _check_heard(scenario, use):
    """Somebody listens, something plays, and no more rows are out than there are."""
    found = []
    for bank in scenario.banks:
        out = use.pulled_out.get(bank.name, 0)
        if out > bank.rows:
            found.append(
                f"use '{use.name}': {out} rows of '{bank.name}' are pulled out, which has"
                f" {bank.rows}."
            )
    there = scenario.configuration(use.name).areas
    heard = any(w > 0 for name, w in use.listens.items() if name in there)
    if not heard and _hang(scenario):
        found.append(
            f"use '{use.name}': nobody listens. Give at least one area that is open or set up a"
            " weight in 'listens'."
        )
    if scenario.groups and not any(use.group_setting(g.name).on for g in scenario.groups):
        found.append(f"use '{use.name}': every loudspeaker group is off.")
    _refuse(found)


def _check_divided(scenario, use):
    """A divided gym has a divider; who listens and talks is on one side, the use beside it on the
    other.
    """
    side, found = _side(scenario, use), []
    for microphone in (m for m in scenario.microphones if m.name in use.microphones):
        collect(found, _check_beside_divider, scenario, use, (microphone, side))
    if use.beside is not None:
        collect(found, _check_beside, scenario, use, side)
    _refuse(found)


def _check_beside_divider(scenario, use, talking):
    """A talker in a divided gym is where the listeners are."""
    microphone, side = talking
    points, _ = microphone.positions(scenario.configuration(use.name))
    if (scenario.divider.side_of(points) != side).any():
        raise ValueError(
            f"use '{use.name}': microphone '{microphone.name}' is on the other side of the"
            " divider, or its talker walks through it. Give it a place on this side."
        )


def _check_beside(scenario, use, side):
    """Two uses that go on at the same time can."""
    other = scenario.use(use.beside)
    together = f"uses '{use.name}' and '{other.name}' go on at the same time"
    if other.beside != use.name or other is use:
        raise ValueError(
            f"use '{use.name}' goes on beside '{other.name}', but that one names"
            f" '{other.beside or 'none'}' beside it. Each must name the other."
        )
    if scenario.uses.index(other) < scenario.uses.index(use):  # said of that one
        return
    found = [
        f"{together}: {word} must name the same in both."
        for word in ("closed", "pulled_out", "set_up")
        if _standing_words(use, word) != _standing_words(other, word)
    ]
    if use.curtain_open != other.curtain_open:
        found.append(f"{together}: curtain_open must be the same in both.")
    others = []
    if collect([], lambda: others.append(_side(scenario, other))) and others[0] == side:
        found.append(f"{together}: they need listeners on both sides of the divider.")
    for group in scenario.groups:
        if use.group_setting(group.name).on and other.group_setting(group.name).on:
            found.append(
                f"{together}, and group '{group.name}' plays in both. Turn it off in one of them."
            )
    _refuse(found)


def _standing_words(use, word):
    """What a use names under a word on what stands, whatever the order."""
    given = getattr(use, word)
    return given if isinstance(given, dict) else set(given)


def _side(scenario, use):
    """Side of the divider on which the listeners of a use are."""
    if scenario.divider is None:
        raise ValueError(f"use '{use.name}' is divided, but there is no [divider].")
    areas, sides = scenario.configuration(use.name).areas, set()
    for name in (name for name in areas if use.listens.get(name, 0) > 0):
        found = set(scenario.divider.side_of(areas[name].points).tolist())
        if len(found) > 1:
            raise ValueError(
                f"use '{use.name}': '{name}' lies on both sides of the divider. Name what lies on"
                " one side."
            )
        sides |= found
    if len(sides) > 1:
        raise ValueError(
            f"use '{use.name}': its listeners are on both sides of the divider. Make it two uses,"
            " each beside the other."
        )
    return sides.pop() if sides else None


def _check_through(scenario):
    """No enclosure reaches through the divider where it is drawn."""
    _refuse(through_divider(scenario, scenario.loudspeakers))


def through_divider(scenario, loudspeakers):
    """Loudspeakers whose enclosures reach through the divider where it is drawn.

    Parameters
    ----------
    scenario : Scenario
        The gym
    loudspeakers : sequence of Loudspeaker
        Those that are asked about

    Returns
    -------
    faults : list of str
        A line each; none where no use draws the divider
    """
    divider = scenario.divider
    if divider is None or not loudspeakers or not any(use.divided for use in scenario.uses):
        return []
    side = divider.side_of(corners(loudspeakers))  # (loudspeaker, corner)
    return [
        Line(
            f"loudspeaker {c.tag}: its enclosure reaches through the divider at"
            f" {scenario.say(divider.at)}. Move one of them.",
            f"{c.tag} would reach through the divider.",
        )
        for c, sides in zip(loudspeakers, side, strict=True)
        if np.ptp(sides)
    ]


def _check_microphones(scenario):
    found = []
    grounded = [m for m in scenario.microphones if collect(found, _check_ground, scenario, m)]
    for microphone in grounded:
        if microphone.walks is None:
            collect(found, _check_position, scenario, microphone)
    for use in scenario.uses:
        for microphone in grounded:
            if microphone.name in use.microphones and collect(
                found, _check_opened, scenario, use, microphone
            ):
                collect(found, _check_free, scenario, use, microphone)
    _refuse(found)


def _check_ground(scenario, microphone):
    """What a microphone stands on, or its talker walks on, is there."""
    m = microphone
    stages = [*(["stage"] if scenario.stage else []), *(p.name for p in scenario.portable_stages)]
    if m.on not in ("floor", *stages):
        raise ValueError(
            f"microphone '{m.name}': on = '{m.on}' is unknown. Known:"
            f" {', '.join(('floor', *stages))}."
        )
    walks = ("court", "floor", *stages, *(side.name for side in scenario.side_courts))
    if m.walks is not None and m.walks not in walks:
        raise ValueError(
            f"microphone '{m.name}': walks = '{m.walks}' is unknown. Known: {', '.join(walks)}."
        )


def _check_position(scenario, microphone):
    """A microphone stands within what it stands on."""
    m, hall, stage = microphone, scenario.hall, scenario.stage
    x0, x1, y0, y1 = -hall.length / 2, hall.length / 2, -hall.width / 2, hall.width / 2
    if m.on == "stage":  # from its front edge
        x0, x1, y0, y1 = 0.0, stage.depth, -stage.width / 2, stage.width / 2
    elif m.on != "floor":
        x0, x1, y0, y1 = value_at(scenario, ("portable_stages", m.on)).footprint()
    if not (x0 - 0.01 <= m.x <= x1 + 0.01 and y0 - 0.01 <= m.y <= y1 + 0.01):
        where = "the gym" if m.on == "floor" else f"'{m.on}'"
        raise ValueError(
            f"microphone '{m.name}' at {scenario.say(m.x)}, {scenario.say(m.y)} stands outside"
            f" {where}."
        )


def _check_opened(scenario, use, microphone):
    """A microphone that is open in a use stands where the use has something to stand on."""
    where = microphone.walks or microphone.on
    if where in {p.name for p in scenario.portable_stages} and where not in use.set_up:
        raise ValueError(
            f"use '{use.name}': microphone '{microphone.name}' needs '{where}', which is not set"
            " up."
        )
    if where == "stage" and not use.curtain_open:
        raise ValueError(
            f"use '{use.name}': microphone '{microphone.name}' is on the stage, whose curtain is"
            " closed."
        )


def _check_free(scenario, use, microphone):
    """A microphone that is open in a use stands and walks outside every enclosure, and outside
    banks, portable stages, balconies and fixtures.
    """
    configuration = scenario.configuration(use.name)
    points, _ = microphone.positions(configuration)
    c = configuration
    standing = (*c.banks, *c.portable_stages, *c.balconies, *c.fixtures)
    # what loudspeakers do changes nothing of it
    thing = scenario.memory.cache("microphones in things", KEPT).get(
        (configuration, points.tobytes()), lambda: filling(standing, points, scenario.hall)
    )
    if thing:
        raise ValueError(
            f"use '{use.name}': microphone '{microphone.name}' is inside '{thing.name}'. Raise it,"
            " or move one of them."
        )
    loudspeaker = holding(scenario.loudspeakers, points)
    if loudspeaker:
        raise ValueError(
            f"use '{use.name}': microphone '{microphone.name}' is inside loudspeaker"
            f" {loudspeaker.tag}. Move one of them."
        )


def low_over_courts(scenario):
    """Loudspeakers that hang over a court lower than the game asks for.

    Parameters
    ----------
    scenario : Scenario
        Any scenario

    Returns
    -------
    low : list of tuple
        (loudspeaker, name of the court, height free under it [m])
    """
    courts = {"the court": scenario.lines} | {f"'{s.name}'": s for s in scenario.side_courts}
    found = []
    for c in scenario.loudspeakers:
        under = next((name for name, court in courts.items() if _plays_under(court, c)), None)
        low = c.z - c.type.height / 2
        if under and low < PLAY_HEIGHT:
            found.append((c, under, low))
    return found


def conflicts_beside_court(scenario):
    """Banks over the lines of the court, and too little floor around it.

    Parameters
    ----------
    scenario : Scenario
        Any scenario

    Returns
    -------
    conflicts : list of str
        Sentences, with lengths in the scenario's units
    """
    return court_doubts(scenario.lines, scenario.banks, scenario.hall, scenario.say)


def court_conflicts(scenario):
    """What of a design is in the way of the game.

    Parameters
    ----------
    scenario : Scenario
        Any scenario

    Returns
    -------
    conflicts : list of str
        Sentences, with lengths in the scenario's units
    """
    say = scenario.say
    low = [
        f"Loudspeaker {c.tag} hangs over {under} with {say(height)} under it;"
        f" international rules ask for {say(PLAY_HEIGHT)}."
        for c, under, height in low_over_courts(scenario)
    ]
    return [*low, *conflicts_beside_court(scenario)]


def warnings(scenario):
    """What is legal but should be looked at.

    Parameters
    ----------
    scenario : Scenario
        Any scenario

    Returns
    -------
    warnings : list of str
        Sentences, with lengths in the scenario's units
    """
    found = [*court_conflicts(scenario), *_low_loudspeakers(scenario)]
    found += [*_among_joists(scenario), *joist_warnings(scenario)]
    walls = scenario.divider, scenario.galleries, scenario.hall, scenario.say
    found += divider_doubts(*walls)
    found += [*_covered_courts(scenario), *_wheelchairs(scenario), *_faulty(scenario)]
    return [*found, *_on_decks(scenario), *measured_warnings(scenario)]


def _faulty(scenario):
    """Loudspeakers that hang there already and do not play as they should, in uses that need
    them.
    """
    found = []
    for group in (g for g in scenario.groups if g.condition in ("dead", "rattles")):
        uses = [u.name for u in scenario.uses if u.group_setting(group.name).on]
        if uses:
            found.append(
                f"'{group.name}' {'is dead' if group.condition == 'dead' else 'rattles'}, and plays"
                f" in {', '.join(uses)}. Repair it, replace it or turn it off."
            )
    return found


def _covered_courts(scenario):
    """Uses in which people listen on a side court that banks cover, or on side courts alone."""
    sides = {side.name for side in scenario.side_courts}
    alone = [
        f"Use '{use.name}': people listen on side courts only, and its reverberation is judged as"
        ' for speech. Write kind = "sports" for a class or a game, or kind = "speech".'
        for use in scenario.uses
        if use.kind is None
        and {name for name, weight in use.listens.items() if weight > 0} <= sides
    ]
    return alone + [
        f"Use '{use.name}': banks cover '{side.name}', so nobody listens there."
        for use in scenario.uses
        for side in scenario.side_courts
        if use.listens.get(side.name, 0) > 0
        and not has_room(side, scenario.hall, scenario.configuration(use.name).banks)
    ]


def _wheelchairs(scenario):
    """Too few wheelchair spaces, where the file says anything about them."""
    found = []
    if not any(thing.wheelchair_spaces for thing in (*scenario.banks, *scenario.floor_seats)):
        return found
    for use in scenario.uses:
        configuration = scenario.configuration(use.name)
        seats, spaces = sum(configuration.seats.values()), configuration.wheelchair_spaces
        asked = wheelchairs.spaces_required(seats)
        if spaces < asked:
            found.append(
                f"Use '{use.name}': {spaces} wheelchair spaces for {seats} seats; table 221.2.1.1"
                f" of the 2010 ADA Standards asks for {asked}. Local codes and the authority having"
                " jurisdiction decide."
            )
    return found


def _plays_under(court, loudspeaker):
    """Whether a loudspeaker hangs over a court."""
    west, east, south, north = court.footprint()
    return west < loudspeaker.x < east and south < loudspeaker.y < north


def _among_joists(scenario):
    """Groups whose enclosures reach over the clear height: they need room between joists."""
    highest, clear = {}, scenario.hall.clear_height
    tops = corners(scenario.loudspeakers)[..., 2].max(axis=1).tolist()
    for c, top in zip(scenario.loudspeakers, tops, strict=True):
        highest[c.group] = max(top, highest.get(c.group, 0.0))
    return [
        f"'{group}' reaches {scenario.say(top - clear)} above the clear height"
        f" ({scenario.say(clear)}). Hang it lower, or make sure that it fits between the joists."
        for group, top in highest.items()
        if top > clear + AMONG_JOISTS
    ]


def _on_decks(scenario):
    """Uses in which people listen on the court where a portable stage stands."""
    found = []
    for use in scenario.uses:
        configuration = scenario.configuration(use.name)
        areas = configuration.areas.items()
        heard = [a.points for n, a in areas if on_court(n) and use.listens.get(n, 0) > 0]
        if not heard:
            continue
        x, y, _ = np.concatenate(heard).T
        for deck in configuration.portable_stages:
            x0, x1, y0, y1 = deck.footprint()
            count = int(((x > x0) & (x < x1) & (y > y0) & (y < y1)).sum())
            if count:
                found.append(
                    f"Use '{use.name}': {count} positions of the court lie where '{deck.name}'"
                    " stands; they count as if people stood on the floor there."
                )
    return found


def _low_loudspeakers(scenario):
    """Loudspeakers that people can reach: from the floor, a portable stage, or the seats of a bank
    or balcony.
    """
    found, hall, say = [], scenario.hall, scenario.say
    for c, low in zip(
        scenario.loudspeakers,
        corners(scenario.loudspeakers)[..., 2].min(axis=1).tolist(),
        strict=True,
    ):
        grounds = {"the floor": 0.0}
        grounds |= {f"'{s.name}'": 0.0 for s in scenario.floor_seats if _stands_under(s, c, hall)}
        for thing in (*scenario.portable_stages, *scenario.galleries):
            if _stands_under(thing, c, hall) and thing.height < low:
                grounds[f"'{thing.name}'"] = thing.height
        for bank in scenario.banks:
            if bank.open and bank.base_height < low and _stands_under(bank, c, hall):
                seat = _seat_height(scenario, bank, c)
                grounds[f"'{bank.name}'"] = max(seat - FOOT_UNDER_SEAT, 0.0)
        under = max(reversed(grounds), key=grounds.get)
        free = low - grounds[under]
        if free < OUT_OF_REACH:
            found.append(
                f"Loudspeaker {c.tag} hangs low over {under}: {say(free)} under it. People reach"
                f" what hangs under {say(OUT_OF_REACH)}; hang it higher or keep people away."
            )
    return found
