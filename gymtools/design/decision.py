"""A decision as it was made: the options, the one chosen, why each other was not, and all that it
rests on.
"""

from dataclasses import dataclass
from importlib import metadata
from pathlib import Path
from platform import python_version

from ..equipment.prices import PriceBook, book_name
from ..equipment.schedules import Parts, parts
from ..physics.tracing import present_engine
from ..venue.arguments import kind_of
from ..venue.files import load
from ..venue.reading_files import one_line
from .arrangements import arrange
from .comparing import chosen_first
from .fingerprints import LIBRARIES, contents, digest, package, prices_of
from .offer import priced
from .options import HEADLINES, Option, dominated_by, option
from .plain_names import plain_names
from .uncertainty import how_sure

DRAWS, SEED = 100, 1  # of the uncertainty
ENGINES = {"compiled": "machine code", "arrays": "arrays"}  # what follows the rays


@dataclass(frozen=True, kw_only=True, eq=False)
class Decision:
    """Everything that a record shows, computed once."""

    options: tuple  # Option, the chosen one first
    parts: Parts  # of the chosen one
    results: dict  # evaluations of the chosen one by use
    uncertainty: dict  # by use
    reasons: dict  # why each of the others was not chosen, sentences by name
    inputs_hash: str  # of all that the figures come from
    versions: dict
    prices: str  # name of the price book
    offered: tuple  # Offered of each option, in their order
    draws: int  # of the uncertainty

    @property
    def chosen(self):
        """The option that was chosen (Option)."""
        return self.options[0]

    @property
    def quotes(self):
        """Quote of each option, in their order (tuple of Quote)."""
        return tuple(o.quote for o in self.offered)


def option_names(files, arrangements=()):
    """Names of options: those of their files, and the keys of arrangements.

    Parameters
    ----------
    files : sequence of str or Path
        Scenario files
    arrangements : sequence of str
        Keys of ``design.arrangements.ARRANGEMENTS``

    Returns
    -------
    names : list of str
        In this order

    Raises
    ------
    ValueError
        Two of them have one name, so that one would take the other's place
    """
    files, arrangements = [Path(f) for f in files], list(arrangements)
    names = [*(f.stem for f in files), *arrangements]
    for n, name in enumerate(names):
        if name in names[:n]:
            asked = "Give their files other names"
            if n >= len(files):
                asked = "Name the arrangement once, and give the file another name"
            raise ValueError(f"two options are called '{one_line(name)}'. {asked}.")
    return names


def options_of(files, arrangements=()):
    """Options from scenario files, and from other layouts of the first of them.

    Parameters
    ----------
    files : sequence of str or Path
        Scenario files, that of the chosen option first
    arrangements : sequence of str
        Keys of ``design.arrangements.ARRANGEMENTS``

    Returns
    -------
    options : dict
        Scenario by name, for ``decide``

    Raises
    ------
    ValueError
        Two of them have one name; a file cannot be read; a layout cannot be built
    """
    names, loaded = option_names(files, arrangements), [load(f) for f in files]
    made = [*loaded, *(arrange(loaded[0], key) for key in arrangements)]
    return dict(zip(names, made, strict=True))


def titled(options, titles):
    """Options by names that their readers know.

    Parameters
    ----------
    options : dict
        Scenario by name, of ``options_of``
    titles : sequence of str
        In their order; those left out are called by how their loudspeakers hang

    Returns
    -------
    options : dict
        The same scenarios in the same order

    Raises
    ------
    ValueError
        There are more titles than options, one is empty, or two are the same
    """
    if len(titles) > len(options):
        raise ValueError(f"{len(titles)} names for {len(options)} options. Give one for each.")
    if not all(title.strip() for title in titles):
        raise ValueError("the name of an option is empty. Write one, or leave it out.")
    left = dict(list(options.items())[len(titles) :])
    names = [*titles, *plain_names(left, titles)]
    for n, name in enumerate(names):
        if name in names[:n]:
            raise ValueError(f"two options are called '{one_line(name)}'. Give them other names.")
    return dict(zip(names, options.values(), strict=True))


def decide(options, chosen=None, *, prices=None, draws=DRAWS, progress=None, stop=None):
    """Put a decision together.

    Parameters
    ----------
    options : dict
        Scenario by the name of each option
    chosen : str, optional
        Name of the one that is chosen; the first when left out
    prices : PriceBook, optional
        The package's invented one when left out
    draws : int
        As for ``how_sure`` [-]
    progress : callable, optional
        Called with the share that is done, 0 to 1
    stop : callable, optional
        Asked between two steps (a use of an option evaluated, a use drawn); when it answers true
        the decision is given up

    Returns
    -------
    decision : Decision or None
        The same options give the same decision; None when it was stopped

    Raises
    ------
    ValueError
        There are no options, or the chosen one is none of them; they are of different gyms; prices
        of another kind, or without something that an option needs
    """
    names = chosen_first(options, chosen)
    if prices is not None:
        kind_of("prices", prices, PriceBook, "Give what read_prices(path) returns.")
    scenario, made, offered, uncertainty = options[names[0]], [], [], {}
    stop, uses = stop or (lambda: False), sum(len(s.uses) for s in options.values())
    step = _steps(uses + len(scenario.uses), progress or (lambda _: None), stop)
    first = None
    for name in names:
        own = parts(options[name], prices=prices, stop=lambda: not step())
        if own is None:
            return None
        made.append(option(name, options[name], prices=prices, made=own))
        offered.append(priced(name, own, prices))
        first = first or own
    for name, result in first.results.items():
        uncertainty[name] = how_sure(
            scenario, name, draws=draws, seed=SEED, stop=stop, result=result
        )
        if not step():
            return None
    return Decision(
        options=tuple(made),
        parts=first,
        results=first.results,
        uncertainty=uncertainty,
        versions=_versions(),
        reasons={o.name: reasons(made[0], o) for o in made[1:]},
        inputs_hash=_hash({n: options[n] for n in names}, prices, draws),
        prices=book_name(prices),
        offered=tuple(offered),
        draws=draws,
    )


def _steps(count, progress, stop):
    """A function that counts one step done whenever it is called, and says whether to go on."""
    done = 0

    def step():
        nonlocal done
        done += 1
        progress(done / count)
        return not stop()

    return step


def _hash(options, prices, draws):
    """Hash of all that the figures come from; the chosen option is the first."""
    read = [(name, contents(scenario)) for name, scenario in options.items()]
    return digest((read, prices_of(prices), draws, SEED, package()))


def _versions():
    """Versions of what computed the figures."""
    found = {"gymtools": metadata.version("gymtools"), "Python": python_version()}
    found |= {name: metadata.version(name) for name in (*LIBRARIES, "plotly")}
    return found | {"the room is computed in": ENGINES[present_engine()]}


def reasons(chosen: Option, other: Option):
    """Why one option was not chosen, from the figures of both.

    Parameters
    ----------
    chosen : Option
        The one that was chosen
    other : Option
        One that was not

    Returns
    -------
    sentences : list of str
        What it is worse in, what it is better in, and whether the chosen one betters it in
        everything
    """
    worse, better = _compared(chosen, other)
    found = []
    if worse:
        found.append(f"It is worse in {'; '.join(worse)}.")
    if better:
        found.append(f"It is better in {'; '.join(better)}.")
    if not worse and not better:
        found.append("Its figures, rounded as shown, equal those of the chosen one.")
    if dominated_by(other.headlines, {chosen.name: chosen.headlines}):
        found.append("The chosen one is at least as good in every figure.")
    elif better and not worse:
        found.append(
            "No figure speaks against it: the choice rests on something else, which belongs into"
            " the designer's own reason."
        )
    return found


def proposed_reason(options):
    """Why the chosen option may have been chosen, as far as its figures say.

    Parameters
    ----------
    options : sequence of Option
        The chosen one first

    Returns
    -------
    sentences : list of str
        What it is best in, and what it is worse in
    """
    chosen, *others = options
    if not others:
        return ["It is the only option on record, so the figures compare it with nothing."]
    best, worse = [], []
    for h in HEADLINES:
        compared = [o for o in others if None not in (o.headlines[h.key], chosen.headlines[h.key])]
        if not compared:
            continue
        leader = max(compared, key=lambda o: h.better * o.headlines[h.key])
        gain = h.better * (chosen.headlines[h.key] - leader.headlines[h.key])
        said = f"{h.words} ({_figure(h, chosen)}; {leader.name}: {_figure(h, leader)})"
        if gain:
            (best if gain > 0 else worse).append(said)
    words = []
    if best:
        words.append(f"Of the {len(options)} options it is best in {'; '.join(best)}.")
    if worse:
        words.append(f"It is worse in {'; '.join(worse)}.")
    return words or ["No figure of it, rounded as shown, differs from the best of the others."]


def _figure(headline, option):
    """A headline figure with its unit or currency."""
    value = headline.text(option.headlines[headline.key], option.currency)
    return f"{value} {headline.unit}".rstrip()


def _compared(chosen, other):
    """What an option is worse and better in, in words."""
    worse, better = [], []
    for h in HEADLINES:
        a, b = chosen.headlines[h.key], other.headlines[h.key]
        if None in (a, b) or a == b:
            continue
        words = f"{h.words}: {_figure(h, other)}, against {_figure(h, chosen)}"
        (better if (b - a) * h.better > 0 else worse).append(words)
    return worse, better
