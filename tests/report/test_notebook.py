"""Results show themselves in a notebook: colour, figures and doubts, and what somebody typed never as code."""

import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path

import pandas as pd
import pytest

import dyebook
from dyebook.advice.diagnose import Cause
from dyebook.advice.judge import Shade, judge, own_error
from dyebook.lab import Lab, lab_to_srgb8
from dyebook.notebook import Drawn
from dyebook.record import Flaw, Measurement, Reading
from dyebook.report.notebook import draw

ROOT = Path(__file__).parents[2]
ORANGE, BLUE = Lab(60.0, 45.0, 55.0), Lab(35.0, 8.0, -42.0)
OUTLINE = ((10, 10), (60, 10), (60, 50))


def _reading(lab, **more):
    return Reading(lab, (0.5, 0.5, 0.5), (0.4, 0.6, 0.7), OUTLINE, (10, 10, 60, 50), **more)


@pytest.fixture(scope="module")
def bath():
    return dyebook.learn_bath(pd.read_csv(ROOT / "samples" / "dips.csv"))


class Seen(HTMLParser):
    """The words and tags of a piece of HTML; every tag that opens must close."""

    def __init__(self, html):
        super().__init__()
        self.open, self.tags, self.words = [], set(), []
        self.feed(html)
        assert not self.open

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        if tag not in ("img", "br"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_startendtag(self, tag, attrs):
        self.tags.add(tag)

    def handle_data(self, data):
        if self.open[-1] != "style":
            self.words.append(data)

    @property
    def text(self):
        return " ".join(self.words)


def _fill(lab):
    red, green, blue = (int(code) for code in lab_to_srgb8(lab)[0])
    return f"rgb({red},{green},{blue})"


def test_a_reading_shows_colour_figures_and_doubts():
    html = _reading(ORANGE, flags=("glare",), flaws=(Flaw("streak", (), (), 3.1, 0.04),))._repr_html_()
    seen = Seen(html)
    assert _fill(ORANGE) in html
    for words in ("L* 60.0 ± 0.8", "Mirror highlights", "streak, ΔE00 3.1", "4 % of the part"):
        assert words in seen.text, words


def test_a_measurement_shows_where_things_lie():
    quad = ((100, 10), (160, 10), (160, 70), (100, 70))
    parts = (_reading(ORANGE), _reading(BLUE, flags=("part_doubtful",)))
    html = Measurement(
        "tags.jpg", (200, 100), "grey", quad, Lab(49.5, 0, 0), parts, warnings=("no profile",)
    )._repr_html_()
    seen = Seen(html)
    assert html.count("<polygon") == 3
    assert html.count(_fill(BLUE)) == 2, "in the plan and in the table"
    for words in ("tags.jpg, 200 × 100", "card: grey", "the outline of the part is uncertain", "No profile."):
        assert words in seen.text, words


def test_a_name_with_code_in_it_is_only_a_name():
    html = Measurement("<img src=x onerror=alert(1)>", (20, 10), "none", None, Lab(49.5, 0, 0))._repr_html_()
    assert "img" not in Seen(html).tags
    assert "<img src=x onerror=alert(1)>" in Seen(html).text


def test_a_bath_shows_its_dips_and_where_it_knows_its_way(bath):
    html = bath._repr_html_()
    text = Seen(html).text
    table = pd.read_csv(ROOT / "samples" / "dips.csv")
    assert f"dips {len(table)} film" in text
    assert f"{table['dwell_min'].min():g} min to {table['dwell_min'].max():g} min" in text
    assert all(_fill(tuple(lab)) in html for lab in table[["L", "a", "b"]].to_numpy())


def test_a_suggestion_shows_what_to_set_and_what_to_expect(bath):
    one = bath.suggest(tuple(BLUE), film_um=12.0, count=1)[0]
    html = one._repr_html_()
    assert _fill(one.lab) in html
    assert "12.0 µm" in Seen(html).text
    assert f"{one.settings['bath_temp_c']:.0f} °C" in Seen(html).text


def test_a_cause_and_a_verdict_are_told_in_words():
    cause = Cause("weak_bath", 0.42, "paler <than> planned", "top it up", "gloves", "dip a coupon")
    text = Seen(cause._repr_html_()).text
    for words in ("42 %", "weak bath", "paler <than> planned", "top it up", "gloves", "dip a coupon"):
        assert words in text, words
    verdict = judge(BLUE, Shade((35.2, 8, -42), own_error((0.1, 0.1, 0.1))))
    assert "Matches" in Seen(verdict._repr_html_()).text


def test_what_has_no_picture_is_left_to_its_repr():
    class Other(Drawn):
        pass

    assert draw(Other()) is None
    assert Other()._repr_html_() is None


def test_importing_the_package_stays_instant():
    code = (
        "import sys; import dyebook; heavy = {'numpy', 'scipy', 'pandas', 'skimage', 'cv2', 'colour', 'matplotlib'}; "
        "print(sorted(heavy & set(sys.modules)), len([name for name in sys.modules if name.startswith('dyebook')]))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    assert done.stdout.split() == ["[]", "3"]
