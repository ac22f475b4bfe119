"""Why an option is recommended, in words without decibels: letter and record say the same."""

from ..equipment.prices import money
from .losses import served

MOST_COMPARED = 3  # uses or troubles that are named
# what a miss means to those who sit there, by what ``losses`` calls it
TROUBLES = {
    "sti": "Words are hard to follow",
    "speech_to_noise": "The voice does not stand out from the noise",
    "arrival_spread": "Two loudspeakers are heard one after the other",
    "in_sight": "No loudspeaker is in sight, so that the voice sounds dull",
    "even": "Some seats are clearly louder than others",
    "feedback_margin": "A microphone may howl when it is turned up as far as is needed",
    "loudest": "It is too loud near a loudspeaker",
    "rt": "The gym rings too long after every word",
    "echo": "An echo may be heard",
}


def clear_shares(results):
    """Share of those who listen for whom words are clear, use by use.

    Parameters
    ----------
    results : dict
        Evaluations by use

    Returns
    -------
    shares : dict
        By use, 0 to 1; areas count as much as they do in the use
    """
    shares = {}
    for use, result in results.items():
        clear = {name: float((found == 0).mean()) for name, found in served(result).items()}
        weights = result.weights
        shares[use] = sum(weights[n] * clear[n] for n in clear) / sum(weights[n] for n in clear)
    return shares


def plain_reason(offered):
    """What the recommended option gives that the cheapest of the others does not, and for whom.

    Parameters
    ----------
    offered : sequence of Offered
        The recommended one first, and at least one more

    Returns
    -------
    sentences : str
        Proposed from the figures: the designer's own reason takes its place
    """
    first, other = offered[0], min(offered[1:], key=lambda o: o.quote.total)
    ours, theirs = clear_shares(first.results), clear_shares(other.results)
    more = {u: 100 * (ours[u] - theirs[u]) for u in ours if u in theirs}
    gained = [u for u in sorted(more, key=more.get, reverse=True) if round(more[u]) > 0]
    name, said = f"option {other.name}", []
    if gained:
        words = [
            f"{100 * ours[u]:.0f} of 100 who listen in {u} (with {name}: {100 * theirs[u]:.0f})"
            for u in gained[:MOST_COMPARED]
        ]
        said.append(f"It makes words clear for {listed(words)}.")
    elif other.loses_against(first):
        troubles = dict.fromkeys(TROUBLES[after.what] for _, after in other.loses_against(first))
        words = [f"{t[:1].lower()}{t[1:]}" for t in list(troubles)[:MOST_COMPARED]]
        said.append(f"It spares some listeners what {name} brings: {'; '.join(words)}.")
    else:
        said.append(f"Nobody hears better with it than with {name}, as far as we looked.")
    less = first.quote.price - other.quote.price
    if less:
        amount = money(abs(less), first.quote.currency)
        said.append(
            f"It costs {amount} {'more' if less > 0 else 'less'} than {name}, reserve included."
        )
    return " ".join(said)


def listed(words):
    """Words with commas and an "and".

    Parameters
    ----------
    words : sequence of str
        Any number

    Returns
    -------
    text : str
        Empty for none
    """
    return " and ".join(filter(None, (", ".join(words[:-1]), *words[-1:])))
