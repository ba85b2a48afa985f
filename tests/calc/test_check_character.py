from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hullbook.calc.check_character import CHARACTERS, check_character
from hullbook.calc.errors import InputRefused

CODES = st.text(CHARACTERS[:-1], min_size=1, max_size=12)


def fits(checked):
    return check_character(checked[:-1]) == checked[-1]


def test_the_published_donation_number_has_its_published_check_character():
    # Guidelines for the Blood Transfusion Services in the UK, annex 2, worked example of ISO 7064 MOD 37,2:
    # G123 498 654 321 sums to 148354, which leaves 21 of 37; 38 less that is 17, the letter H.
    assert check_character("G123 498 654 321") == "H"
    assert check_character("G123498654321") == "H"


def test_dashes_and_small_letters_make_no_difference():
    assert check_character("r-0412") == check_character("R0412")


@pytest.mark.parametrize("code", ["", "-", "° €"])
def test_there_must_be_something_to_check(code):
    with pytest.raises(InputRefused, match="figures and letters") as refused:
        check_character(code)
    assert refused.value.key == "missing"


def test_every_single_wrong_character_of_a_lot_code_shows():
    checked = "R0412" + check_character("R0412")
    wrong = [
        checked[:place] + other + checked[place + 1 :]
        for place in range(len(checked))
        for other in CHARACTERS[:-1]
        if other != checked[place]
    ]
    assert len(wrong) == 6 * 35
    assert not any(fits(one) for one in wrong)


@given(CODES)
def test_every_two_neighbours_swapped_show(code):
    checked = code + check_character(code)
    for place, (one, next_one) in enumerate(pairwise(checked)):
        swapped = checked[:place] + next_one + one + checked[place + 2 :]
        # An asterisk only ever stands last: anywhere else it shows by itself.
        assert "*" in swapped[:-1] or fits(swapped) == (one == next_one)


@given(CODES, st.data())
def test_every_single_wrong_character_shows(code, data):
    checked = code + check_character(code)
    place = data.draw(st.integers(0, len(code) - 1))
    other = data.draw(st.sampled_from([one for one in CHARACTERS[:-1] if one != checked[place]]))
    assert not fits(checked[:place] + other + checked[place + 1 :])
