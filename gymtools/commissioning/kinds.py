"""The nine kinds of test, in the order in which they are read.

Plan on paper, entry sheet, expectation, diagnosis and report read this table. Beside its entry, a
tenth kind needs

- its prediction and how far off it may be, in ``expected``;
- its readings and where they are taken, in ``plan.plan``;
- a test in ``diagnosis.TESTS``, unless one of those there does, or none is wanted;
- how its octaves become one number, in ``comparison.compare``, when it is read in octaves;
- a check in ``comparison.compare``, when it measures a criterion.
"""

from types import MappingProxyType

from . import expected
from .readings import Deviation, ReadingKind

# standard deviations of a reading taken again    judgment, no source, but for the STI: repeated
# STIPA readings spread by 0.02 to 0.03 (IEC 60268-16, from memory)
READ_DB, READ_MS, READ_STI = 1.0, 1.0, 0.02
RINGING_DB = 1.2  # of the mean of three tries

_TABLE = (
    # instructions: practice after NT ACOU 108:2001, ISO 3382-2:2008, IEC 60268-16:2020 annex B
    # spreads: judgment, no source, where it does not say otherwise
    # times: common practice, no source; two people, one at the rack and one at the meter
    ReadingKind(
        key="ambient",
        label="Ambient noise",
        unit="dB",
        shown_unit="dB",
        digits=1,
        octaves=True,
        limits=(-20, 120),
        slip="Not dB?",
        how=(
            "Everything off but the ventilation as in use. Energy mean over 30 s or more, in"
            " octaves."
        ),
        minutes=2,
        set_up_minutes=0,
        expected=expected.no_expectation,
        spread=expected.fixed_spread(reading=0.0, model=0.0),
        diagnosis="",
    ),
    ReadingKind(
        key="reverberation",
        label="Reverberation time",
        unit="s",
        shown_unit="s",
        digits=2,
        octaves=True,
        limits=(0.05, 30),
        slip="Milliseconds?",
        how=(
            "Gym empty. A source that radiates all round (or a burst) at the source's position;"
            " T20 in octaves, mean of three decays. Note T30 too where it differs by more than"
            " 10 %."
        ),
        minutes=3,
        set_up_minutes=6,
        expected=expected.reverberation_time,
        spread=expected.spread_of_decays,
        diagnosis="decay",
    ),
    ReadingKind(
        key="alone",
        label="Level of each loudspeaker alone",
        unit="dB",
        shown_unit="dB(A)",
        digits=1,
        octaves=True,
        dba=True,
        limits=(0, 140),
        slip="Not dB re 20 µPa?",
        how=(
            "Pink noise into this loudspeaker's channel alone: mute the other channels at the"
            " processor. Nobody climbs or opens a terminal: loudspeakers that share the channel"
            " sound too, and the prediction counts them. The same setting for all channels: the"
            " first reads about 75 dB(A). Energy mean over 10 s or more; in octaves, or dB(A)"
            " alone (only octaves show a dead driver)."
        ),
        repeats=READ_DB,
        minutes=1.5,
        set_up_minutes=3,
        expected=expected.level_alone,
        spread=expected.fixed_spread(reading=READ_DB, model=expected.LOCAL_DB),
        diagnosis="levels alone",
    ),
    ReadingKind(
        key="polarity",
        label="Polarity",
        unit="outward + or inward -",
        shown_unit="",
        digits=0,
        octaves=False,
        limits=(-1, 1),
        slip="",
        how=(
            "Polarity tester, its pulse into this loudspeaker's channel alone. Stand under the"
            " loudspeaker: where others share its channel, the first to arrive is the one above."
            " Write + (or out, ok) when the first move is outward, - (or in) when it is inward,"
            " none when the loudspeaker is silent."
        ),
        minutes=1,
        set_up_minutes=3,
        expected=expected.polarity,
        spread=expected.fixed_spread(reading=0.1, model=0.0),
        diagnosis="polarity",
    ),
    ReadingKind(
        key="level",
        label="Level",
        unit="dB",
        shown_unit="dB(A)",
        digits=1,
        octaves=True,
        dba=True,
        limits=(0, 140),
        slip="Not dB re 20 µPa?",
        how=(
            "Pink noise into all groups of this preset, limiters not working. Turn up until the"
            " first position reads 80 dB(A), then do not touch it. Energy mean over 10 s or"
            " more, at ear height; in octaves, or dB(A) alone."
        ),
        repeats=READ_DB,
        minutes=1,
        set_up_minutes=0,
        expected=expected.level,
        spread=expected.fixed_spread(reading=READ_DB, model=expected.LOCAL_DB),
        diagnosis="levels",
    ),
    ReadingKind(
        key="sti",
        label="Speech intelligibility (STI)",
        unit="STI",
        shown_unit="",
        digits=2,
        octaves=False,
        limits=(0, 1),
        slip="Percent? STI goes from 0 to 1.",
        how=(
            "STIPA signal at the level of speech in this use. 15 to 25 s; twice, three times"
            " where the two differ by more than 0.03. Nobody speaks."
        ),
        repeats=READ_STI,
        minutes=1.5,
        set_up_minutes=0,
        expected=expected.speech_intelligibility,
        # the model was measured against traced gyms
        spread=expected.fixed_spread(reading=READ_STI, model=0.026),
        diagnosis="mean",
        deviation=Deviation(
            unit="",
            words=(
                "speech intelligibility (STI) in {use} is {amount} {higher} than predicted,"
                " mean of {count} {positions}: check the reverberation, the noise and the"
                " equalizer"
            ),
        ),
    ),
    ReadingKind(
        key="arrival",
        label="Arrival time",
        unit="ms",
        shown_unit="ms",
        digits=0,
        octaves=False,
        limits=(-1000, 1000),
        slip="Seconds or samples?",
        how=(
            "Test pulses or sweeps into one group or channel at a time, the others muted, delays as"
            " set. Write the time by which this one arrives after the one it is compared with;"
            " minus when it arrives first."
        ),
        repeats=READ_MS,
        minutes=3,
        set_up_minutes=0,
        expected=expected.arrival,
        spread=expected.fixed_spread(reading=READ_MS, model=1.0),
        diagnosis="delay",
    ),
    ReadingKind(
        key="feedback margin",
        label="Feedback margin (gain before feedback)",
        unit="dB",
        shown_unit="dB",
        digits=1,
        octaves=False,
        limits=(-20, 80),
        slip="Not dB?",
        how=(
            "The system is rung out. Only this microphone open, at the position, at its working"
            " gain. Raise it slowly until it just rings, then go back at once; three times, write"
            " the mean of the three. Wear hearing protection; keep one hand on the control."
        ),
        repeats=RINGING_DB,
        minutes=4,
        set_up_minutes=0,
        expected=expected.gain_until_ringing,
        spread=expected.fixed_spread(reading=RINGING_DB, model=3.0),
        diagnosis="",
    ),
    ReadingKind(
        key="maximum level",
        label="Highest clean level",
        unit="dB(A)",
        shown_unit="dB(A)",
        digits=1,
        octaves=False,
        limits=(20, 140),
        slip="Not dB(A)?",
        how=(
            "STIPA signal or speech noise at the position, raised until a limiter shows or it"
            " sounds rough; write the last clean reading. Wear hearing protection; nobody stays"
            " under the loudspeakers."
        ),
        repeats=READ_DB,
        minutes=4,
        set_up_minutes=0,
        expected=expected.highest_clean_level,
        spread=expected.fixed_spread(reading=READ_DB, model=1.5),
        diagnosis="mean",
        deviation=Deviation(
            unit="dB",
            words=(
                "in {use} the system reaches {amount} {more} than predicted: check limiters,"
                " gain structure, taps and amplifiers"
            ),
        ),
    ),
)
KINDS = MappingProxyType({kind.key: kind for kind in _TABLE})
# kinds in keys of sheets filled before they had the trade's names
OLD_KEYS = {"clarity": "sti", "spare": "feedback margin", "reach": "maximum level"}


def kind_of(key):
    """One of the nine kinds of test.

    Parameters
    ----------
    key : str
        Of ``KINDS``

    Returns
    -------
    kind : ReadingKind
        Its entry in the table

    Raises
    ------
    ValueError
        There is no kind of that name
    """
    if key not in KINDS:
        raise ValueError(f"'{key}' is no kind of test. There are: {', '.join(KINDS)}.")
    return KINDS[key]


def present_key(key):
    """Key of a reading as it is written today.

    Parameters
    ----------
    key : str
        Of today or of an older sheet

    Returns
    -------
    key : str
        Of today; a key that begins with a kind of today is left as it is
    """
    known = [k for k in (*KINDS, *OLD_KEYS) if f"{key} ".startswith(f"{k} ")]
    kind = max(known, key=len, default="")  # "sti index" before "sti"
    return key if kind in KINDS or not kind else OLD_KEYS[kind] + key.removeprefix(kind)
