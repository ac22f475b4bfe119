"""Lesson on one installation with many uses: signs, and an aim that nothing that rings reaches."""

import re
from pathlib import Path

import numpy as np
import pytest

from gymtools.display.lessons import uses as page_of
from gymtools.display.lessons.experiment import Aim
from gymtools.display.lessons.uses import UsesPage
from gymtools.physics.intelligibility import SPEECH_SPECTRUM_DB
from gymtools.training.lessons import uses

SCENARIOS = Path(__file__).resolve().parent.parent / "scenarios"
ALIKE_DB = 2.5
RESERVE_DB = 6.0  # Sound Reinforcement Handbook, 5.3.1
EULER = 0.5772


@pytest.fixture(scope="module")
def page():
    """The page as committed, in meters."""
    place = dict(scenario=str(SCENARIOS / "stonebridge.toml"), use="graduation", group="west end")
    return UsesPage(units="m", place=place, gain_db=8.0, alike_db=ALIKE_DB)


def margin_from_parts(result):
    """Smallest feedback margin of the lectern, octave by octave from what arrives there [dB]."""
    (found,) = result.microphones
    mic, position = found.microphone, found.positions
    direct, way = result.sources.direct(position, result.configuration.room.screens)
    toward = (result.sources.position[:, None] - position) / way[..., None]
    turn, up = np.radians(mic.facing_deg), np.radians(mic.kind.up_deg)
    axis = [-np.cos(turn) * np.cos(up), -np.sin(turn) * np.cos(up), np.sin(up)]
    cos = (toward * axis).sum(axis=-1)[:, 0]
    room, wanted = result.reverberant.at(position)[0], result.use.target_dba
    noise = 10 * np.log10((10 ** ((result.noise_db + A_WEIGHTS) / 10)).sum())
    raised = max(0.0, noise + result.scenario.targets.speech_to_noise_db - wanted)
    worst = np.inf
    for octave in range(1, 6):
        a = mic.kind.pattern[octave]
        beams = direct[:, 0, octave] * (a + (1 - a) * cos) ** 2
        diffuse = room[octave] * (a**2 + (1 - a) ** 2 / 3)
        rest, strongest = beams.sum() + diffuse - beams.max(), beams.max()
        center = 1000 * 10 ** (0.3 * (octave - 3))
        decay = result.own_decay.t20[octave]
        decay = decay if np.isfinite(decay) else result.rt[octave]
        chances = center * (np.sqrt(2) - np.sqrt(0.5)) * decay / 13.8155
        highest = max(np.log(max(chances, 1)) + EULER, 1)
        peak = (np.sqrt(strongest) + np.sqrt(rest * highest)) ** 2 / 10**0.3  # rung out by 3 dB
        loop = 10 * np.log10(max(peak, strongest + rest)) + raised
        worst = min(worst, mic.talker_dba + SPEECH_SPECTRUM_DB[octave] - loop - RESERVE_DB)
    return worst


# IEC 61672-1:2013, Table 3, 125 Hz to 8 kHz [dB]
A_WEIGHTS = np.array([-16.1, -8.6, -3.2, 0.0, 1.2, 1.0, -1.1])


def gains():
    """Every step of the slider [dB]."""
    return np.arange(page_of.LOW_DB, page_of.HIGH_DB + 0.1, page_of.STEP_DB)


def test_no_gain_that_reaches_the_aim_lets_a_microphone_ring(page):
    """Independent: brute force over the slider, the margin from its parts, the levels from the
    seats; some gains bring the areas together while the microphone may ring, and none reaches.
    """
    reaching, trapped = page.sharing.reaching("gain_db"), []
    assert reaching and page.needed_db == 0
    for gain in gains():
        result = page.play(float(gain))
        margin = margin_from_parts(result)
        assert margin == pytest.approx(uses.margin_db(result), abs=0.05)
        apart = np.ptp([area.mean_db for area in result.areas])
        if abs(margin) > 0.05:
            assert (gain in reaching) == (apart <= ALIKE_DB and margin >= 0), gain
        if apart <= ALIKE_DB and margin < -0.05:
            trapped.append(gain)
    assert trapped, "the levels alone are no aim here"


def test_a_microphone_that_rings_is_named(page):
    """Behavior: where the levels are alike and the microphone may ring, the page says why it is
    not reached, and how near it is.
    """
    result = page.play(5.0)
    assert uses.apart_db(result) <= ALIKE_DB and uses.margin_db(result) < 0
    said = page.sharing.aim.report(result)
    assert not page.sharing.aim.reached(result)
    assert "too near to ringing" in said and f"{uses.margin_db(result):.1f} dB" in said
    assert said.endswith("Not yet.")


def test_an_aim_with_a_second_condition():
    """Behavior: both must hold, and each is said."""
    aim = Aim(
        words="low",
        what="height",
        measure=lambda v: v[0],
        high=2,
        besides=lambda v: "" if v[1] else "it rings",
    )
    assert aim.reached((1, True)) and not aim.reached((1, False)) and not aim.reached((3, True))
    assert aim.report((1, False)) == "height: 1.0. But it rings. Not yet."
    assert aim.report((3, False)).endswith("so 1.0 too much. And it rings. Not yet.")


def test_where_every_gain_rings_no_less_than_at_the_start_is_asked(page):
    """Behavior: an aim that nothing could reach would teach nothing."""
    bad = [page.play(g) for g in (6.0, 8.0, 12.0)]
    assert uses.needed_margin_db(bad[0], bad) == uses.margin_db(bad[0]) < 0
    assert uses.needed_margin_db(bad[0], [*bad, page.play(0.0)]) == 0


def test_the_wrong_sign_gets_a_hint_of_its_own(page):
    """Behavior: for the mirrored value and for a rough guess on the wrong side; the hint does not
    give the answer, and a guess on the right side gets another.
    """
    problem = page.switched.problem
    assert abs(problem.answer) > 1
    for times in (-0.6, -1, -1.4, -2, -3.5):
        reply = page.switched.twin().give(times * problem.answer)
        assert reply.word != "right" and "Plus or minus?" in reply.line, times
        assert problem.say(problem.answer) not in reply.slip and not reply.told
    reply = page.switched.twin().give(4 * problem.answer)
    assert "Plus or minus?" not in reply.line
    asked = uses.shared(70.0, 70.0, 55.0, 60.0)
    assert "Plus or minus?" in asked.slip(-asked.answer).words


def printed_levels(problem):
    """What a question on a gym says of each group: at the listeners and at the microphone [dB]."""
    found = re.findall(r"'([^']+)' (\d+\.\d) and (\d+\.\d) dB", problem.words)
    return {name: (float(one), float(other)) for name, one, other in found}


def test_a_switched_group_can_be_worked_from_what_the_question_says(page):
    """Independent: the gain of the rest by bisection, from the printed levels alone."""
    for group, by in (("west end", None), ("north row", None), ("west end", -6.0)):
        asked = uses.switched(page.school, "graduation", group=group, by_db=by)
        levels = printed_levels(asked)
        assert set(levels) == {"north row", "south row", "west end"}
        change = {name: 0.0 for name in levels} | {group: -np.inf if by is None else by}

        def energy(place, up=0.0, change=None, levels=levels):
            moved = {
                name: at[place] + up + (change or {}).get(name, 0) for name, at in levels.items()
            }
            return sum(10 ** (level / 10) for level in moved.values())

        low, high = -30.0, 30.0
        for _ in range(60):
            up = (low + high) / 2
            low, high = (up, high) if energy(0, up, change) < energy(0) else (low, up)
        by_hand = 10 * np.log10(energy(1) / energy(1, up, change))
        assert asked.answer == pytest.approx(by_hand, abs=1e-6)
        assert asked.steps[-1].value == asked.answer and len(asked.steps) > 2


def test_printed_levels_are_those_of_the_gym(page):
    """Independent: the listeners' sum is the use's target; what comes back to the microphone is
    the sum of its parts in the octave that rings first.
    """
    levels = printed_levels(page.switched.problem)
    together = [10 * np.log10(sum(10 ** (at[n] / 10) for at in levels.values())) for n in (0, 1)]
    use = page.school.use("graduation")
    assert together[0] == pytest.approx(use.target_dba, abs=0.1)
    now = use.group_setting("west end").gain_db
    result = page.play(now)
    (found,) = result.microphones
    band = int(found.band[0])
    assert f"around {125 * 2**band} Hz" in page.switched.problem.words
    mic, position = found.microphone, found.positions
    direct, way = result.sources.direct(position, result.configuration.room.screens)
    toward = (result.sources.position[:, None] - position) / way[..., None]
    turn, up = np.radians(mic.facing_deg), np.radians(mic.kind.up_deg)
    axis = [-np.cos(turn) * np.cos(up), -np.sin(turn) * np.cos(up), np.sin(up)]
    a = mic.kind.pattern[band]
    beams = direct[:, 0, band] * (a + (1 - a) * (toward @ axis)[:, 0]) ** 2
    room = result.reverberant.at(position)[0, band] * (a**2 + (1 - a) ** 2 / 3)
    assert together[1] == pytest.approx(10 * np.log10(beams.sum() + room), abs=0.15)


def test_by_hand_is_near_what_is_computed_in_full(page):
    """Independent: the margins from their parts, before and after, octave by octave; by hand the
    sign is the same and the number within 0.8 dB. The listeners' mean stays.
    """
    use = page.school.use("graduation")
    for group in ("west end", "north row"):
        now = use.group_setting(group).gain_db
        on, off = (uses.play(page.school, "graduation", group, now, None, p) for p in (True, False))
        asked = uses.switched(page.school, "graduation", group=group)
        before, after = margin_from_parts(on), margin_from_parts(off)
        assert asked.answer == pytest.approx(after - before, abs=0.8)
        assert np.sign(asked.answer) == np.sign(after - before)
        assert f"from {before:+.1f} to {after:+.1f} dB" in asked.note
        assert mean_dba(on) == pytest.approx(mean_dba(off), abs=0.01)


def mean_dba(result):
    """Weighted mean of the listeners [dB(A)]."""
    weights = [a.weight for a in result.areas]
    energy = [(10 ** (result.speech_dba[a.points] / 10)).mean() for a in result.areas]
    return 10 * np.log10(np.average(energy, weights=weights))


def test_a_question_of_this_gym_is_drawn_again(page):
    """Behavior: with other groups and gains, dozens of them, each answered by its own number."""
    (exercise,) = (e for e in uses.EXERCISES if e.key == "uses.switched")
    chance, seen = np.random.default_rng(1), set()
    for _ in range(150):
        problem = exercise.drawn(chance, school=page.school, use="graduation")
        seen.add(problem.words)
        assert problem.right(problem.steps[-1].value)
        assert all(abs(slip.value - problem.answer) >= 2 * problem.near for slip in problem.slips)
    assert len(seen) > 40


def test_a_named_mistake_is_never_right():
    """Worked by hand: B left as it was, only the gain of A, the wrong sign; in 200 drawings."""
    (exercise,) = (e for e in uses.EXERCISES if e.key == "uses.shared")
    chance, seen = np.random.default_rng(9), set()
    for _ in range(200):
        values = exercise.draw(chance)
        try:
            p = exercise.problem(**values)
        except ValueError:
            continue
        seen.add(p.words)
        back = [10 ** (values[name] / 10) for name in ("kept_back_db", "off_back_db")]
        here = [10 ** (values[name] / 10) for name in ("kept_db", "off_db")]
        left_as_it_was = 10 * np.log10(sum(back)) - values["kept_back_db"]
        gain_alone = values["kept_db"] - 10 * np.log10(sum(here))
        for wrong in (left_as_it_was, gain_alone, -p.answer):
            assert abs(wrong - p.answer) > 2 * p.near and p.slip(wrong) is not None, p.words
    assert len(seen) > 120


def test_shared_levels_by_turning_the_knob():
    """Independent: the gain of the rest found by bisection, in forty drawings of both signs."""
    (exercise,) = (e for e in uses.EXERCISES if e.key == "uses.shared")
    chance, signs = np.random.default_rng(4), set()
    for _ in range(40):
        values = exercise.draw(chance)
        try:
            problem = exercise.problem(**values)
        except ValueError:
            continue
        before = 10 ** (values["kept_db"] / 10) + 10 ** (values["off_db"] / 10)
        low, high = 0.0, 60.0
        for _ in range(60):
            gain = (low + high) / 2
            short = 10 ** ((values["kept_db"] + gain) / 10) < before
            low, high = (gain, high) if short else (low, gain)
        back = 10 ** (values["kept_back_db"] / 10) + 10 ** (values["off_back_db"] / 10)
        gained = 10 * np.log10(back) - values["kept_back_db"] - gain
        assert problem.answer == pytest.approx(gained, abs=1e-6)
        signs.add(np.sign(gained))
    assert signs == {-1.0, 1.0}


def test_a_delay_moves_no_level(page):
    """Invariance: levels and margins are sums of energies."""
    one, other = page.play(0.0, 0.0), page.play(0.0, 40.0)
    assert uses.apart_db(one) == pytest.approx(uses.apart_db(other), abs=1e-9)
    assert uses.margin_db(one) == pytest.approx(uses.margin_db(other), abs=1e-9)


def test_the_prediction_comes_true_as_computed(page):
    """Independent: the sign of the change of the margin from its parts."""
    start, end = page.play(8.0), page.play(1.0)
    assert margin_from_parts(end) - margin_from_parts(start) > page_of.STAYS_DB
    truth = page.sharing.setup.predict.truth
    assert truth(start, end) == page_of.GROWS and truth(end, start) == page_of.SHRINKS
    assert truth(start, start) == page_of.STAYS


def test_a_seat_is_heard_with_the_group_and_without(page):
    """Behavior: two sounds that differ, each with its figures."""
    heard = page.heard.heard()
    one, other = (sound.samples for sound in heard.values())
    least = min(one.shape[1], other.shape[1])
    assert np.abs(one[:, :least] - other[:, :least]).max() > 0.05 * np.abs(one).max()
    assert page.heard.blind.right in heard


def test_a_group_that_does_not_play_is_refused():
    """Behavior: in one line."""
    place = dict(scenario=str(SCENARIOS / "stonebridge.toml"), use="graduation", group="east end")
    with pytest.raises(ValueError, match="does not play in 'graduation'"):
        UsesPage(units="m", place=place, gain_db=0.0, alike_db=ALIKE_DB)
