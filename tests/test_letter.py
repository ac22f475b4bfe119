"""The letter to the school: plain words, what one option loses against another counted by hand,
names and dates only as given, two pages of the school's paper.
"""

import datetime
import re
from dataclasses import replace
from functools import partial
from types import SimpleNamespace

import numpy as np
import pytest
from browser import FLAGS, browser_path
from playwright.sync_api import sync_playwright
from schools import SCENARIOS

from gymtools.acoustics.criteria import CRITERIA
from gymtools.command_line import documents as command_line
from gymtools.command_line.entry import main
from gymtools.design import offer as offer_module
from gymtools.design.decision import titled
from gymtools.design.losses import FAILS, Standing, losses, newly, served, standings
from gymtools.design.offer import offer
from gymtools.design.plain_names import plain_names
from gymtools.display.charts.seat_plan import counts_sentence
from gymtools.display.documents import letter as letter_module
from gymtools.display.documents.letter import letter_html, write_letter
from gymtools.display.documents.page import quoted
from gymtools.display.drawing.judging import judged
from gymtools.display.panel import options as options_panel
from gymtools.display.panel.meeting import Meeting
from gymtools.display.scene import View
from gymtools.equipment import schedules as schedules_module
from gymtools.equipment.bill import cost
from gymtools.equipment.prices import PriceBook, example_prices, money
from gymtools.equipment.schedules import parts
from gymtools.venue.files import save
from gymtools.venue.paths import changed

DOVECOTE = SCENARIOS["dovecote"]
FEW = replace(DOVECOTE, uses=(DOVECOTE.uses[0], DOVECOTE.uses[2]))  # game and assembly
# one loudspeaker over the bleachers in place of two
CHEAPER = changed(FEW, {("groups", "wall pair", "number"): 1})
HOSTILE = '<script>alert("x")</script> & co'
JARGON = (
    r"\bdB\b|decibel|\bSTI\b|k?Hz\b|intelligib|reverberat|feedback|coverage|\bSPL\b|octave"
    r"|downtilt|\bdelay|criteri|\bohm|dispersion|frequenc|amplification|equaliz"
)


def told(html):
    """Text of a page without its style."""
    return re.sub(r"<[^>]+>", " ", re.sub(r"<style>.*?</style>", "", html, flags=re.S))


@pytest.fixture(scope="module")
def offered():
    return offer({"A": FEW, "B": CHEAPER}, rays="few")


@pytest.fixture(scope="module")
def in_feet(offered):
    """The same in a school that writes feet."""
    return tuple(replace(o, scenario=replace(o.scenario, units="ft")) for o in offered)


def test_losses_are_counted_seat_by_seat(offered):
    """Independent: seats whose words are lost, counted one by one from what each hears against the
    target and the step that counts as close; those of the cheaper option are many more.
    """
    first, other = offered
    step, target = CRITERIA["sti"].close, FEW.targets.sti
    for o in offered:
        for use, result in o.results.items():
            for key, found in standings(result).items():
                if key[0] == "sti":
                    heard = result.sti[result.spans[key[1]]]
                    blocks = {b.name: b.seats for b in (*FEW.banks, *FEW.floor_seats)}
                    seats = blocks.get(key[1], len(heard))  # on the court every point is somebody
                    counted = sum(v < target - step for v in heard) / len(heard) * seats
                    assert found.missing == int(counted + 0.5), (use, key)
                    assert found.seats == seats
    lost = {(b.use, b.what, b.area): (b.missing, a.missing) for b, a in other.loses_against(first)}
    ours, theirs = lost["game", "sti", "bleachers"]
    assert theirs > ours + 30
    assert ("game", "sti", "bleachers") not in {
        (a.use, a.what, a.area) for _, a in first.loses_against(other)
    }


def test_letter_and_plan_count_the_same_seats(offered):
    """Independent: STI is set to either side of 0.495, which prints as 0.50, and of the step that
    is close: what prints as 0.50 is clear, and letter and plan of the record have one count.
    """
    result = offered[0].results["game"]
    edge = np.array([0.4951, 0.4949, 0.495, 0.4950000001, 0.4949999999, 0.51, 0.30])
    heard = np.resize(edge, len(result.sti))
    known = SimpleNamespace(
        scenario=FEW, spans=result.spans, weights=result.weights, sti=heard.astype(np.float32)
    )
    ours = served(known)
    plan = judged(View(result=result, quantity="sti"))
    shown = replace(plan, margin=known.sti - np.float32(0.5)).numbers
    for name, numbers in ours.items():
        assert (numbers == shown[result.spans[name]]).all()
        printed = [float(f"{v:.2f}") >= 0.5 for v in known.sti[result.spans[name]]]
        assert ((numbers == 0) == printed).all()
    for o in offered:
        for r in o.results.values():
            numbers = judged(View(result=r, quantity="sti")).numbers
            assert all((n == numbers[r.spans[a]]).all() for a, n in served(r).items())


def test_nothing_is_lost_against_itself(offered):
    """Invariance: an option loses nothing against itself, and its own seats are nowhere new."""
    for result in offered[0].results.values():
        assert losses(result, result) == []
        for found in standings(result).values():
            if found.misses is not None:
                assert not newly(found, found).any()


def test_sound_onto_people_is_no_loss_of_its_own(offered):
    """Behavior: where aim sends the sound is heard as one of the other troubles; every check that
    is said has words for people outside the trade.
    """
    for o in offered:
        for result in o.results.values():
            found = {what for what, _ in standings(result)}
            assert "on_listeners" not in found and found <= set(letter_module.TROUBLES)
    judged = {v.criterion for r in offered[0].results.values() for v in r.verdicts}
    assert "on_listeners" in judged


def stand(misses, rows, columns, word="misses", kind="bank"):
    """A bank of seats, some of which miss."""
    at = np.arange(rows * columns)
    places = np.stack([3 * (at // columns) // rows, 3 * (at % columns) // columns], axis=1)
    return Standing(
        use="game",
        what="sti",
        area="bank",
        word=word,
        misses=np.asarray(misses, bool).ravel(),
        kind=kind,
        places=places,
        sides=("west end", "middle", "east end"),
    )


@pytest.mark.parametrize(
    "rows, columns, words",
    [
        (slice(4, 6), slice(0, 9), "upper rows"),
        (slice(0, 2), slice(0, 9), "lower rows"),
        (slice(0, 6), slice(6, 9), "east end"),
        (slice(0, 6), slice(0, 3), "west end"),
        (slice(0, 6), slice(0, 9), ""),  # all of them
        (slice(1, 5), slice(1, 8), ""),  # all over
    ],
)
def test_where_most_of_the_seats_are(rows, columns, words):
    """Worked by hand: six rows of nine seats, thirds of two rows and of three seats; 6 of 10 in one
    third name it.
    """
    misses = np.zeros((6, 9), bool)
    misses[rows, columns] = True
    assert stand(misses, 6, 9).where() == words


def test_a_check_that_fails_at_one_seat_is_said():
    """Behavior: few seats are said where their check fails, and not where it is close; none at all
    are no trouble.
    """
    one, none = np.zeros(90), np.zeros(90)
    one[5] = 1
    assert stand(one, 9, 10, "misses").fails and not stand(one, 9, 10, "close").fails
    assert not stand(none, 9, 10, "meets").fails


def test_the_figures_of_the_letter_are_those_of_the_options(offered):
    """Regression: prices are those of the bill with their range, the listeners of each use are
    counted from what they hear, and seats are those that were compared.
    """
    html = letter_html(offered)
    for o in offered:
        whole = cost(o.scenario, amplification=o.amplification)
        low, high = 0.85 * 1.1 * whole, 1.2 * 1.1 * whole
        said = f"{money(round(low, -2), '$')} to {money(round(high, -2), '$')}"
        assert f">{money(round(1.1 * whole), '$')}<" in html and said in html
        for use, result in o.results.items():
            clear = {
                n: np.mean(result.sti[result.spans[n]] >= FEW.targets.sti - 0.005)
                for n in result.weights
            }
            share = sum(w * clear[n] for n, w in result.weights.items())
            share = 100 * share / sum(result.weights.values())
            assert f"{quoted(use)} {share:.0f}" in html
    less = round(1.1 * offered[0].quote.total) - round(1.1 * offered[1].quote.total)
    assert f"costs {money(less, '$')} less" in html and "price with reserve" in html
    before, after = next(
        pair for pair in offered[1].loses_against(offered[0]) if pair[1].what == "sti"
    )
    assert f"{after.missing} of {after.seats} seats of the {quoted('bleachers')}" in html
    assert f"(option {quoted('A')}: {before.missing or 'none'})" in html
    worse, _, better = html.partition("Better than option")
    said = f"{after.missing} of {after.seats} seats"
    assert said in worse.partition("Worse than with option")[2] and said not in better


def test_the_letter_has_no_jargon(offered):
    """Behavior: not a decibel nor a term of the trade in all of it, with either option first."""
    for pair in (offered, offered[::-1]):
        assert re.findall(JARGON, told(letter_html(pair)), re.I) == []


def test_a_dearer_option_adds_what_it_costs(offered):
    """Behavior: with the cheaper one recommended, the dearer says what it adds for its price."""
    words = told(letter_html(offered[::-1]))
    assert "adds for its price, and for whom" in words and "gives up" not in words
    more = money(offered[0].quote.price - offered[1].quote.price, "$")
    assert f"costs {more} more than option" in words
    assert "Words are hard to follow" in words


def test_what_is_there_already_is_an_option_without_a_price(offered):
    """Behavior: loudspeakers and equipment that stay cost nothing, hang there already, and are not
    offered as spares; what is heard with them is compared all the same.
    """
    groups = tuple(replace(g, existing=True) for g in CHEAPER.groups)
    there = replace(
        CHEAPER,
        groups=groups,
        equipment=replace(CHEAPER.equipment, existing=True),
        treatments=tuple(replace(t, existing=True) for t in CHEAPER.treatments),
    )
    (o,) = offer({"as it is": there}, rays="few")
    assert o.quote.total == 0 and o.quote.lines
    assert not any(x.kind == "loudspeaker" for x in o.quote.alternates)
    words = " ".join(told(letter_html((offered[0], o))).split())
    whole = money(offered[0].quote.price, "$")
    assert f"It costs {whole} less than option A" in words and "3 that hang there already" in words
    assert "there already (not tried)" in words
    assert "Words are hard to follow" in words
    assert "working days" not in told(letter_html((o,)))


def test_two_options_that_sound_alike_say_so(offered):
    """Behavior: the same design twice: it costs as much, and nobody hears better or worse."""
    twin = replace(offered[0], name="twin")
    words = " ".join(told(letter_html((offered[0], twin))).split())
    assert (
        "It costs as much as option A . In all that we looked at, nobody hears better or" in words
    )


def test_names_and_dates_are_given_and_not_guessed(offered):
    """Behavior: a line to write on where nothing is given; what is given stands there, as text;
    today's date never does.
    """
    blank, today = letter_html(offered), datetime.date.today()
    assert blank.count('class="to-write"') == 5  # date, to, from, by when, signature
    assert "proposed" not in blank  # that is between the program and the designer
    assert str(today.year) not in told(blank)
    given = dict(recipient=HOSTILE, sender="R. Adeyemi", date=datetime.date(2026, 3, 5))
    html = letter_html(offered, reason="it reaches both ends.", **given)
    assert html.count('class="to-write"') == 1 and "March 5, 2026" in html
    assert quoted(HOSTILE) in html and HOSTILE not in html and "<script" not in html
    assert "because <bdi>it reaches both ends</bdi>." in html
    assert "It makes words clear" in blank and "It makes words clear" not in html


def test_a_proposed_reason_counts_who_gains(offered):
    """Independent: without the designer's own reason the letter says, use by use, of how many of
    100 the recommended option makes words clear, counted from what they hear, and what it costs
    more; where nobody gains it says so.
    """
    words = " ".join(told(letter_html(offered)).split())
    proposed = words.partition("we recommend")[2].partition("what it is")[0]
    shares = []
    for o in offered:
        result, clear = o.results["game"], 0.0
        for name, weight in result.weights.items():
            heard = result.sti[result.spans[name]]
            clear += weight * np.mean(heard >= FEW.targets.sti - 0.005)
        shares.append(100 * clear / sum(result.weights.values()))
    assert shares[0] > shares[1]
    said = f"{shares[0]:.0f} of 100 who listen in game (with option B: {shares[1]:.0f})"
    assert said in proposed
    more = money(offered[0].quote.price - offered[1].quote.price, "$")
    assert f"costs {more} more than option B" in proposed
    twin = " ".join(told(letter_html((offered[0], replace(offered[0], name="twin")))).split())
    assert "Nobody hears better with it than with option twin, as far as we looked" in twin


def test_the_picture_shows_the_use_whose_seats_hear_least(offered):
    """Independent: of the uses the one with the smallest share of seats with clear words, the court
    left out; those who stand on it are named as such.
    """
    first, shares = offered[0], {}
    for use, result in first.results.items():
        seats = [n for n in result.weights if n != "court"] or list(result.weights)
        heard = np.concatenate([result.sti[result.spans[n]] for n in seats])
        shares[use] = np.mean(heard >= FEW.targets.sti - 0.005)
    use = min(shares, key=shares.get)
    html = letter_html(offered)
    assert f"Option {quoted('A')} in {quoted(use)}, the use with the fewest" in html
    weights = first.results[use].weights
    heard = {n: first.results[use].sti[first.results[use].spans[n]] for n in weights}
    clear = {n: np.mean(heard[n] >= FEW.targets.sti - 0.005) for n in weights}
    of_100 = 100 * sum(weights[n] * clear[n] for n in weights) / sum(weights.values())
    assert f"Of 100 who listen, words are clear for {of_100:.0f}." in html
    assert f"{use} {of_100:.0f}" in " ".join(told(html).split())  # the same in the table
    assert ("somebody who stands there" in html) == ("court" in first.results[use].weights)


def test_hostile_names_are_text(offered):
    """Behavior: markup in the names of a school, an option or an area is shown as it is."""
    first = offered[0]
    named = replace(first, name=HOSTILE, scenario=replace(first.scenario, name=HOSTILE))
    html = letter_html((named, offered[1]))
    assert "<script" not in html and quoted(HOSTILE) in html


def test_the_picture_tells_seats_apart_without_color(offered):
    """Behavior: three shapes, a legend in words, the counts in words, also for those who hear it;
    every seat that listens has one mark.
    """
    html = letter_html(offered)
    picture = re.search(r"<svg [^>]*role=\"img\".*?</svg>", html, re.S)[0]
    result = offered[0].results["game"]
    numbers = served(result)
    assert counts_sentence(numbers, result.configuration.areas) in picture
    marks = "".join(re.findall(r'<path d="([^"]*)" fill="(?:#2b6cb0|#b7791f)"/>', picture))
    crosses = "".join(re.findall(r'<path d="([^"]*)" fill="none" stroke="#b02a37"', picture))
    whole = [int(sum((n == k).sum() for n in numbers.values())) for k in range(3)]
    assert marks.count("a") == 2 * whole[0] and marks.count("h") == whole[1]
    assert crosses.count("m") == whole[2] and sum(whole) == sum(map(len, numbers.values()))
    for words in ("words are clear", "nearly", "words are lost", "loudspeaker"):
        assert words in told(html)


def test_what_is_decided_and_not_included_follows_the_design(offered):
    """Behavior: panels that are there already are no decision; a price book without a line for
    travel says so among what is not included, and days follow from the hours.
    """
    words = told(letter_html(offered))
    assert "Whether 180 m² of wall panels under the roof are hung" in words
    assert "1 circuit of AC power at the rack, by a licensed electrician" in words
    there = tuple(replace(t, existing=True) for t in FEW.treatments)
    old = replace(offered[0], scenario=replace(FEW, treatments=there))
    assert "are hung" not in told(letter_html((old,)))
    left = PriceBook([p for p in example_prices().prices.values() if p.kind != "travel"], "o.csv")
    (o,) = offer({"A": FEW}, prices=left, rays="few")
    words = told(letter_html((o,)))
    assert "travel: day of the crew (the price book has no price)" in words
    assert "Prices are those of o.csv." in words and "invented" not in words
    days = sum(line.hours for line in o.quote.lines) / 16
    assert f"for about {days:.0f} working days" in words


def test_all_that_is_lost_is_said(offered, monkeypatch):
    """Worked by hand: of four banks of 54 seats the cheaper option loses 9, 10, 11 and 12 in the
    game, before 0, 0, 1 and 2: one number with the names of all four; two are said one by one.
    Nothing is left to the record.
    """
    pairs = []
    for n, name in enumerate(("north", "south", "east", "west")):
        misses = np.zeros((2, 54), bool)
        misses[0, : max(n - 1, 0)], misses[1, : 9 + n] = True, True
        both = [replace(stand(m, 6, 9), area=name) for m in misses]
        pairs.append(tuple(both))
    other = replace(offered[1], name="B <b>")
    losses_of = {other.name: pairs, offered[0].name: []}
    monkeypatch.setattr(type(other), "loses_against", lambda self, _: losses_of[self.name])
    words = " ".join(told(letter_html((offered[0], other))).split())
    areas = "north , south , east and west"
    assert f"game , 42 of 216 seats in {areas} (option A : 3)." in words
    losses_of[other.name] = pairs[:2]
    words = " ".join(told(letter_html((offered[0], other))).split())
    assert "game , 9 of 54 seats of the north , mostly" in words
    assert "10 of 54 seats of the south , mostly" in words
    assert "More in the decision record" not in words and " more;" not in words


def test_a_loudspeaker_that_stays_and_rattles_is_a_decision(offered):
    """Behavior: the school decides on its repair, and the letter says what does not hold until
    then; one that works is no decision.
    """
    groups = FEW.groups
    for condition, asked in (("rattles", True), ("works", False)):
        stays = replace(groups[0], existing=True, condition=condition)
        bad = replace(offered[0], scenario=replace(FEW, groups=(stays, *groups[1:])))
        words = " ".join(told(letter_html((bad, offered[1]))).split())
        said = f"Whether the {stays.name} ({stays.number}), which rattles, is repaired or replaced"
        assert (said in words) == asked
        assert ("Until then what is said here does not hold" in words) == asked
        words = " ".join(told(letter_html((offered[1], replace(bad, name="old")))).split())
        assert ("This holds only once the" in words) == asked


def test_a_letter_compares_three_options_at_most(offered):
    """Behavior: a fourth is refused in one line."""
    four = [replace(offered[0], name=n) for n in "ABCD"]
    with pytest.raises(ValueError, match="a letter compares at most 3 options, not 4. Leave some"):
        letter_html(four)


def test_the_letter_is_written_with_its_price_sheet(offered, tmp_path):
    """Behavior: letter and price sheet beside each other, the same twice; a second time is refused,
    and kept when it is replaced.
    """
    paths = write_letter(offered, tmp_path, recipient="Ms. Ruiz")
    assert [p.name for p in paths] == ["letter.html", "price.xlsx"]
    first = [p.read_bytes() for p in paths]
    with pytest.raises(FileExistsError, match="exists. Say that it may be replaced"):
        write_letter(offered, tmp_path)
    write_letter(offered, tmp_path, recipient="Ms. Ruiz", overwrite=True)
    assert [p.read_bytes() for p in paths] == first
    assert (tmp_path / "revisions").is_dir()


def test_an_offer_says_how_far_it_is_and_can_be_stopped(monkeypatch):
    """Behavior: a step for every use of every option; stopped between two, nothing comes of it;
    options that are none are refused.
    """
    asked = []
    monkeypatch.setattr(
        schedules_module,
        "evaluate",
        lambda *_, **__: asked.append(1) or SimpleNamespace(verdicts=()),
    )
    monkeypatch.setattr(schedules_module, "amplify", lambda *_, **__: None)
    monkeypatch.setattr(schedules_module, "bill", lambda *_, **__: ())
    monkeypatch.setattr(offer_module, "quote", lambda *_, **__: None)
    steps = []
    found = offer({"A": FEW, "B": CHEAPER}, "B", progress=steps.append)
    assert [o.name for o in found] == ["B", "A"] and steps == [0.25, 0.5, 0.75, 1.0]
    assert offer({"A": FEW}, stop=lambda: True) is None and len(asked) == 5
    with pytest.raises(ValueError, match="chosen = 'C' is none of the options: A"):
        offer({"A": FEW}, "C")
    with pytest.raises(ValueError, match="options: give at least one"):
        offer({})


@pytest.fixture
def files(tmp_path):
    for name, scenario in (("a", FEW), ("b", CHEAPER)):
        save(scenario, tmp_path / f"{name}.toml")
    return tmp_path


def test_options_have_the_names_that_are_given():
    """Behavior: names in the order of the options, where none is given how the loudspeakers hang;
    too many, an empty one and two alike are refused in one line.
    """
    options = {"larkfield": FEW, "cheap": CHEAPER}
    named = titled(options, ["Both ends"])
    assert list(named) == ["Both ends", "wall pair and floor pair"]
    assert list(named.values()) == [FEW, CHEAPER]
    with pytest.raises(ValueError, match="3 names for 2 options. Give one for each"):
        titled(options, ["A", "B", "C"])
    with pytest.raises(ValueError, match="the name of an option is empty"):
        titled(options, [" "])
    with pytest.raises(ValueError, match="two options are called 'cheap'"):
        titled(options, ["cheap", "cheap"])


def test_names_in_plain_words_are_never_alike():
    """Behavior: rows on both sides are rows; of options that hang alike the name says the treatment
    or the number of loudspeakers, and where nothing of that differs they are numbered. A name that
    is given to another option is not taken, a layout keeps its own.
    """
    larkfield = SCENARIOS["larkfield"]
    bare = replace(larkfield, treatments=())
    assert plain_names({"larkfield": larkfield}) == ["rows and court pair"]
    said = plain_names({"a": larkfield, "b": bare})
    assert said == ["rows and court pair (1,200 ft² treated)", "rows and court pair (untreated)"]
    twins = {"a": bare, "b": bare, "center four": bare}
    assert plain_names(twins, ["rows and court pair"]) == [
        "rows and court pair, number 2",
        "rows and court pair, number 3",
        "center four",
    ]
    fewer = replace(bare, groups=tuple(replace(g, number=2) for g in bare.groups))
    assert plain_names({"a": bare, "b": fewer})[1] == "rows and court pair (6 loudspeakers)"


def test_the_letter_from_the_command_line(files, monkeypatch, capsys):
    """Behavior: the command writes both files with the names and the day that are given, and says
    what takes a while.
    """
    monkeypatch.setattr(command_line, "offer", partial(offer, rays="few"))
    given = ["--against", f"{files}/b.toml", "--for", "Ms. Ruiz", "--date", "2026-03-05"]
    assert main(["letter", f"{files}/a.toml", *given, "--folder", str(files)]) == 0
    said = capsys.readouterr()
    assert "The letter's reason is proposed from the figures" in said.out
    assert "Give your own with --reason." in said.out
    assert "2 files are in" in said.out and said.err == "Following all rays ...\n"
    html = (files / "dovecote-primary-school-letter" / "letter.html").read_text("utf-8")
    assert "Ms. Ruiz" in html and "March 5, 2026" in html
    names = plain_names({"a": FEW, "b": CHEAPER})
    assert f"option {quoted(names[0])}" in html and quoted(names[1]) in html


@pytest.mark.parametrize(
    "more, words",
    [
        (["--date", "5.3.2026"], "'5.3.2026' is no day. Write it as 2026-11-26"),
        (["--for", " "], "--for: is empty. Give a name, or leave it out"),
        (["--against", "b.toml"] * 3, "a letter compares at most 3 options, not 4"),
        (["--folder", "nowhere"], "--folder nowhere: there is no such folder"),
        ([], "exists. Say that it may be replaced"),
    ],
)
def test_the_command_refuses_before_it_computes(files, monkeypatch, capsys, more, words):
    """Behavior: a slip is said in one line with status 2, and nothing is evaluated."""
    monkeypatch.chdir(files)
    monkeypatch.setattr(command_line, "offer", lambda *_, **__: 1 / 0)
    (files / "dovecote-primary-school-letter").mkdir()
    try:
        status = main(["letter", "a.toml", *more])
    except SystemExit as left:  # the parser's own way to refuse
        status = left.code
    said = capsys.readouterr().err
    assert status == 2 and words in said and len(said.splitlines()) == 1


def test_the_meeting_writes_the_letter(tmp_path, monkeypatch):
    """Behavior: the button writes the chosen design against the others with the words of the
    boxes; a day that is none is refused; a second time is offered to replace the files.
    """
    monkeypatch.setattr(options_panel, "offer", partial(offer, rays="few"))
    m = Meeting(replace(FEW, uses=FEW.uses[:1]), folder=tmp_path)
    m.update(trace=False)
    assert m.options.letter_button.disabled
    m.options.pin()
    m.set(("groups", "wall pair", "number"), 1)
    m.options.pin()
    m.options.chosen.value = "A"
    recipient, day = m.options.letter_words
    reason = m.options.reason
    recipient.value, day.value = "Ms. Ruiz", "March"
    m.options.letter_button.click()
    assert "Write the date as 2026-11-26" in m.options.words.value
    day.value, reason.value = "2026-03-05", "both ends hear it"
    m.options.letter_button.click()
    assert "letter.html, with price.xlsx beside it" in m.options.words.value
    assert "proposed" not in m.options.words.value
    (path,) = tmp_path.rglob("letter.html")
    html = path.read_text("utf-8")
    assert all(words in html for words in ("Ms. Ruiz", "March 5, 2026", "both ends hear it"))
    assert f"we recommend <b>option {quoted('A')}</b>" in html
    m.options.letter_button.click()
    assert "exists" in m.options.words.value
    assert m.options.replace_button.layout.display == "inline-flex"
    reason.value = ""
    m.options.replace_button.click()
    assert "reason is proposed from the figures" in m.options.words.value
    assert "beside it" in m.options.words.value and (tmp_path / "revisions").is_dir()
    m.options.chosen.value = "A"
    assert all(box.description for box in m.options.letter_words)


def test_the_meeting_writes_the_specification(tmp_path, monkeypatch):
    """Behavior: the button writes page and DOCX of the chosen design under the day of the box; a
    day that is none is refused; a second time is offered to replace the files, and keeps the old.
    """
    monkeypatch.setattr(options_panel, "parts", partial(parts, rays="few"))
    m = Meeting(replace(FEW, uses=FEW.uses[:1]), folder=tmp_path)
    m.update(trace=False)
    o = m.options
    assert o.text_button.disabled
    o.pin()
    o.letter_words[1].value = "March"
    o.text_button.click()
    assert "Write the date as 2026-11-26" in o.words.value
    o.letter_words[1].value = "2026-03-05"
    o.text_button.click()
    assert "specification.html and .docx" in o.words.value
    (page,) = tmp_path.rglob("specification.html")
    assert "2026-03-05" in page.read_text("utf-8") and page.with_suffix(".docx").is_file()
    o.text_button.click()
    assert "exists" in o.words.value and o.replace_button.layout.display == "inline-flex"
    o.replace_button.click()
    assert ".docx" in o.words.value and (tmp_path / "revisions").is_dir()


def test_parts_say_how_far_they_are_and_can_be_stopped():
    """Behavior: progress comes use by use; a stop after the first gives nothing."""
    shares, two = [], replace(FEW, uses=FEW.uses[:2])
    few = partial(parts, two, room="statistical", rays="few")
    assert few(progress=shares.append) is not None and shares == [0.5, 1.0]
    assert few(progress=shares.append, stop=lambda: True) is None and shares == [0.5, 1.0, 0.5]


@pytest.mark.skipif(not browser_path(), reason="no Chromium here; CI has one")
def test_it_prints_on_two_pages_of_the_schools_paper(offered, in_feet, tmp_path):
    """Behavior: A4 for meters and Letter for feet, two pages at most, nothing wider than the paper;
    in the first half page stand the recommendation, the prices and who loses, and no jargon.
    """
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=browser_path(), args=FLAGS)
        page = browser.new_page()
        for found, size, width in ((offered, (595, 842), 665), (in_feet, (612, 792), 687)):
            (tmp_path / "letter.html").write_text(letter_html(found), encoding="utf-8")
            page.goto(f"file://{tmp_path}/letter.html")
            printed = page.pdf(prefer_css_page_size=True)
            assert len(re.findall(rb"/Type\s*/Page\b", printed)) <= 2
            box = re.search(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)", printed)
            assert [float(v) for v in box.groups()] == pytest.approx(size, abs=1)
            page.emulate_media(media="print")
            page.set_viewport_size(dict(width=width, height=size[1] * 4 // 3))
            assert page.evaluate("document.documentElement.scrollWidth") <= width
            half = page.evaluate(
                """(half) => [...document.querySelectorAll("h1, h2, p, li, td, th")].filter(
                    (e) => e.getBoundingClientRect().top < half).map((e) => e.innerText).join(" ")
                """,
                size[1] / 2 * 4 / 3,
            )
            assert all(words in half for words in ("we recommend option A", "$", "gives up"))
            assert re.findall(JARGON, half, re.I) == []
        browser.close()


def test_a_trouble_without_seats_is_named_with_its_use():
    """Behavior: what the whole gym does has no seats and no place, and is said all the same."""
    bare = Standing(use="class", what="rt", area="", word=FAILS[0], misses=None)
    assert bare.fails and (bare.seats, bare.missing, bare.where()) == (0, 0, "")
