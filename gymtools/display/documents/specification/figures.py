"""Figures of a specification, each taken from one place of the design and naming it; customary
values that no design gives; the standards that are cited.
"""

from types import MappingProxyType

from ....acoustics.criteria import CRITERIA
from ....equipment.amplification import PEAK
from ....equipment.hanging import POUND
from ....equipment.loudness import loudness
from ....equipment.schedules import schedules
from ....physics import bands
from ....venue.units import area_text
from .clauses import Cited, Figure

# what a contract sets and no design computes: value, form, unit    common practice, no source
PRACTICE = MappingProxyType(
    {
        "angle_pct": (10, "±{} %"),
        "sensitivity_db": (1, "{} dB"),
        "directivity_db": (1, "±{} dB"),
        "aim_deg": (1, "±{}°"),
        "questions_days": (7, "{} days"),
        "submittal_days": (14, "{} days"),
        "experience": (3, "{} systems"),
        "warranty_months": (12, "{} months"),
        "response_days": (2, "{} school days"),
        "training_hours": (4, "{} hours"),
        "training_sessions": (2, "{} sessions"),
        "return_months": (3, "{} months"),
        "spare_receivers_pct": (5, "{} %"),
    }
)
# from memory, but for the sections of the ADA Standards, which were read
STANDARDS = MappingProxyType(
    {
        "receivers": "2010 ADA Standards for Accessible Design, section 219.3 and Table 219.3",
        "receiver": "2010 ADA Standards for Accessible Design, sections 706.2 to 706.6",
        "sign": "2010 ADA Standards for Accessible Design, section 216.10",
        "sti": "IEC 60268-16",
        "meter": "IEC 61672-1, class 1 or 2",
        "decay": "ISO 3382-2",
        "in situ": "NT ACOU 108",
        "balloon": "AES69",
    }
)
LENGTHS = {"m": (0.05, "[±5 cm]"), "ft": (0.0508, "[±2 in]")}  # of a position [m]


def practice(key):
    """A customary value, in brackets.

    Parameters
    ----------
    key : str
        Of ``PRACTICE``

    Returns
    -------
    figure : Figure
        For the school to confirm
    """
    value, form = PRACTICE[key]
    return Figure(value=value, text=f"[{form.format(value)}]", source=("practice", key))


def standard(key):
    """Title of a standard.

    Parameters
    ----------
    key : str
        Of ``STANDARDS``

    Returns
    -------
    title : Cited
        With its clauses
    """
    return Cited(STANDARDS[key])


def stated(text, *source):
    """A name or a text of the design.

    Parameters
    ----------
    text : str
        As it stands there
    source : str or int
        Where it stands

    Returns
    -------
    figure : Figure
        Of that text
    """
    return Figure(value=text, text=str(text), source=source)


def number(value, form, unit, *source):
    """A number of the design.

    Parameters
    ----------
    value : float
        As it stands there [unit]
    form : str
        Of ``format``, e.g. ".1f"
    unit : str
        Behind it; "" for none
    source : str or int
        Where it stands

    Returns
    -------
    figure : Figure
        Number and unit
    """
    space = "" if unit == "°" else " "
    return Figure(value=value, text=f"{value:{form}}{space}{unit}".rstrip(), source=source)


def mass(kilograms, *source):
    """A mass in both units.

    Parameters
    ----------
    kilograms : float
        Mass [kg]
    source : str or int
        Where it stands

    Returns
    -------
    figure : Figure
        Kilograms and pounds
    """
    text = f"{kilograms:.3g} kg ({kilograms / POUND:.0f} lb)"
    return Figure(value=kilograms, text=text, source=source)


def target(verdict, use):
    """What a verdict's criterion asks for.

    Parameters
    ----------
    verdict : Verdict
        Of ``use``
    use : str
        Name of the use

    Returns
    -------
    figure : Figure
        With its unit
    """
    return _of_verdict(verdict, use, "target")


def predicted(verdict, use):
    """What the evaluation gives for a verdict's criterion.

    Parameters
    ----------
    verdict : Verdict
        Of ``use``
    use : str
        Name of the use

    Returns
    -------
    figure : Figure
        With its unit
    """
    return _of_verdict(verdict, use, "value")


def _of_verdict(v, use, what):
    value = getattr(v, what)
    text = CRITERIA[v.criterion].text(value)
    return Figure(value=value, text=text, source=("verdict", use, v.criterion, v.area, what))


def required(verdict, use):
    """What the contract asks for: the target, or the prediction where the design does not reach it.

    Parameters
    ----------
    verdict : Verdict
        Of ``use``
    use : str
        Name of the use

    Returns
    -------
    cell : tuple
        Words; the target that is not reached stands in parentheses
    """
    if verdict.meets:
        return (target(verdict, use),)
    return predicted(verdict, use), " (target ", target(verdict, use), ", not reached)"


def required_level(result, amplification):
    """Mean speech level that the contract asks for in a use.

    Parameters
    ----------
    result : Result
        Evaluation of the use
    amplification : Amplification
        What drives the loudspeakers

    Returns
    -------
    cell : tuple
        Words; the use's level stands in parentheses where the design does not reach it
    """
    x = loudness(result, amplification)
    wanted = number(x.target_dba, "g", "dB(A)", "use", x.use, "target_dba")
    reach = number(x.reach_dba, ".1f", "dB(A)", "loudness", x.use, "reach_dba")
    if x.word == "meets":
        return (wanted,)
    return reach, " (target ", wanted, ", not reached)"


def highest_db(kind):
    """Highest level of a loudspeaker type in short peaks, 1 m ahead, mean of 500 Hz to 4 kHz.

    Parameters
    ----------
    kind : LoudspeakerType
        The type

    Returns
    -------
    level_db : float
        Sensitivity and the peaks that its rated power allows, without compression [dB]
    """
    own = sum(kind.sensitivity_db[bands.SPEECH]) / len(kind.sensitivity_db[bands.SPEECH])
    return float(own + bands.to_level(PEAK * kind.rated_w))


def schedule_titles(made):
    """Titles of the schedules by their number.

    Parameters
    ----------
    made : Parts
        Of ``equipment.schedules.parts``

    Returns
    -------
    titles : dict
        Number, from 1, by title; the bill has prices and is not cited
    """
    found = {s.title: n for n, s in enumerate(schedules(made), 1)}
    return {title: n for title, n in found.items() if title != "Bill"}


def cited_schedule(titles, title):
    """How a schedule is cited.

    Parameters
    ----------
    titles : dict
        Of ``schedule_titles``
    title : str
        Of one of them

    Returns
    -------
    words : Cited
        Number and title
    """
    return Cited(f"Schedule {titles[title]} ({title})")


def area_figure(scenario, area, *source):
    """An area in the school's units.

    Parameters
    ----------
    scenario : Scenario
        Whose units
    area : float
        Area [m2]
    source : str or int
        Where it stands

    Returns
    -------
    figure : Figure
        To the whole unit
    """
    return Figure(value=area, text=area_text(area, scenario.units), source=source)
