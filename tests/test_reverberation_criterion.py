"""By what the reverberation of a use is judged."""

from dataclasses import replace

import numpy as np
import pytest
from schools import CASES, SCENARIOS

from gymtools.acoustics import criteria
from gymtools.acoustics.criteria import CRITERIA, reverberation_target
from gymtools.acoustics.evaluate import evaluate
from gymtools.acoustics.room_decay import room_decay
from gymtools.physics.reverberation import speech_hall_target
from gymtools.venue.files import parse

DOVECOTE = SCENARIOS["dovecote"]


def judged(scenario, use=None, room="statistical"):
    """The verdict on the reverberation."""
    (verdict,) = CRITERIA["rt"].judge(evaluate(scenario, use, room=room))
    return verdict


def with_use(**changes):
    """Dovecote with its first use changed, alone."""
    return replace(DOVECOTE, uses=(replace(DOVECOTE.uses[0], **changes),), text=None)


def test_the_speech_hall_formula_by_hand():
    """Worked by hand: DIN 18041:2016, group A2, T = 0.37 lg V - 0.14 as printed in a handbook, at
    the ends of its range and at 1000 m3; a volume in cubic feet is refused as such.
    """
    assert speech_hall_target([50, 1000, 5000]).round(2).tolist() == [0.49, 0.97, 1.23]
    with pytest.raises(ValueError, match=r"volume = 10 m3 is outside 50 to 1e\+06 m3\. Cubic feet"):
        speech_hall_target(10)


@pytest.mark.parametrize("name, use", CASES)
def test_nothing_from_a_sports_standard_is_applied_to_a_graduation(name, use):
    """Behavior: games and classes by the sports-hall formula with nobody in the gym, all others by
    the speech-hall formula with their people; the sentence says which, and where it is drawn on.
    """
    s = SCENARIOS[name]
    sports = use in ("game", "class")
    v = judged(s, use)
    assert s.use(use).judged_as == ("sports" if sports else "speech")
    assert ("group A5" if sports else "group A2") in v.source
    assert ("sports-hall formula" if sports else "speech-hall formula") in v.sentence
    empty = sports or not s.use(use).occupied
    assert ("nobody in it" if empty else "its people in it") in v.sentence
    volume = s.configuration(use).room.volume
    assert ("drawn on beyond its 5,000 m³" in v.sentence) == (not sports and volume > 5000)
    state = replace(s.use(use), occupied={}) if sports else s.use(use)
    assert v.value == pytest.approx(room_decay(s, state, room="statistical").middle)


def test_the_kind_of_a_use_is_said_or_follows_from_who_listens():
    """Behavior: a rule that the sentence names; what the file says stands, and an unknown kind is
    refused.
    """
    assert with_use(listens={"court": 1.0}).uses[0].judged_as == "sports"
    guessed = with_use(listens={"bleachers": 1.0})
    assert guessed.uses[0].judged_as == "speech"
    assert "as nobody listens on the court" in judged(guessed).sentence
    said = with_use(listens={"bleachers": 1.0}, kind="sports")
    assert "A5" in judged(said).source and "on the court" not in judged(said).sentence
    text = DOVECOTE.text.replace('name = "game"', 'name = "game"\nkind = "sport"', 1)
    with pytest.raises(ValueError, match=r"'game': kind = 'sport' is unknown\. Did you mean 'spor"):
        parse(text)


def test_the_schools_own_figure_stands_before_every_standard():
    """Behavior: that of the use before that of the school."""
    school = replace(DOVECOTE.targets, rt_s=1.5)
    own = replace(with_use(rt_s=1.1), targets=school, text=None)
    source = "set for this school"
    assert reverberation_target(own, own.uses[0]) == (1.1, source)
    assert reverberation_target(replace(own, uses=DOVECOTE.uses), DOVECOTE.uses[0]) == (1.5, source)
    assert judged(own).source == source and "school's own figure" in judged(own).sentence


def test_what_no_treatment_can_reach_is_said():
    """Behavior: with more absorption missing than roof and walls have left, "out of reach", and
    both areas are in the sentence; with enough left a miss is a miss.
    """
    v = judged(with_use(rt_s=0.3))
    assert v.word == "out of reach" and v.facts["missing_m2"] > v.facts["bare_m2"] > 0
    assert "left to treat" in v.sentence
    assert judged(DOVECOTE, "assembly").word == "misses"


def test_the_verdict_is_the_gyms_own_whatever_plays():
    """Invariance: traced, another downtilt and another gain change nothing; the error is told."""
    s = with_use(occupied={})
    v = judged(s, room="traced")
    groups = {"wall pair": replace(s.uses[0].group_setting("wall pair"), gain_db=-6.0)}
    moved = replace(with_use(occupied={}, groups=groups), memory=s.memory)
    assert judged(moved, room="traced").value == v.value
    assert 0 < v.facts["error"] < 0.1 and "±" in v.sentence
    assert v.value == pytest.approx(np.mean(room_decay(s, s.uses[0]).t20[2:5]))
    assert criteria.LARGEST_A2 == 5000
