"""Whatever the photo fails to tell, batch and photo are kept."""

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from dyebook.book.setups import keep_twin, list_setups, name_setup, twin_of
from dyebook.errors import BookError, PhotoError, RecordError
from dyebook.jobs.photo import FITTING, look, options_as_kept, record_dip, shade_of
from dyebook.lab import Lab
from dyebook.record import DyeRecord, Measurement, Reading, ReadOptions

RECORD = DyeRecord("Ember", film_um=12, dye_g_per_l=3, bath_temp_c=40, dwell_min=5)


@pytest.fixture
def photo(tmp_path):
    path = tmp_path / "rim.jpg"
    path.write_bytes(b"\xff\xd8\xff\xe0 rim")
    return path


@pytest.fixture
def measured(monkeypatch):
    """Puts a measurement in place of the photo chain and notes the options it was called with."""
    calls = []

    def _measured(parts=0, error=None):
        readings = tuple(Reading(Lab(40 + 10 * i, 0, 0), (1, 1, 1), (1, 1, 1)) for i in range(parts))

        def look_instead(path, options, name=None):
            calls.append(options)
            if error:
                raise PhotoError(error)
            found = Measurement("rim.jpg", (9, 9), "grey", None, Lab(49.5, 0, 0), readings)
            return SimpleNamespace(measurement=found)

        monkeypatch.setattr("dyebook.jobs.photo.look", look_instead)
        return calls

    return _measured


def test_without_a_photo_there_is_no_reading(book):
    kept = record_dip(book, RECORD)
    assert (kept.to_dict()) == {"batch": 1, "reading": None, "warnings": []}


def test_the_reading_is_kept_with_its_batch(book, photo, measured):
    measured(parts=2)
    kept = record_dip(book, RECORD, photo, part_index=1)
    assert kept.reading["lab"] == [50, 0, 0]
    assert "2 parts" in kept.warnings[0]
    assert book.batch(kept.batch).lab == Lab(50, 0, 0)


@pytest.mark.parametrize(("case", "words"), [({"error": "no grey card"}, "no grey card"), ({"parts": 0}, "no part")])
def test_a_photo_that_tells_nothing_is_kept_all_the_same(book, photo, measured, case, words):
    measured(**case)
    kept = record_dip(book, RECORD, photo)
    assert kept.reading is None
    assert words in kept.warnings[0]
    assert book.photo_bytes(book.batch(kept.batch).photo) == photo.read_bytes()


def test_a_part_that_is_not_there_is_said(book, photo, measured):
    measured(parts=1)
    kept = record_dip(book, RECORD, photo, part_index=4)
    assert (kept.reading, book.batch(kept.batch).lab) == (None, None)
    assert "part 5" in kept.warnings[0]  # as people count


def test_a_shade_is_looked_for_by_the_shops_own_card(book, photo, measured):
    calls = measured(parts=2)
    book.set_setting("card_lab", [48, 0, 1])
    assert shade_of(book, photo) == Lab(40, 0, 0)
    assert (calls[0].card_lab, calls[0].camera) == ((48, 0, 1), FITTING)
    measured(parts=0)
    with pytest.raises(PhotoError, match="no part was found"):
        shade_of(book, photo)


def test_the_shops_own_card_is_used(book, photo, measured):
    calls = measured(parts=1)
    book.set_setting("card_lab", [48, 0, 1])
    record_dip(book, RECORD, photo)
    record_dip(book, RECORD, photo, card_lab=(50, 0, 0))
    assert [options.card_lab for options in calls] == [(48, 0, 1), (50, 0, 0)]


def test_a_named_set_up_and_the_finish_are_kept_with_a_reading(book):
    photo = Path(__file__).parents[2] / "samples" / "tags_one_streaked.jpg"
    kept = record_dip(book, RECORD, photo, setup="window bench", finish="blasted", flaws=False)
    (row,) = book.rows("readings", batch_id=kept.batch)
    assert row["finish"] == "blasted"
    assert row["measured_with"]["asked"]["setup"] == "window bench"
    assert (row["setup_key"], row["shape_key"]) == (kept.reading["setup"]["key"], kept.reading["shape_key"])
    assert row["error_parts"] == kept.reading["lab_cov_parts"]
    (use,) = list_setups(book)
    assert (use.name, use.keys, use.readings) == ("window bench", (row["setup_key"],), 1)
    again = options_as_kept(row, book.photo_bytes)
    assert (again.setup, again.finish) == ("window bench", "blasted")


def test_a_reading_by_a_bare_twin_is_read_by_it_again(book):
    photo = Path(__file__).parents[2] / "samples" / "tags_one_streaked.jpg"
    outline = look(photo, ReadOptions(flaws=False)).measurement.parts[1].outline
    kept = record_dip(book, RECORD, photo, twin_at=outline, twin_lab=(80, 0, -1), flaws=False)
    (row,) = book.rows("readings", batch_id=kept.batch)
    again = options_as_kept(row, book.photo_bytes)
    assert again.twin_at == pytest.approx(np.array(outline))
    assert again.twin_lab == (80, 0, -1)
    (part,) = look(photo, replace(again, flaws=False)).measurement.parts
    assert part.lab == pytest.approx((row["L"], row["a"], row["b"]), abs=0.01)


def test_the_twin_of_a_set_up_keeps_its_colour_whatever_the_name(book):
    assert twin_of(book, "bench") is None
    keep_twin(book, "bench", "80, -0.3, -1")
    name_setup(book, "bench", "window bench")
    assert twin_of(book, "bench") == (80, -0.3, -1)
    assert [row["name"] for row in book.rows("setups")] == ["window bench"]
    keep_twin(book, "bench", None)
    assert twin_of(book, "bench") is None
    with pytest.raises(RecordError, match="the bare twin's own colour is 'grey'"):
        keep_twin(book, "bench", "grey")


def test_the_same_part_of_the_same_file_is_kept_once(book, photo):
    number = book.add_batch(RECORD)
    seen = Measurement("rim.jpg", (9, 9), "grey", None, Lab(49.5, 0, 0), (Reading(Lab(40, 0, 0), (1,) * 3, (1,) * 3),))
    book.add_reading(number, measurement=seen, photo=photo)
    with pytest.raises(BookError, match="this very file is read in batch 1 already"):
        book.add_reading(number, measurement=seen, photo=photo)
    assert len(book.rows("readings")) == 1
