"""Whatever a measurement lacks or holds by mistake, causes are weighed all the same, or it is refused in words."""

import math

import pandas as pd
import pytest

from dyebook import diagnose
from dyebook.advice.evidence import parts_of_photo
from dyebook.errors import RecordError
from dyebook.record import Flaw, Measurement, Reading

LAB = [40, 10, -20]
SPOT = Flaw("spot", (1, 1, 3, 3), ((1, 1), (3, 1), (3, 3)), 5.0, 0.02)
READ = Reading(tuple(LAB), (1, 1, 1), (0.8, 0.8, 0.8), ((0, 0), (9, 0), (9, 9), (0, 9)), (0, 0, 9, 9), flaws=(SPOT,))
PHOTO = Measurement("p.jpg", (9, 9), "grey", None, (49.5, 0, 0), (READ,))


@pytest.mark.parametrize(
    "photo",
    [
        {}, {"parts": None, "flags": None}, {"parts": []}, {"parts": [{}]},
        {"parts": [{"lab": [None] * 3}, {"lab": LAB}]}, {"parts": [{"lab": [math.nan] * 3}, {"lab": LAB}]},
        {"parts": [{"lab": "40,10,-20"}]}, {"parts": [{"lab": [40, 10]}]},
        {"parts": [{"lab": LAB, "lab_u": [0.5, None, 0.5], "uniformity": None, "outline": [], "box": []}]},
        {"parts": [{"lab": LAB, "flaws": [{}, None, {"kind": "scratch", "delta_e00": 9}]}]},
        {"parts": [{"lab": LAB, "flaws": [{"kind": "spot", "delta_e00": "7", "area_fraction": "much", "box": None}]}]},
        {"parts": [{"lab": LAB, "outline": [[0, 0]] * 3, "flaws": [{"kind": "spot", "outline": [[1, 1]] * 6}]}]},
    ],
)  # fmt: skip
def test_a_measurement_with_gaps_is_weighed(photo):
    assert sum(one.probability for one in diagnose({}, measurement=photo)) == pytest.approx(1)


def test_a_measurement_its_dict_and_its_readings_are_one():
    for photo in (PHOTO.to_dict(), {"parts": [READ]}):
        assert diagnose({}, measurement=photo) == diagnose({}, measurement=PHOTO)


@pytest.mark.parametrize("photo", ["photo.json", [1], 7, {"parts": ["one"]}])
def test_what_is_no_measurement_is_refused_in_words(photo):
    with pytest.raises(RecordError, match="is needed"):
        diagnose({}, measurement=photo)


def test_a_look_that_was_not_taken_is_told_to_each_part():
    photo = PHOTO.to_dict() | {"flags": ["flaws_not_sought"]}
    assert parts_of_photo(photo)[0]["flags"] == ["flaws_not_sought"]
    assert parts_of_photo(None) == []


@pytest.mark.parametrize(
    "record",
    [
        pd.Series({"film_um": "12", "ph": math.nan, "alloy": " ", "sealed": "yes", "colour of the cat": "grey"}),
        {"alloy": "mystery metal 9"}, {"alloy": 6061}, {"film_um": "", "L": None}, {"dyed_at": pd.NaT},
        {"film_measured_um": 9}, {"L": 40.0}, {"wait_min": "2.5"},
    ],
)  # fmt: skip
def test_a_record_with_gaps_is_weighed(record):
    assert sum(one.probability for one in diagnose(record)) == pytest.approx(1)
