"""The nearest shades are the same as those of a search through everything with another library."""

import numpy as np
import pytest

from dyebook.book.search import LabColumn, box_for
from dyebook.lab import delta_e_00


def _colours(count, seed):
    rng = np.random.default_rng(seed)
    return np.column_stack([rng.uniform(0, 100, count), rng.normal(0, 35, count), rng.normal(0, 35, count)])


@pytest.mark.parametrize("seed", range(4))
def test_same_as_colour_science_over_the_whole_column(seed):
    import colour

    labs = _colours(20_000, seed)
    column = LabColumn(labs, np.arange(len(labs)))
    for target in [*_colours(6, seed + 100), (50, 0, 0), (30, 10, -60), (5, 0.1, 0.2), (98, -5, 90)]:
        everything = colour.delta_E(np.asarray(target, float), labs, method="CIE 2000")
        found = column.nearest(target, 20)
        assert [key for key, _ in found] == np.argsort(everything, kind="stable")[:20].tolist()
        assert [value for _, value in found] == pytest.approx(np.sort(everything)[:20], abs=1e-9)


def test_no_colour_within_the_radius_lies_outside_the_box():
    rng = np.random.default_rng(5)
    targets = _colours(400, 6)
    for target in targets:
        near = target + rng.normal(0, rng.uniform(0.2, 20), (400, 3)) * [0.5, 1, 1]
        near[:, 0] = np.clip(near[:, 0], 0, 100)
        differences = delta_e_00(target, near)
        for difference, colour in zip(differences, near, strict=True):
            lightness, chroma = box_for(target, difference)
            assert abs(colour[0] - target[0]) <= lightness
            assert np.hypot(*(colour[1:] - target[1:])) <= chroma


def test_clusters_ties_and_few_colours():
    same = LabColumn(np.tile([40.0, 5, 5], (500, 1)), np.arange(500)[::-1])
    assert same.nearest((40, 5, 5), 3) == [(0, 0.0), (1, 0.0), (2, 0.0)]
    assert LabColumn(np.empty((0, 3)), []).nearest((40, 5, 5), 3) == []
    far = LabColumn([[0, 0, 0], [100, 0, 0]], [7, 8])
    assert [key for key, _ in far.nearest((90, 120, -120), 5)] == [8, 7]


def test_each_key_once_by_its_nearest_colour():
    column = LabColumn([[40, 0, 0], [41, 0, 0], [50, 0, 0]], [1, 1, 2])
    found = column.nearest((40, 0, 0), 2)
    assert [key for key, _ in found] == [1, 2]
    assert found[0][1] == 0


def test_only_allowed_keys():
    column = LabColumn(_colours(1000, 1), np.arange(1000))
    assert {key for key, _ in column.nearest((50, 0, 0), 5, allowed=[3, 4, 900])} == {3, 4, 900}


def test_the_book_finds_what_other_stations_add(store, dip, book_url):
    from dyebook.book.store import open_book

    first = store.add_batch(dip((40, 0, -30)))
    assert store.find((40, 0, -30))[0].row.batch == first
    with open_book(book_url) as other:
        second = other.add_batch(dip((60, 0, -30), dye="Ember"))
    found = store.find((60, 0, -30))
    assert [one.row.batch for one in found] == [second, first]
    assert found[0].delta_e00 == 0
    assert [one.row.batch for one in store.find((60, 0, -30), dye="Harbour blue")] == [first]
    store.correct("readings", 2, {"L": 20.0})
    assert store.find((20, 0, -30))[0].row.batch == second
    assert [one.to_dict()["delta_e00"] for one in store.find(text="ember")] == [None]
