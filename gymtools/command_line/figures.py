"""``check``, ``evaluate`` and ``advise``: what a design is worth, printed."""

import csv
import io
import json

from ..acoustics.criteria import CRITERIA, WORDS
from ..acoustics.evaluate import evaluate
from ..acoustics.result import AllUses
from ..design.advice import advise, limit_sentence, sentence
from ..display.tables.verdicts import checks_text
from ..venue.files import load
from ..venue.refusals import lines_of
from ..venue.writing_files import write_file
from .arguments import (
    Refused,
    add_file,
    add_prices,
    add_use,
    example,
    file_to_write,
    prices_of,
    print_lines,
    text,
    use_names,
)
from .progress import Progress

COLUMNS = ("use", "verdict", "area", "what", "value", "target", "unit", "place", "why")


def add_commands(commands):
    """Add check, evaluate and advise.

    Parameters
    ----------
    commands : argparse subparsers
        Of the whole command line
    """
    command = commands.add_parser(
        "check",
        help="say what is wrong in a scenario file, or should be looked at",
        epilog=example("check scenarios/larkfield.toml"),
    )
    command.add_argument("scenarios", nargs="+", type=text, metavar="SCENARIO", help="files")
    command.set_defaults(run=_check)
    command = commands.add_parser(
        "evaluate",
        help="print every verdict with number, target and place, use by use, the worst first",
        epilog=example("evaluate scenarios/larkfield.toml --use game"),
    )
    command.add_argument("scenario", type=text, help="scenario file")
    add_use(command)
    form = command.add_mutually_exclusive_group()
    form.add_argument("--csv", type=text, metavar="FILE", help="write them as a table instead")
    form.add_argument("--json", action="store_true", help="print them as JSON instead")
    add_file(command, out=False)
    command.set_defaults(run=_evaluate)
    command = commands.add_parser(
        "advise",
        help="print what would help in a use, and what it costs elsewhere",
        epilog=example("advise scenarios/larkfield.toml --use game"),
    )
    command.add_argument("scenario", type=text, help="scenario file")
    add_use(command, "the first")
    add_prices(command)
    command.set_defaults(run=_advise)


def _check(given):
    refused = 0
    for path in given.scenarios:
        try:
            scenario = load(path)
        except (ValueError, OSError) as error:
            refused += 1
            print(*(" ".join(str(line).split()) for line in lines_of(error)), sep="\n")
            continue
        warnings = scenario.warnings
        print(f"{path}: ok{', to be looked at:' if warnings else '.'}")
        for warning in warnings:
            print_lines(warning, "  ")
    if refused:
        raise Refused


def _evaluate(given):
    scenario = load(given.scenario)
    names = use_names(scenario, given.use)
    table = given.csv and file_to_write(given.csv, "--csv", given.overwrite)
    results = {}
    with Progress("Following all rays") as progress:
        for n, name in enumerate(names, 1):
            results[name] = evaluate(scenario, name)
            results[name].verdicts  # echoes too: they take a while  # noqa: B018
            progress(n / len(names))
    rows = [_row(name, v, scenario.units) for name, v in _worst_first(results)]
    if table:
        written = io.StringIO()
        csv.writer(written).writerows([COLUMNS, *([r[c] for c in COLUMNS] for r in rows)])
        write_file(table, written.getvalue(), overwrite=given.overwrite)
        print(f"{len(rows)} verdicts are in {table}.")
    elif given.json:
        print(json.dumps(rows, indent=1, ensure_ascii=False))
    else:
        _print_verdicts(AllUses(scenario=scenario, results=results))


def _worst_first(results):
    """(use, Verdict): use by use, the worst first."""
    for name, result in results.items():
        for verdict in sorted(result.verdicts, key=_badness):
            yield name, verdict


def _badness(verdict):
    """The worst word first, then what is furthest off its target."""
    steps = CRITERIA[verdict.criterion].steps(verdict.value, verdict.target)
    return -WORDS.index(verdict.word), steps


def _row(use, verdict, units):
    """A verdict as a row of a table."""
    criterion = CRITERIA[verdict.criterion]
    return {
        "use": use,
        "verdict": verdict.word,
        "area": verdict.area or "the gym",
        "what": criterion.label,
        "value": round(float(verdict.value), 3),
        "target": round(float(verdict.target), 3),
        "unit": verdict.unit,
        "place": verdict.place,
        "why": criterion.sentence(verdict, units),
    }


def _print_verdicts(all_uses):
    units, last = all_uses.scenario.units, None
    print(f"{all_uses.scenario.name}: worst verdict of these uses: {all_uses.word}.")
    for name, v in _worst_first(all_uses.results):
        if name != last:
            print(f"\n{name}: {checks_text(all_uses.results[name].verdicts)}.")
            last = name
        criterion = CRITERIA[v.criterion]
        where = v.area or "the gym"
        words = criterion.sentence(v, units)
        place = f"; worst: {v.place}" if v.place and v.place not in words else ""
        print_lines(f"{v.word}: {criterion.label}, {where}: {words}{place}", "  ")


def _advise(given):
    scenario = load(given.scenario)
    (use, *_) = use_names(scenario, given.use)
    prices = prices_of(given.prices)
    with Progress(f"Trying moves for '{use}'") as progress:
        advice = advise(scenario, use, prices=prices, progress=progress)
    if not advice:
        print(f"{use}: every target is met.")
    for one in advice:
        criterion = CRITERIA[one.verdict.criterion]
        where = f", {one.verdict.area}" if one.verdict.area else ""
        words = criterion.sentence(one.verdict, scenario.units)
        print_lines(f"{use}: {criterion.label}{where} {one.verdict.word}: {words}")
        for proposal in one.proposals:
            print_lines(f"{sentence(proposal)}.", "  ")
        if one.limit is not None:
            print_lines(limit_sentence(one.limit), "  ")
