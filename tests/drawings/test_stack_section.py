import pytest
from hypothesis import given
from hypothesis import strategies as st

from hullbook.drawings.scene import Rect
from hullbook.drawings.stack_section import Layer, stack_section
from tests.drawings.looking import in_role, sticking_out, words_on

BOTTOM = [
    Layer(1, "Gel coat, white", 0.5, "gelcoat"),
    Layer(2, "Chopped mat 300", 0.62),
    Layer(3, "Biaxial <600> & binder", 0.48, angle="±45"),
    Layer(4, "Foam 80", 20.0, "core"),
    Layer(5, "Woven 600", 0.52, angle="0/90"),
    Layer(6, "Biaxial 600", 0.48, angle="±45"),
]

layer = st.builds(
    Layer,
    st.integers(1, 40),
    st.text("abc 0189<&", max_size=40),
    st.floats(0.05, 40),
    st.sampled_from(["ply", "core", "gelcoat"]),
    st.sampled_from(["", "0", "90", "±45", "0/90", "0/90/±45"]),
)


def test_every_layer_is_named_with_its_number_and_thickness():
    words = words_on(stack_section(BOTTOM))
    for one in BOTTOM:
        assert str(one.number) in words
        assert f"{one.thickness_mm:.2f}" in words
        assert one.material in words
    assert words.count("±45") == 2


def test_an_angle_keyed_as_plus_minus_is_lettered_with_its_sign():
    assert "0/90/±45" in words_on(stack_section([Layer(1, "Quadriaxial 1200", 0.92, angle="0/90/+-45")]))


def test_layers_stand_on_each_other_from_the_mould_up():
    bands = [
        shape
        for shape in stack_section(BOTTOM).shapes
        if isinstance(shape, Rect) and shape.role in ("glass", "core", "resin")
    ]
    assert [band.role for band in bands] == ["resin", "glass", "glass", "core", "glass", "glass"]
    for below, above in zip(bands, bands[1:], strict=False):
        assert above.y + above.height == pytest.approx(below.y)


def test_thin_layers_are_drawn_to_one_scale():
    bands = [shape for shape in stack_section(BOTTOM).shapes if isinstance(shape, Rect) and shape.role == "glass"]
    thin = [one.thickness_mm for one in BOTTOM if one.kind == "ply"]
    scales = [band.height / thickness for band, thickness in zip(bands, thin, strict=True)]
    assert scales == pytest.approx([scales[0]] * len(scales))


def test_a_thick_core_is_broken_and_says_so():
    scene = stack_section(BOTTOM)
    assert in_role(scene, "ground")
    assert any("core is broken" in words for words in words_on(scene))


def test_a_core_as_thin_as_the_skins_is_drawn_whole():
    scene = stack_section([Layer(1, "Mat", 1.0), Layer(2, "Felt core", 0.3, "core"), Layer(3, "Mat", 1.0)])
    assert not in_role(scene, "ground")
    assert not any("core is broken" in words for words in words_on(scene))


def test_the_total_is_the_sum_of_the_layers():
    assert "22.60" in words_on(stack_section(BOTTOM))


def test_plies_at_45_degrees_slant_the_other_way_each_time():
    def slants(*layers):
        scene = stack_section(layers)
        mould = in_role(scene, "ink")[0].y1
        lines = [line for line in in_role(scene, "hatch") if max(line.y1, line.y2) <= mould + 1e-6]
        return {(line.x2 - line.x1) * (line.y2 - line.y1) < 0 for line in lines}

    one, two = Layer(1, "Biaxial", 0.5, angle="±45"), Layer(2, "Biaxial", 0.5, angle="±45")
    assert len(slants(one)) == 1
    assert slants(one, two) == {True, False}


@given(st.lists(layer, min_size=1, max_size=24))
def test_nothing_of_any_stack_sticks_out(layers):
    assert sticking_out(stack_section(layers)) == []


def test_a_stack_of_nothing_is_refused():
    with pytest.raises(ValueError, match="at least one layer"):
        stack_section([])


def test_a_layer_without_a_thickness_is_refused():
    with pytest.raises(ValueError, match="above nought"):
        stack_section([Layer(1, "Mat", 0.0)])
