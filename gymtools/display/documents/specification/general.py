"""Part 1: scope, documents, required performance, submittals, coordination, warranty."""

from ....acoustics.criteria import CRITERIA
from ....physics import bands
from ....physics.feedback import STABILITY_MARGIN_DB
from .clauses import Article, Cited, Part, Table, To, clause, listed
from .figures import (
    number,
    practice,
    required,
    required_level,
    standard,
    stated,
    target,
)

# judged on paper, not measured in the finished gym
ON_PAPER = ("in_sight", "on_listeners")
BOUND = {1: "at least", -1: "at most"}


def general(made, titles, drawings):
    """Part 1 of a specification.

    Parameters
    ----------
    made : Parts
        Of ``equipment.schedules.parts``
    titles : dict
        Of ``figures.schedule_titles``
    drawings : sequence of tuple
        (number, title) of every drawing

    Returns
    -------
    part : Part
        Its articles
    """
    return Part(
        title="General",
        articles=(
            _scope(made),
            _documents(titles, drawings),
            _words(),
            _performance(made),
            _submittals(),
            _qualifications(),
            _coordination(),
            _warranty(),
        ),
    )


def _scope(made):
    uses = listed([stated(u.name, "use", u.name, "name") for u in made.scenario.uses])
    return Article(
        key="scope",
        title="Scope",
        blocks=(
            clause(
                "Furnish, install, set up, test and hand over a complete sound system for the"
                " gymnasium of ",
                stated(made.scenario.name, "scenario", "name"),
                ", for these uses: ",
                *uses,
                ".",
            ),
            _system(made),
            clause(
                "Not part of this work: design of the structure and its approval, AC power up to"
                " the rack, the fire-alarm system, and building work",
                *_but_treatment(made.scenario),
                ". Who does it is in ",
                To("coordination"),
                ".",
            ),
            clause(
                "Values in [square brackets] are customary in the trade and are not computed from"
                " this design. The school confirms or changes each of them before bids are asked"
                " for. Performance, equipment and quantities come from"
                " one evaluation of the design."
            ),
        ),
    )


def _but_treatment(scenario):
    """What of building work is part of the bid."""
    new = any(not t.existing for t in scenario.treatments)
    return (" other than the treatment of ", To("treatment")) if new else ()


def _system(made):
    """What the system consists of."""
    s = made.scenario
    stay = {g.name for g in s.groups if g.existing}
    new = [c for c in s.loudspeakers if c.group not in stay]
    return clause(
        "The system has ",
        number(len(s.loudspeakers), "d", "", "count", "loudspeakers"),
        " loudspeakers, of which ",
        number(len(new), "d", "", "count", "new loudspeakers"),
        " are new, on ",
        number(len(made.amplification.channels), "d", "", "count", "channels"),
        " amplifier channels. Bid on the quantities of ",
        To("quantities"),
        "; whatever a working system needs besides is part of the bid.",
    )


def _documents(titles, drawings):
    rows = [(Cited(f"Schedule {n}"), title) for title, n in titles.items()]
    rows += [(Cited(f"Drawing {n}"), Cited(title)) for n, title in drawings]
    return Article(
        key="documents",
        title="Documents",
        blocks=(
            clause(
                "The documents of ", To("document table"), " and this text belong to one contract."
            ),
            Table(
                key="document table",
                title="Schedules and drawings",
                columns=("number", "title"),
                rows=tuple(rows),
            ),
            clause(
                "Positions and angles: the schedule governs over the drawing. Quantities: the"
                " larger one governs. Where documents differ, or something is missing, ask in"
                " writing at least ",
                practice("questions_days"),
                " before bids are due, and before work is done on it.",
            ),
            clause(
                "Names of types in schedules and drawings are designations of this project and of"
                " no product."
            ),
        ),
    )


def _words():
    return Article(
        key="words",
        title="Definitions",
        blocks=(
            clause(
                "Seat: any place of a listening area, at ear height, occupied or not. Listening"
                " area: bleachers, chairs or court as the plans name them."
            ),
            clause(
                "Speech level: A-weighted level of continuous speech or of a test signal with the"
                " spectrum of speech, mean over the listening areas."
            ),
            clause(
                "Coverage uniformity, seats near the mean, quietest seat: of the direct sound,"
                " without the room's own."
            ),
            clause(
                "STI: speech transmission index by ",
                standard("sti"),
                "; the figure is reached by nine of ten seats, with the noise of the use.",
            ),
            clause(
                "Feedback margin: what is left before feedback once ",
                number(STABILITY_MARGIN_DB, "g", "dB", "constant", "stability margin"),
                " and the allowance for open microphones are taken off.",
            ),
        ),
    )


# ---- performance


def _performance(made):
    results = made.results.values()
    blocks = [
        clause(
            "In every use the finished system performs as ",
            To("levels"),
            ", ",
            To("areas"),
            ", ",
            To("microphones"),
            " and ",
            To("room"),
            " say, with that use's preset, people and noise. A different noise, or finishes other"
            " than those designed with, change what can be reached; the test plan allows for"
            " them.",
        ),
        clause(
            "Where a cell names a target that is not reached, this design misses that target and"
            " the school knows it. The figure before the parentheses, the design's own prediction,"
            " is then required."
        ),
        _levels(made),
        _areas(results),
        _microphones(results),
        _room(results),
        clause(
            "Reverberation depends on the building. Of ",
            To("room"),
            " the contractor answers for the treatment that is part of the bid, not for the"
            " finishes that are there.",
        ),
        *_short_of_feedback(results),
        clause(
            "The level at the loudest seat is a limit in any setting that operators can reach, not"
            " a goal."
        ),
    ]
    return Article(key="performance", title="Required performance", blocks=tuple(blocks))


def _levels(made):
    scenario, rows = made.scenario, []
    headroom = scenario.equipment.headroom_db
    for name, result in made.results.items():
        rows.append(
            (
                stated(name, "use", name, "name"),
                required_level(result, made.amplification),
                number(headroom, "g", "dB", "equipment", "headroom_db"),
                number(_noise(result), ".0f", "dB(A)", "noise", name),
                _seats_filled(result.use),
            )
        )
    return Table(
        key="levels",
        title="Level of speech",
        columns=(
            "use",
            "speech level, at least",
            "peaks above it",
            "with a noise of",
            "seats filled",
        ),
        rows=tuple(rows),
    )


def _seats_filled(use):
    """How full each area is designed to be."""
    words = []
    for area, share in use.occupied.items():
        words += [", ", stated(area, "area", use.name, area), " "]
        words.append(number(100 * share, ".0f", "%", "occupied", use.name, area))
    return tuple(words[1:]) or "nobody"


def _noise(result):
    return float(bands.a_weighted(result.noise_db))


def _areas(results):
    keys = [k for k, c in CRITERIA.items() if c.scope == "area" and k not in ON_PAPER]
    rows = []
    for result in results:
        use, found = result.use.name, {}
        for v in result.verdicts:
            if v.criterion in keys:
                found.setdefault(v.area, {})[v.criterion] = required(v, use)
        for area, cells in found.items():
            where = stated(use, "use", use, "name"), stated(area, "area", use, area)
            rows.append((*where, *(cells.get(k, "") for k in keys)))
    return Table(
        key="areas",
        title="Coverage and intelligibility",
        columns=("use", "listening area", *map(_head, keys)),
        rows=tuple(rows),
    )


def _head(key):
    c = CRITERIA[key]
    label = "Quietest seat below the mean" if key == "quietest" else c.label
    return Cited(f"{label}, {BOUND[c.better]}")


def _microphones(results):
    rows = [
        (
            stated(r.use.name, "use", r.use.name, "name"),
            stated(v.area, "verdict", r.use.name, v.criterion, v.area, "area"),
            required(v, r.use.name),
        )
        for r in results
        for v in r.verdicts
        if v.criterion == "feedback_margin"
    ]
    return Table(
        key="microphones",
        title="Feedback margin",
        columns=("use", "microphone", _head("feedback_margin")),
        rows=tuple(rows) or (("no use opens a microphone", "", ""),),
    )


def _short_of_feedback(results):
    """What a margin below zero means, where there is one."""
    margins = [v.value for r in results for v in r.verdicts if v.criterion == "feedback_margin"]
    if all(v >= 0 for v in margins):
        return []
    return [
        clause(
            "A feedback margin below zero: at the level of its use this microphone rings. It is"
            " turned down by as much, and the use is quieter by as much while it is open. The"
            " contractor says so in the training; it is no fault of the work."
        )
    ]


def _room(results):
    judged = {v.criterion for r in results for v in r.verdicts}  # without rays no echo is
    keys = [k for k, c in CRITERIA.items() if c.scope == "room" and k in judged - {*ON_PAPER}]
    rows = []
    for r in results:
        found = {v.criterion: v for v in r.verdicts if v.criterion in keys}
        cells = [_room_cell(found.get(k), r.use.name) for k in keys]
        rows.append((stated(r.use.name, "use", r.use.name, "name"), *cells))
    return Table(
        key="room",
        title="The gym as a whole",
        columns=("use", *map(_head, keys)),
        rows=tuple(rows),
    )


def _room_cell(verdict, use):
    if verdict is None:
        return ""
    if verdict.criterion == "loudest":  # of hearing: no prediction takes its place
        return (target(verdict, use),)
    return required(verdict, use)


# ---- duties


def _submittals():
    return Article(
        key="submittals",
        title="Submittals",
        blocks=(
            clause(
                "With the bid: the priced quantities, a list of makers and models offered, and for"
                " every loudspeaker type the figures of ",
                To("loudspeakers"),
                " and ",
                To("octaves"),
                " side by side with those offered.",
            ),
            clause(
                "Before ordering, at least ",
                practice("submittal_days"),
                " before an answer is needed: data sheets; directivity of every loudspeaker type"
                " as an ",
                standard("balloon"),
                " file or as polar plots in octaves; shop drawings of rack, plates, labels, cable"
                " routes and signal flow; AC power and heat of the rack.",
            ),
            clause(
                "Before anything is hung: drawings and calculations of the attachment, sealed by a"
                " structural engineer licensed where the school stands, and the maker's ratings of"
                " hanging points and hardware."
            ),
            clause(
                "Before acceptance: the filled entry sheet of the test plan, settings of every"
                " preset, and calibration certificates of the meters used."
            ),
            clause(
                "Substitution: any product with the required properties is acceptable. A"
                " loudspeaker whose coverage or directivity lies outside the limits of ",
                To("products"),
                " is acceptable only with a new prediction for every use that shows the required"
                " performance, paid for by the bidder.",
            ),
        ),
    )


def _qualifications():
    return Article(
        key="qualifications",
        title="Qualifications",
        blocks=(
            clause(
                "The installer has completed at least ",
                practice("experience"),
                " of this size with overhead loads over occupied floors, and names them.",
            ),
            clause(
                "Who sets up and measures has the instruments of ",
                To("acceptance"),
                " and experience with them.",
            ),
            clause(
                "Work follows the building, electrical, fire and accessibility codes that the"
                " authority having jurisdiction enforces; they come before this text."
            ),
        ),
    )


def _coordination():
    return Article(
        key="coordination",
        title="Coordination",
        blocks=(
            clause(
                "Structure: a licensed structural engineer designs and approves every attachment"
                " and confirms that the structure bears the loads. Nothing is hung before that."
            ),
            clause(
                "AC power: a licensed electrician provides circuits, receptacles and grounding at"
                " the rack, to the local code."
            ),
            clause(
                "Fire alarm: the fire-alarm contractor provides and connects the contact that mutes"
                " this system. This is not a life-safety system: it carries no emergency"
                " announcements, and the authority having jurisdiction decides what is required."
            ),
            clause(
                "Court: protect the floor. A lift has its load spread as the floor's maker allows;"
                " agree on hours with the school's calendar."
            ),
            clause(
                "Other trades: joists, lights, ducts, backboards, dividers and curtains that stand"
                " in the way of a loudspeaker or its sound are reported before hanging; nothing is"
                " moved without the designer."
            ),
            clause(
                "Wireless microphones: coordinate their frequencies with the school and with what"
                " is on the air there."
            ),
        ),
    )


def _warranty():
    return Article(
        key="warranty",
        title="Warranty",
        blocks=(
            clause(
                "Parts and labor for ",
                practice("warranty_months"),
                " from acceptance; makers' longer warranties pass to the school.",
            ),
            clause(
                "A fault that silences a use is attended to on site within ",
                practice("response_days"),
                ".",
            ),
            clause(
                "Once within ",
                practice("return_months"),
                " of acceptance, return during an event, hear it with the operator and adjust the"
                " presets.",
            ),
        ),
    )
