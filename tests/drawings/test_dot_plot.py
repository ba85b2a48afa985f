import pytest
from hypothesis import given
from hypothesis import strategies as st

from hullbook.drawings.dot_plot import DotRow, dot_plot
from tests.drawings.looking import in_role, sticking_out, words_on

BOTTOM = DotRow("Bottom, port", [38, 41, 41, 43], struck=[22])


def hardness(rows, **more):
    return dot_plot(rows, x_label="hardness", title="Hardness of the shell", **more)


def test_every_reading_is_a_dot_and_a_struck_one_is_crossed():
    scene = hardness([BOTTOM])
    assert (len(in_role(scene, "solid")), len(in_role(scene, "hollow")), len(in_role(scene, "struck"))) == (4, 1, 1)


def test_the_mean_leaves_the_struck_reading_out():
    # 163 in four readings
    assert "40.8" in words_on(hardness([BOTTOM]))
    assert "4 readings, mean 40.8, 1 struck" in hardness([BOTTOM]).desc


def test_a_reading_that_came_twice_is_piled():
    twice = [mark.points for mark in in_role(hardness([DotRow("Transom", [41, 41])]), "solid")]
    assert twice[0][0][0] == pytest.approx(twice[1][0][0])
    assert twice[0][0][1] > twice[1][0][1]


def test_what_was_asked_for_is_a_line_with_its_figure():
    scene = hardness([BOTTOM], at_least=35)
    assert len(in_role(scene, "limit")) == 1
    assert "at least 35" in words_on(scene)


def test_a_row_of_struck_readings_has_no_mean():
    assert "no readings, 1 struck" in hardness([DotRow("Keel", [], struck=[20])]).desc


rows = st.lists(
    st.builds(
        DotRow,
        st.text("Topside <&", max_size=30),
        st.lists(st.integers(0, 100), max_size=40),
        st.lists(st.integers(0, 100), max_size=5),
    ),
    min_size=1,
    max_size=8,
)


@given(rows, st.floats(0, 100))
def test_nothing_of_any_dot_plot_sticks_out(given_rows, at_least):
    assert sticking_out(hardness([*given_rows, BOTTOM], at_least=at_least)) == []


def test_a_plot_without_a_reading_is_refused():
    with pytest.raises(ValueError, match="at least one reading"):
        hardness([DotRow("Keel", [])])
