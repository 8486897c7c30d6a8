"""The book as one table to learn from."""

import math

import numpy as np
import pandas as pd
import pytest


def test_the_newest_dips_of_each_bath_are_those_of_the_whole_table(store, dip):
    for number in range(12):
        read = (40.0 + number, 3.5, -38.25) if number % 4 else None
        store.add_batch(dip(read, dye=("Ember", "Moss")[number % 2], bath=(None, "B1")[number // 6], note=str(number)))
    whole = store.frame()
    expected = whole.groupby(["dye", "bath"], dropna=False).tail(2).reset_index(drop=True)
    pd.testing.assert_frame_equal(store.frame(newest=2), expected)
    assert store.frame(newest=2, dye="Moss")["batch"].tolist() == expected[expected["dye"] == "Moss"]["batch"].tolist()
    assert store.frame(newest=1, dye="Moss", bath="B1")["note"].tolist() == ["11"]
    assert len(store.frame(newest=2, dye="Nettle")) == 0


def test_frame_has_the_contracts_columns(store, dip):
    number = store.add_batch(dip((40, 1, -30), bath="Tank 2", sealed=False))
    store.add_reading(number, (38, 1, -30), sealed=True)
    store.add_batch(dip())  # never read: nothing to learn from
    frame = store.frame()
    assert {"film_um", "dye_g_per_l", "bath_temp_c", "dwell_min", "ph", "L", "a", "b", "L_sd"} <= set(frame)
    assert frame["L"].tolist() == [40, 38]
    assert frame["L_sd"].tolist()[0] == 0.8
    assert store.frame(unsealed_only=True)["L"].tolist() == [40]
    assert len(store.frame(dye="Ember")) == 0
    assert store.frame(dye="Ember")["film_um"].dtype == float


def test_frame_leaves_out_two_colour_work_that_does_not_say_which_dip_was_read(store, dip):
    number = store.add_batch(dip((40, 1, -30)))
    ember = store.add("dyes", name="Ember")
    second = store.add("dips", batch_id=number, position=2, dye_id=ember, dwell_min=2, masked="left half")
    assert len(store.frame()) == 0
    store.add_reading(number, (55, 40, 40), dip_id=second)
    frame = store.frame()
    assert (frame["dye"].tolist(), frame["L"].tolist(), frame["dwell_min"].tolist()) == (["Ember"], [55], [2])
    assert store.batch(number).dips == 2


def test_the_frame_averages_as_the_list_does(store, dip):
    number = store.add_batch(dip((40, 1, -30)))
    store.add_reading(number, (43, 2, -33), L_sd=2.0, a_sd=2.0, b_sd=2.0)
    store.add_reading(number, (46, 3, -36))  # says nothing of its uncertainty
    (row,), frame = store.batches(), store.frame()
    assert frame[["L", "a", "b"]].iloc[0].tolist() == pytest.approx(row.lab)
    assert frame[["L_sd", "a_sd", "b_sd"]].iloc[0].tolist() == pytest.approx(row.lab_u)
    assert row.lab_u[0] == pytest.approx(math.sqrt((0.8**2 + 2**2) / 2))
    assert frame["wet"].iloc[0] is None


def test_what_moves_from_photo_to_photo_is_told_from_what_a_set_up_shares(store, dip):
    from dyebook.book.setups import name_setup

    number = store.add_batch(dip())
    sizes = {"camera": 3.0, "shape": 1.0, "photo": 0.8, "own": 0.6}
    parts = {name: (np.eye(3) * size**2).tolist() for name, size in sizes.items()}
    told = {"error_parts": parts, "setup_key": "4f2a", **dict.fromkeys(("L_sd", "a_sd", "b_sd"), 3.3)}
    for content in (b"\xff\xd8\xff\xe0 one", b"\xff\xd8\xff\xe0 two"):
        store.add_reading(number, (43, 2, -33), photo=content, **told)
    row = store.frame().iloc[0]
    # two readings in two photos: each variance over two; camera and shape stay
    moving = (0.8**2 + 0.6**2) / 2
    assert row[["L_sd", "a_sd", "b_sd"]].tolist() == pytest.approx([moving**0.5] * 3)
    assert row[["L_u", "a_u", "b_u"]].tolist() == pytest.approx([(moving + 3**2 + 1) ** 0.5] * 3)
    assert row["setup"] == "4f2a"
    name_setup(store, "4f2a", "Window bench")
    assert store.frame()["setup"].tolist() == ["window bench"]
    store.add_reading(number, (43, 2, -33), **told | {"setup_key": "99"})
    assert store.frame()["setup"].isna().all(), "a mean over two set-ups is of neither"
