"""Words for differences; Munsell notations against chart patches whose chromaticity was published beside them."""

import colour
import pytest

from dyebook.errors import RecordError
from dyebook.lab import adapt_lab, delta_e_00, describe_difference, looks_like_munsell, munsell_to_lab

# McCamy, Marcus & Davidson, J. Appl. Photogr. Eng. 2 (1976) 95, table 1:
# notation beside measured xyY under illuminant C
PATCHES = {
    "dark skin": "3YR 3.7/3.2",
    "purplish blue": "7.5PB 4/10.7",
    "moderate red": "2.5R 5/10",
    "purple": "5P 3/7",
    "yellow green": "5GY 7.1/9.1",
    "red": "5R 4/12",
    "yellow": "5Y 8/11.1",
    "magenta": "2.5RP 5/12",
    "cyan": "5B 5/8",
}


@pytest.mark.parametrize(("patch", "notation"), PATCHES.items())
def test_notations_give_the_published_colours(patch, notation):
    chart = colour.CCS_COLOURCHECKERS["ColorChecker 1976"]
    published = colour.XYZ_to_Lab(colour.xyY_to_XYZ(chart.data[patch]), chart.illuminant)
    # 1.5: patches are named to a tenth of a step, and Y was then stated against magnesium oxide
    assert delta_e_00(adapt_lab(published, "C"), munsell_to_lab(notation)) < 1.5


def test_a_middle_grey_has_the_standards_luminance():
    # ASTM D1535: value 5 is Y = 19.27 %, L* 51.0
    lab = munsell_to_lab("n 5/")
    assert lab == pytest.approx((51.0, 0, 0), abs=0.1)


@pytest.mark.parametrize(
    ("text", "is_one"),
    [("5PB 4/8", True), ("7.5 yr 5.5/6", True), ("N5", True), ("35, 10, -42", False), ("#5b4f8a", False)],
)
def test_notations_are_known_by_their_look(text, is_one):
    assert looks_like_munsell(text) is is_one


@pytest.mark.parametrize("text", ["5PB 4/60", "12R 4/4", "5R 11/2", "teal"])
def test_what_is_no_notation_is_refused(text):
    with pytest.raises(RecordError):
        munsell_to_lab(text)


def test_difference_in_words():
    assert describe_difference((50, 0, 0), (50, 0, 0)) == "the same"
    assert describe_difference((50, 0, 0), (53, 0, -3)) == "lighter and bluer"
    assert describe_difference((50, 0, 0), (40, 1, 0)) == "much darker and a little redder"
