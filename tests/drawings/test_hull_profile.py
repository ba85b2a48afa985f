import pytest

from hullbook.drawings.hull_profile import STAGES, hull_profile
from tests.drawings.looking import as_svg, in_role, sticking_out, texts, words_on

HOLDING = ["done"] * 4 + ["under way"] + ["not begun"] * 6


def test_the_eleven_stages_stand_from_stem_to_transom():
    named = [text for text in texts(hull_profile(HOLDING, hull="MB84-03")) if text.words in STAGES]
    assert [text.words for text in named] == list(STAGES)
    assert [text.x for text in named] == sorted(text.x for text in named)


def test_a_tick_is_full_half_or_hollow():
    scene = hull_profile(HOLDING, hull="MB84-03")
    full = [mark for mark in in_role(scene, "solid") if len(mark.points) == 24]
    half = [mark for mark in in_role(scene, "solid") if len(mark.points) == 13]
    assert (len(full), len(half), len(in_role(scene, "hollow"))) == (4, 1, 11)


def test_the_state_of_every_stage_is_said_in_words():
    scene = hull_profile(HOLDING, hull="MB84-03")
    assert "3 Bag done; 4 Hold under way; 5 Pour not begun" in scene.desc
    assert "MB84-03" in scene.title


def test_a_profile_without_lines_says_so():
    assert "a plain profile, not this model's lines" in words_on(hull_profile(HOLDING, hull="MB84-03"))


def test_a_hull_number_is_escaped():
    assert as_svg(hull_profile(HOLDING, hull="<A&B>")) is not None


def test_nothing_sticks_out():
    assert sticking_out(hull_profile(HOLDING, hull="MB84-03")) == []


def test_ten_states_are_refused():
    with pytest.raises(ValueError, match="11 stages, given were 10"):
        hull_profile(HOLDING[:10], hull="MB84-03")
