"""Records that cannot teach are refused with what is needed; gaps are filled with doubt, not with silence."""

import numpy as np
import pandas as pd
import pytest

from dyebook.errors import ModelError
from dyebook.model.inputs import Circumstances, Scales, read_records, read_settings


def frame(count=4, **columns):
    table = {
        "film_um": 12.0, "dye_g_per_l": 3.0, "bath_temp_c": 40.0, "dwell_min": np.arange(1.0, count + 1), "ph": 5.5,
        "L": 50.0, "a": 10.0, "b": -20.0,
    }  # fmt: skip
    return pd.DataFrame({**table, **columns}, index=range(count))


@pytest.mark.parametrize(
    ("records", "needed"),
    [
        (frame(film_um=-3.0), "film_um is -3 in row 1"),
        (frame(bath_temp_c=140.0), "between 0 and 100"),
        (frame(L=np.nan, a=np.nan, b=np.nan), "0 of 4 records"),
        (frame(dye_g_per_l="a pinch"), "dye_g_per_l holds something that is no number"),
        (frame().drop(columns=["L", "dwell_min"]), "columns dwell_min, L are missing"),
        ([1, 2, 3], "a pandas DataFrame"),
        (frame(0), "0 of 0 records"),
    ],
)
def test_what_cannot_teach_is_refused(records, needed):
    with pytest.raises(ModelError, match=needed):
        read_records(records)


@pytest.mark.parametrize("records", [frame(1), frame(dwell_min=5.0)], ids=["one dip", "the same dip again"])
def test_one_dip_is_enough(records):
    assert len(read_records(records)) == len(records)


def test_what_photos_do_not_share_is_left_to_each_record():
    """Two set-ups: the one of most records is as it is, the other is shifted by what both would share alone."""
    told = {"L_sd": 0.3, "a_sd": 0.4, "b_sd": 0.4, "L_u": 0.5, "a_u": 0.5, "b_u": 0.5}
    training = read_records(frame(setup=["window", "bench", "bench", ""], **told))
    shared = np.sqrt([0.16, 0.09, 0.09])
    assert training.seen.setup == "bench"
    assert training.seen.shared_sd == pytest.approx(shared)
    assert training.lab_sd[:3] == pytest.approx(np.tile([0.3, 0.4, 0.4], (3, 1)))
    assert training.lab_sd[3] == pytest.approx(np.hypot([0.3, 0.4, 0.4], shared)), "of any set-up"
    columns, step = training.seen.shifts["window"]
    assert step == pytest.approx(np.sqrt(2) * shared)
    assert training.settings.seen[0][:, columns] == pytest.approx(np.diag(step))
    assert not training.settings.seen[1:].any()


def test_bands_of_one_photo_share_what_moves_between_photos():
    """The variance is kept: nine parts in ten move all bands alike."""
    training = read_records(frame(coupon="strip", L_sd=0.5, a_sd=0.5, b_sd=0.5))
    assert training.settings.seen == pytest.approx(np.sqrt(0.9) * 0.5 * np.tile(np.eye(3), (4, 1, 1)))
    assert training.lab_sd**2 + 0.9 * 0.25 == pytest.approx(np.full((4, 3), 0.25))


def test_rows_without_a_colour_are_left_out():
    assert len(read_records(frame(L=[50.0, np.nan, 45.0, 40.0]))) == 3


def test_gauge_beats_plan():
    training = read_records(frame(film_measured_um=[10.0, np.nan, 10.0, 10.0]))
    assert training.settings.film_um == pytest.approx([10, 12, 10, 10])
    assert training.sd["film_um"][1] / 12 > training.sd["film_um"][0] / 10


def test_missing_film_and_ph_are_noted_and_doubted():
    training = read_records(frame(film_um=[12.0, np.nan, 12.0, 12.0], ph=[5.5, 5.5, np.nan, 5.5]))
    assert len(training.notes) == 2
    assert training.sd["film_um"][1] > 3 * training.sd["film_um"][0]
    assert training.sd["ph"][2] > training.sd["ph"][0]


def test_stated_uncertainties_are_used():
    training = read_records(frame(L_sd=1.5, film_sd_um=0.2))
    assert training.lab_sd[:, 0] == pytest.approx(1.5)
    assert training.sd["film_um"] == pytest.approx(0.2)


def test_settings_need_a_dwell():
    with pytest.raises(ModelError, match="dwell_min"):
        read_settings(frame().drop(columns="dwell_min"), Scales(12, 5.5), Circumstances({}, {}, np.zeros(0)))
