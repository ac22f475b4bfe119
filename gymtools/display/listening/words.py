"""Words beside what is heard: its figures, and what to listen for."""

from ...acoustics.listening import BACKGROUNDS

HEARD_DB = 1.0  # a difference of level that most listeners hear [dB]    common practice, no source
HEARD_STI = 0.03  # just noticeable difference of the STI [-]    Bradley, Reich and Norcross 1999
WAVES_DB = 1.0  # from here on the sum of waves is told apart from the sum of energies [dB]
BLIND = (
    "Listen to the ends of words (t, k, s), to the gaps between them, and to where the voice comes"
    " from. Then say which is clearer: what is what is told afterwards."
)
LISTEN_FOR = {  # by the key of a version that is compared, the first that is there
    "ring": (
        "Listen to the end of each word: the nearer to feedback, the longer one pitch hangs on. It"
        " is heard best in a quiet gym, and the level is what the microphone then allows."
    ),
    "no delays": (
        "Listen for a doubled or hollow voice, and for where it comes from: without the delays the"
        " loudspeaker that stands nearest speaks first."
    ),
    "full": "Listen whether you can follow the words over the crowd without knowing them.",
    "quiet": "Listen whether the noise covers the ends of words (t, k, s).",
    "treated": "Listen to the gaps between words: how long does a word hang on under the next one?",
    "untreated": (
        "Listen to the gaps between words: how long does a word hang on under the next one?"
    ),
}


def figures(heard, how):
    """What is heard, in figures.

    Parameters
    ----------
    heard : Heard
        Of ``listen``
    how : Listening
        How it was listened to

    Returns
    -------
    text : str
        Level, noise and STI
    """
    around = BACKGROUNDS[how.background]
    if how.background != "quiet":
        around = f"{around} {heard.noise_dba:.0f} dB(A)"
    sti = "" if heard.sti is None or heard.kind != "speech" else f", STI {heard.sti:.2f}"
    return f"{heard.kind} {heard.speech_dba:.0f} dB(A), {around}{sti}"


def summed(heards):
    """A sentence on levels that differ from the board's because waves sum, not energies.

    Parameters
    ----------
    heards : sequence of Heard
        What is compared

    Returns
    -------
    sentence : str
        Empty where none differs by 1 dB
    """
    said = [
        f"{n} is {abs(h.summed_db):.0f} dB {'louder' if h.summed_db > 0 else 'softer'}"
        for n, h in enumerate(heards, 1)
        if abs(h.summed_db) >= WAVES_DB
    ]
    if not said:
        return ""
    return (
        f"{' and '.join(said)} here than on the board: at one seat the sound of several"
        " loudspeakers builds up or cancels, and a step aside it does otherwise; the board has the"
        " mean."
    )


def listen_for(keys, heards):
    """What to listen for.

    Parameters
    ----------
    keys : sequence of str
        Of the versions, in their order
    heards : sequence of Heard
        What is heard of each

    Returns
    -------
    text : str
        A sentence or two
    """
    if heards and heards[0].kind != "speech":
        return "Listen to the beginning of each note, and to how long the last one hangs on."
    for key, text in LISTEN_FOR.items():
        if any(k.split(" ")[0] == key or k == key for k in keys):
            return text
    if len(heards) < 2:
        return "Listen to the ends of words (t, k, s) and to the gaps between them."
    return " ".join(_difference(heards[0], h, n) for n, h in enumerate(heards[1:], 2))


def _difference(first, other, number):
    """What tells another from the first."""
    louder = other.speech_dba - first.speech_dba
    said = []
    if abs(louder) >= HEARD_DB:
        word = "louder" if louder > 0 else "softer"
        said.append(f"{number} is {abs(louder):.0f} dB {word} than 1.")
    if None not in (first.sti, other.sti) and abs(other.sti - first.sti) >= HEARD_STI:
        better, worse = (number, 1) if other.sti > first.sti else (1, number)
        said.append(f"{better} should be clearer than {worse}: listen to the ends of words.")
    if not said:
        said.append(f"By the figures hardly anybody hears 1 and {number} apart: try it blind.")
    return " ".join(said)
