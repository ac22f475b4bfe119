"""What fits where: a scenario that cannot be is refused in one line; one that should be looked at
says so.
"""

from itertools import combinations

import numpy as np

from ..physics.checks import within
from ..physics.geometry import boxes_apart
from .configuration import KEPT
from .enclosures import beyond_room, corners, filling, holding, meeting, solids
from .finishes import FINISHES
from .fixture import FLUSH
from .hall import SIDES, TREATABLE
from .locations import overlap
from .loudspeakers import loudspeaker_types
from .measured_room import check_measured, measured_warnings
from .paths import value_at
from .pieces import against
from .seating import CHAIR_HEIGHT, EAR_SEATED, EAR_STANDING
from .tables import named
from .texts import check_name, looks_like
from .units import area_text

HEADROOM = 2.0  # over the top row's footing [m]     common practice, no source
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
# free floor around a court [m]     3 ft least, 10 ft preferred, NFHS basketball rules (secondary
# source)
RUN_OUT = 0.91


class Blocked(ValueError):
    """A loudspeaker cannot hang where it is: something is in the way.

    Parameters
    ----------
    message : str
        One line, with the place
    limit : str
        The same of the nearest place where it can hang: what is there, without a place
    """

    def __init__(self, message, limit=""):
        super().__init__(message)
        self.limit = limit


def check(scenario):
    """Refuse a scenario that cannot be.

    Parameters
    ----------
    scenario : Scenario
        Its parts have been checked one by one; here it is whether they fit together

    Raises
    ------
    ValueError
        One line on what does not fit
    """
    check_counts({key: len(getattr(scenario, key)) for key in MOST})
    check_counts(
        {"loudspeakers": sum(g.number for g in scenario.groups)},
        {"loudspeakers": MOST_LOUDSPEAKERS},
    )
    _check_types(scenario)
    _check_names(scenario)
    _check_seating(scenario)
    _check_divider(scenario)
    _check_uses(scenario)
    _check_treatments(scenario)
    _check_loudspeakers(scenario)
    _check_microphones(scenario)
    check_measured(scenario)


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
    known, alike = dict(loudspeaker_types()), {}
    alike = {looks_like(name): one for name, one in known.items()}
    for measured in scenario.measured_types:
        check_name("name of a loudspeaker type", measured.name)
        if alike.setdefault(looks_like(measured.name), measured) != measured:
            raise ValueError(
                f"another loudspeaker type is called '{measured.name}', or nearly so. Give it"
                " another name."
            )
        known[measured.name] = measured
    for group in scenario.groups:
        try:
            named(known, group.loudspeaker, "loudspeaker")
        except ValueError as error:
            measured = " A measured one needs its loudspeaker_files."
            raise ValueError(f"group '{group.name}': {error}{measured}") from None


def _check_names(scenario):
    seats = (*scenario.banks, *scenario.floor_seats, *scenario.portable_stages, *scenario.galleries)
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
        _check_alike(kind, [t.name for t in things])
    tags = [c.tag for c in scenario.loudspeakers]
    for tag in tags:
        if tags.count(tag) > 1:
            raise ValueError(
                f"two loudspeakers carry the tag '{tag}'. Give each group its own tag."
            )
    if not scenario.groups:
        raise ValueError("there is no loudspeaker group. Add [[groups]].")
    if not scenario.uses:
        raise ValueError("there is no use. Add [[uses]].")
    for thing in (*seats, *scenario.fixtures):
        if looks_like(thing.name) in PARTS:
            raise ValueError(
                f"'{thing.name}' names a part of the gym. Call the bank or the chairs something"
                " else."
            )


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


def _check_seating(scenario):
    hall, lines = scenario.hall, scenario.lines
    if lines.length > hall.length or lines.width > hall.width:
        size = f"{scenario.say(lines.length)} x {scenario.say(lines.width)}"
        raise ValueError(
            f"court '{scenario.court}' ({size}) does not fit into the gym"
            f" ({scenario.say(hall.length)} x {scenario.say(hall.width)})."
        )
    for bank in scenario.banks:
        _check_bank(scenario, bank)
    for thing in (*scenario.floor_seats, *scenario.portable_stages):
        if (
            abs(thing.x) + thing.length / 2 > hall.length / 2
            or abs(thing.y) + thing.width / 2 > hall.width / 2
        ):
            raise ValueError(f"'{thing.name}' reaches outside the gym.")
    for balcony in scenario.galleries:
        _check_balcony(scenario, balcony)
    for fixture in scenario.fixtures:
        _check_fixture(scenario, fixture)
    if scenario.stage:
        _check_stage(scenario)


def _check_bank(scenario, bank):
    hall, say = scenario.hall, scenario.say
    sideways = bank.side in ("north", "south")
    wall, deep = (hall.length, hall.width) if sideways else (hall.width, hall.length)
    if bank.length / 2 + abs(bank.offset) > wall / 2 + 1e-6:
        raise ValueError(
            f"'{bank.name}' ({say(bank.length)} long, offset {say(bank.offset)}) does not fit along"
            f" the {bank.side} wall ({say(wall)})."
        )
    if bank.depth > deep - 1.0:
        raise ValueError(
            f"'{bank.name}' is {say(bank.depth)} deep: more than the gym ({say(deep)}) can hold."
        )
    edge = max(abs(bank.footprint(hall)[2]), abs(bank.footprint(hall)[3]))
    roof = hall.height if sideways else float(hall.roof_height(edge))
    if bank.top + HEADROOM > roof:  # closed ones too: they are there to be opened
        raise ValueError(
            f"'{bank.name}': its top row ({say(bank.top)}) leaves less than {say(HEADROOM)} under"
            f" the roof ({say(roof)}). Fewer rows, less rise?"
        )


def _check_configuration(scenario, use):
    """Nothing stands in another's place in this use."""
    hall, configuration = scenario.hall, scenario.configuration(use.name)
    standing = (*configuration.banks, *configuration.floor_seats, *configuration.portable_stages)
    for a, b in combinations(standing, 2):
        if overlap(a.footprint(hall), b.footprint(hall)) > 0.01:
            raise ValueError(f"use '{use.name}': '{a.name}' and '{b.name}' overlap.")
    _check_decks(use, configuration)
    _check_fixtures(use, configuration)
    for seats in configuration.floor_seats:
        for balcony in configuration.balconies:
            if (
                overlap(seats.footprint(), balcony.footprint(hall)) > 0.01
                and balcony.underside < HEADROOM
            ):
                raise ValueError(
                    f"use '{use.name}': '{seats.name}' has less than {scenario.say(HEADROOM)} under"
                    f" '{balcony.name}' ({scenario.say(balcony.underside)})."
                )
    for a, b in combinations(configuration.balconies, 2):
        if overlap(a.footprint(hall), b.footprint(hall)) > 0.01:
            raise ValueError(
                f"balconies '{a.name}' and '{b.name}' run into each other. Shorten one of them."
            )
    for bank in configuration.banks:
        for balcony in configuration.balconies:
            if (
                overlap(bank.footprint(hall), balcony.footprint(hall)) > 0.01
                and bank.top + HEADROOM > balcony.underside
            ):
                raise ValueError(
                    f"use '{use.name}': the top row of '{bank.name}' ({scenario.say(bank.top)})"
                    f" leaves less than {scenario.say(HEADROOM)} under '{balcony.name}'"
                    f" ({scenario.say(balcony.underside)})."
                )


def _check_decks(use, configuration):
    """Nobody listens in or under the deck of a portable stage."""
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
                raise ValueError(
                    f"use '{use.name}': {int(under.sum())} seats of '{name}' lie in or under the"
                    f" deck of '{deck.name}'. Move or lower the stage, or let nobody listen there."
                )


def _check_fixture(scenario, one):
    """A fixture lies within the gym, and not in the opening of the stage."""
    hall, stage, say = scenario.hall, scenario.stage, scenario.say
    for (x0, y0, _), (x1, y1, top) in one.boxes(hall):
        if max(-x0, x1) > hall.length / 2 + 1e-6 or max(-y0, y1) > hall.width / 2 + 1e-6:
            raise ValueError(
                f"'{one.name}' reaches outside the gym ({say(hall.length)} x {say(hall.width)})."
            )
        roof = float(min(hall.roof_height(y0), hall.roof_height(y1)))
        if top > roof + 1e-6:
            raise ValueError(
                f"'{one.name}' reaches up to {say(top)}, above the roof ({say(roof)} there). bottom"
                " is the height of its lower side over the floor, height its own."
            )
    if stage and _in_opening(hall, stage, one):
        raise ValueError(
            f"'{one.name}' lies in the opening of the stage. Give it a gap to the wall, or move it."
        )


def _in_opening(hall, stage, one):
    """Whether a fixture lies on the wall where the stage opens."""
    opening = stage.offset - stage.width / 2, stage.offset + stage.width / 2
    return any(
        overlap((u0, u1, low, high), (*opening, stage.floor_height, stage.top)) > 1e-6
        for u0, u1, low, high in against(hall, stage.side, (one,))
    )


def _check_fixtures(use, configuration):
    """No fixture reaches into another thing, nor into a seat where people listen."""
    hall, fixtures = configuration.hall, configuration.fixtures
    others = (*configuration.banks, *configuration.portable_stages, *configuration.balconies)
    filled = [(thing, box) for thing in (*others, *fixtures) for box in solids(thing, hall)]
    filled += [(f, (f.footprint(), 0.0, CHAIR_HEIGHT)) for f in configuration.floor_seats]
    for one in fixtures:
        for (x0, y0, low), (x1, y1, high) in one.boxes(hall):
            for other, (footprint, bottom, top) in filled:
                high_enough = min(high, top) - max(low, bottom) > FLUSH
                meet = overlap((x0, x1, y0, y1), footprint) > 1e-3
                if other is not one and high_enough and meet:
                    raise ValueError(
                        f"use '{use.name}': '{one.name}' reaches into '{other.name}'. Move one of"
                        " them, or let one be movable and not set up in this use."
                    )
        for name, area in configuration.areas.items():
            inside = sum(
                ((area.points > box[0]) & (area.points < box[1])).all(axis=1).sum()
                for box in one.boxes(hall)
            )
            if inside and use.listens.get(name, 0) > 0:
                raise ValueError(
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
    for part in {t.surface for t in scenario.treatments}:
        asked = sum(t.area for t in scenario.treatments if t.surface == part)
        there = sum(s.area for s in scenario.room.surfaces if s.part == part)
        if asked > there + 0.01:
            asked, there = (area_text(a, scenario.units) for a in (asked, there))
            raise ValueError(f"treatment of the {part}: {asked} asked for, {there} there.")


def _check_loudspeakers(scenario):
    for loudspeaker in scenario.loudspeakers:
        _check_inside(scenario, loudspeaker)
        _check_over_seats(scenario, loudspeaker)
    for c, part, far in beyond_room(scenario.loudspeakers, scenario.hall):
        raise Blocked(
            f"loudspeaker {c.tag}: its enclosure reaches {scenario.say(far)} into the {part}. It"
            " must stay within the gym: move it, or turn or tilt it less.",
            f"{c.tag} would reach into the {part}.",
        )
    for a, b in colliding_loudspeakers(scenario.loudspeakers):
        raise Blocked(
            f"loudspeakers {a.tag} and {b.tag} overlap. Move one of them.",
            f"{a.tag} and {b.tag} would overlap.",
        )
    met = meeting(scenario.loudspeakers, _standing(scenario), scenario.hall)
    if met:
        raise Blocked(
            f"loudspeaker {met[0].tag}: its enclosure reaches {scenario.say(met[2])} into"
            f" '{met[1].name}'. Hang it higher, or move one of them.",
            f"{met[0].tag} would reach into '{met[1].name}'.",
        )


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
            f"{c.tag} is at the wall.",
        )
    clear = min(hall.clear_height, float(hall.roof_height(c.y)) - UNDER)
    if c.z > clear + 1e-6:
        raise Blocked(
            f"loudspeaker {c.tag} hangs at {say(c.z)}, above the clear height under the joists"
            f" ({say(clear)}).",
            f"the roof is too low for {c.tag} there.",
        )


def _check_over_seats(scenario, loudspeaker):
    """A loudspeaker leaves people on balconies and bleachers room over their heads."""
    c, hall, say = loudspeaker, scenario.hall, scenario.say
    for balcony in scenario.galleries:
        over = balcony.underside - 0.3 < c.z < balcony.height + HEADROOM
        if over and _stands_under(balcony, c, hall):
            raise Blocked(
                f"loudspeaker {c.tag} hangs in or less than {say(HEADROOM)} over '{balcony.name}'.",
                f"{c.tag} keeps {say(HEADROOM)} over '{balcony.name}'.",
            )
    for bank in scenario.banks:
        if not _stands_under(bank, c, hall):
            continue
        if c.z < min(bank.top, _seat_height(scenario, bank, c)) + HEADROOM:
            raise Blocked(
                f"loudspeaker {c.tag} at {say(c.z)} hangs less than {say(HEADROOM)} over the seats"
                f" of '{bank.name}'.",
                f"{c.tag} keeps {say(HEADROOM)} over the seats of '{bank.name}'.",
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
    """Height of the seats right under a loudspeaker [m]."""
    if not bank.open:
        return bank.top
    x0, x1, y0, y1 = bank.footprint(scenario.hall)
    inward = {
        "north": y1 - loudspeaker.y,
        "south": loudspeaker.y - y0,
        "east": x1 - loudspeaker.x,
        "west": loudspeaker.x - x0,
    }[bank.side]
    return bank.first_height + ((bank.depth - inward) / bank.row_run - 0.5) * bank.row_rise


def _check_uses(scenario):
    groups, microphones = [g.name for g in scenario.groups], [m.name for m in scenario.microphones]
    banks = [b.name for b in scenario.banks]
    movable = [t.name for t in (*scenario.floor_seats, *scenario.portable_stages)]
    movable += [f.name for f in scenario.fixtures if f.movable]
    known = {
        "groups": ("group", groups),
        "listens": ("area", scenario.area_names),
        "occupied": ("area", scenario.area_names),
        "closed": ("bank", banks),
        "set_up": ("block of chairs, portable stage or movable fixture", movable),
        "microphones": ("microphone", microphones),
    }
    for name in scenario.equipment.wiring:
        if name not in groups:
            raise ValueError(
                f"equipment, wiring: group '{name}' is unknown. Known: {', '.join(groups)}."
            )
    for use in scenario.uses:
        for word, (kind, names) in known.items():
            for name in getattr(use, word):
                if name not in names:
                    shown = ", ".join(names) or "none"
                    raise ValueError(
                        f"use '{use.name}', {word}: {kind} '{name}' is unknown. Known: {shown}."
                    )
        there = scenario.configuration(use.name).areas
        if not any(w > 0 for name, w in use.listens.items() if name in there):
            raise ValueError(
                f"use '{use.name}': nobody listens. Give at least one area that is open or set up a"
                " weight in 'listens'."
            )
        if use.divided:
            _check_divided(scenario, use)
        if not any(use.group_setting(g).on for g in groups):
            raise ValueError(f"use '{use.name}': every loudspeaker group is off.")
        _check_configuration(scenario, use)


def _check_divided(scenario, use):
    """A divided gym has a divider; who listens and talks is on one side, the use beside it on the
    other.
    """
    side = _side(scenario, use)
    for microphone in (m for m in scenario.microphones if m.name in use.microphones):
        points, _ = microphone.positions(scenario.configuration(use.name))
        if (scenario.divider.side_of(points) != side).any():
            raise ValueError(
                f"use '{use.name}': microphone '{microphone.name}' is on the other side of the"
                " divider, or its talker walks through it. Give it a place on this side."
            )
    if use.beside is not None:
        _check_beside(scenario, use, scenario.use(use.beside), side)


def _check_beside(scenario, use, other, side):
    """Two uses that go on at the same time can."""
    together = f"uses '{use.name}' and '{other.name}' go on at the same time"
    if other.beside != use.name or other is use:
        raise ValueError(
            f"use '{use.name}' goes on beside '{other.name}', but that one names"
            f" '{other.beside or 'none'}' beside it. Each must name the other."
        )
    for word in ("closed", "set_up"):
        if set(getattr(use, word)) != set(getattr(other, word)):
            raise ValueError(f"{together}: {word} must name the same in both.")
    if use.curtain_open != other.curtain_open:
        raise ValueError(f"{together}: curtain_open must be the same in both.")
    if _side(scenario, other) == side:
        raise ValueError(f"{together}: they need listeners on both sides of the divider.")
    for group in scenario.groups:
        if use.group_setting(group.name).on and other.group_setting(group.name).on:
            raise ValueError(
                f"{together}, and group '{group.name}' plays in both. Turn it off in one of them."
            )


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


def _check_divider(scenario):
    """The divider fits into the gym, no enclosure reaches through it where it is drawn, and uses
    go on beside known ones.
    """
    divider, names = scenario.divider, [use.name for use in scenario.uses]
    for use in scenario.uses:
        if use.beside is not None and use.beside not in names:
            raise ValueError(
                f"use '{use.name}', beside: use '{use.beside}' is unknown. Known:"
                f" {', '.join(names)}."
            )
    if divider is None:
        return
    divider.outline(scenario.hall)
    if not any(use.divided for use in scenario.uses):
        return
    side = divider.side_of(corners(scenario.loudspeakers))  # (loudspeaker, corner)
    for c, sides in zip(scenario.loudspeakers, side, strict=True):
        if np.ptp(sides):
            raise Blocked(
                f"loudspeaker {c.tag}: its enclosure reaches through the divider at"
                f" {scenario.say(divider.at)}. Move one of them.",
                f"{c.tag} would reach through the divider.",
            )


def _check_microphones(scenario):
    for microphone in scenario.microphones:
        _check_ground(scenario, microphone)
    for microphone in scenario.microphones:
        if microphone.walks is None:
            _check_position(scenario, microphone)
    for use in scenario.uses:
        for microphone in scenario.microphones:
            if microphone.name in use.microphones:
                _check_opened(scenario, use, microphone)
                _check_free(scenario, use, microphone)


def _check_ground(scenario, microphone):
    """What a microphone stands on, or its talker walks on, is there."""
    m = microphone
    stages = [*(["stage"] if scenario.stage else []), *(p.name for p in scenario.portable_stages)]
    if m.on not in ("floor", *stages):
        raise ValueError(
            f"microphone '{m.name}': on = '{m.on}' is unknown. Known:"
            f" {', '.join(('floor', *stages))}."
        )
    if m.walks is not None and m.walks not in ("court", "floor", *stages):
        raise ValueError(
            f"microphone '{m.name}': walks = '{m.walks}' is unknown. Known:"
            f" {', '.join(('court', 'floor', *stages))}."
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
    found, hall, lines = [], scenario.hall, scenario.lines
    for c in scenario.loudspeakers:
        over = abs(c.x) < lines.length / 2 and abs(c.y) < lines.width / 2
        low = c.z - c.type.height / 2
        if over and low < PLAY_HEIGHT:
            found.append(
                f"Loudspeaker {c.tag} hangs over the court with {scenario.say(low)} under it;"
                f" international rules ask for {scenario.say(PLAY_HEIGHT)}."
            )
    found += _low_loudspeakers(scenario)
    found += _among_joists(scenario)
    for bank in scenario.banks:
        if (
            overlap(
                bank.footprint(hall),
                (-lines.length / 2, lines.length / 2, -lines.width / 2, lines.width / 2),
            )
            > 0.01
        ):
            found.append(
                f"'{bank.name}' reaches over the lines of the court when it stands like this."
            )
    free = min((hall.length - lines.length) / 2, (hall.width - lines.width) / 2)
    if free < RUN_OUT:
        found.append(
            f"Only {scenario.say(free)} of floor remains around the court; rules ask for at least"
            f" {scenario.say(RUN_OUT)}."
        )
    return [*found, *_on_decks(scenario), *measured_warnings(scenario)]


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
        if use.listens.get("court", 0) <= 0:
            continue
        configuration = scenario.configuration(use.name)
        x, y, _ = configuration.areas["court"].points.T
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
            if bank.open and _stands_under(bank, c, hall):
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
