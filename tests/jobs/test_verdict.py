"""Batches and samples of a book as they are judged: by photo, set-up, shape and state."""

import numpy as np
import pytest

from dyebook.advice.judge import Shade, difference_covariance
from dyebook.book.exchange.instrument import typed_instrument
from dyebook.book.setups import list_setups, name_setup, setup_names, take_name_back, version_of
from dyebook.errors import BookError, RecordError
from dyebook.jobs import orders
from dyebook.jobs.verdict import (
    batch_shade,
    coupon_steps,
    judge_against,
    keep_limits,
    limits_of,
    mean_shade,
    reading_shades,
    take_step,
    target_shade,
    through_coupon,
)
from dyebook.record import DyeRecord

LAB = (40.0, 40.0, 44.0)
# standard uncertainties of the parts, alike in L*, a*, b*
SIZES = {"camera": 3.0, "shape": 0.5, "photo": 0.4, "own": 0.3}
PHOTOS = [b"\xff\xd8\xff\xe0" + bytes([number]) * 200 for number in range(4)]


def _parts(**sizes):
    return {name: (np.eye(3) * size**2).tolist() for name, size in (SIZES | sizes).items()}


def _read(book, number, lab=LAB, photo=0, setup="bench", **values):
    """Add a reading with its parts to a batch, as a photo gives it."""
    told = {"error_parts": _parts(), "setup_key": setup, "shape_key": "flat", "source": "photo"}
    u = sum(size**2 for size in SIZES.values()) ** 0.5
    told |= dict.fromkeys(("L_sd", "a_sd", "b_sd"), u)
    return book.add_reading(number, lab=lab, photo=PHOTOS[photo], **told | values)


def _batch(book, **changes):
    return book.add_batch(DyeRecord("Ember", 12, 3, 50, 6, bath="E1", **changes))


def _sample(book, order, photo=3, tolerance=2.0, **values):
    sample = book.add("samples", order_id=order, name="the customer's piece")
    number = _batch(book)
    _read(book, number, photo=photo, **values)
    (row,) = book.rows("readings", batch_id=number)
    kept = {
        name: row[name] for name in ("photo_id", "source", "error_parts", "setup_key", "shape_key", "finish", *"Lab")
    }
    book.add("readings", sample_id=sample, **kept, **{f"{axis}_sd": row[f"{axis}_sd"] for axis in "Lab"})
    book.delete("batches", number)
    orders.set_target(book, order, LAB, tolerance, sample_id=sample)
    return orders.target_of(book, order)


@pytest.fixture
def order(book):
    return orders.take_order(book, "Knobs")


def _u(book, number, target):
    return judge_against(book, book.batch(number), target).delta_e00_u


def test_two_photos_of_one_set_up_share_camera_and_shape(book, order):
    target, number = _sample(book, order), _batch(book)
    _read(book, number)
    wanted = target_shade(book, target)
    found = difference_covariance(wanted, batch_shade(book, book.batch(number), wanted))
    # what is left: photo and own of both
    assert np.allclose(found, 2 * (0.4**2 + 0.3**2) * np.eye(3), atol=1e-3)


def test_one_photo_is_surer_than_two_and_two_surer_than_two_set_ups(book, order):
    target, one, two, other = _sample(book, order), _batch(book), _batch(book), _batch(book)
    _read(book, one, photo=3)
    _read(book, two)
    _read(book, other, setup="kitchen")
    widths = [_u(book, number, target) for number in (one, two, other)]
    assert widths == sorted(widths)
    assert widths[1] < 0.3 * widths[2]
    verdicts = [judge_against(book, book.batch(number), target) for number in (one, two, other)]
    assert [found.verdict for found in verdicts] == ["in", "in", "cannot_tell"]
    assert any(note.code == "trouble.same_setup" for note in verdicts[2].would_decide)


def test_keys_of_one_name_are_one_set_up(book, order):
    target, number = _sample(book, order), _batch(book)
    _read(book, number, setup="kitchen")
    apart = _u(book, number, target)
    name_setup(book, "bench", "window  bench")
    name_setup(book, "kitchen", "window bench")
    assert _u(book, number, target) < 0.3 * apart
    (use,) = list_setups(book)
    assert (use.keys, use.name, use.readings) == (("bench", "kitchen"), "window bench", 3)
    take_name_back(book, "kitchen")
    assert _u(book, number, target) == pytest.approx(apart), "joined and parted again"
    with pytest.raises(RecordError, match="a set-up is named"):
        name_setup(book, "kitchen", " ")


def test_names_are_taken_back_one_by_one_and_the_history_keeps_them(book):
    for name in ("window bench", "kitchen", "light tent"):
        name_setup(book, "4f2a", name)
    named = []
    for _ in range(3):
        take_name_back(book, "4f2a", version_of(book, "4f2a"))
        named.append(setup_names(book).get("4f2a"))
    assert named == ["kitchen", "window bench", None]
    with pytest.raises(RecordError, match="no name that could be taken back"):
        take_name_back(book, "4f2a")
    (row,) = book.rows("setups")
    told = [change["new"]["name"] for change in book.history("setups", row["id"])]
    assert told == ["window bench", "kitchen", "light tent", "kitchen", "window bench", None]
    name_setup(book, "4f2a", "kitchen")
    with pytest.raises(BookError, match=r"changed by .* after you opened it"):
        take_name_back(book, "4f2a", 1)
    # a name that came with its row, as books of before have it
    book.add("setups", key="99", name="north window")
    take_name_back(book, "99")
    assert setup_names(book) == {"4f2a": "kitchen", "99": None}


def test_the_mean_of_photos_lessens_what_differs_from_photo_to_photo(book):
    number = _batch(book)
    for photo in range(2):
        _read(book, number, photo=photo)
    _read(book, number, photo=1)
    shade = batch_shade(book, book.batch(number))
    # three readings in two photos of one set-up
    for name, of in {"camera": 1, "shape": 1, "photo": 2, "own": 3}.items():
        assert np.allclose(shade.parts[name], np.eye(3) * SIZES[name] ** 2 / of), name
    assert (shade.setup, shade.photo) == ("bench", None)
    _read(book, number, photo=2, setup="kitchen")
    both = batch_shade(book, book.batch(number))
    assert np.allclose(both.parts["camera"], np.eye(3) * SIZES["camera"] ** 2 / 2)
    assert both.setup is None


def test_like_is_compared_with_like(book, order):
    target, number = _sample(book, order), _batch(book)
    _read(book, number, setup="kitchen")
    apart = _u(book, number, target)
    _read(book, number, photo=1)
    together = _u(book, number, target)
    assert together < 0.3 * apart, "the reading in the target's set-up counts alone"
    _read(book, number, photo=3)
    assert _u(book, number, target) < together, "the one in its photo is surer still"


def test_a_reading_kept_before_parts_is_all_its_own_and_means_do_not_lessen_it(book, order):
    target, number = _sample(book, order), _batch(book)
    for photo in range(2):
        _read(book, number, photo=photo, error_parts=None)
    shade = batch_shade(book, book.batch(number), target_shade(book, target))
    total = sum(shade.parts.values())
    assert np.allclose(total, np.eye(3) * sum(size**2 for size in SIZES.values()))
    found = judge_against(book, book.batch(number), target)
    assert found.verdict == "cannot_tell", "the camera's part of the sample finds nothing to cancel with"


def test_wet_against_dry_says_so(book, order):
    target, number = _sample(book, order), _batch(book)
    (reading,) = book.rows("readings", sample_id=target["sample_id"])
    book.correct("readings", reading["id"], {"wet": False})
    _read(book, number)
    alike = _u(book, number, target)
    _read(book, number, photo=1, wet=True)
    found = judge_against(book, book.batch(number), target)
    assert any(note.code == "trouble.unlike_wet" for note in found.notes)
    assert found.delta_e00_u > alike + 1
    assert any(note.code == "trouble.like_states" for note in found.would_decide)


def test_another_shape_or_finish_shares_less(book, order):
    target = _sample(book, order, finish="polished")
    blasted, polished, ring = _batch(book, finish="blasted"), _batch(book, finish="polished"), _batch(book)
    for number, shape in ((blasted, "flat"), (polished, "flat"), (ring, "ring")):
        _read(book, number, shape_key=shape)
    assert _u(book, polished, target) < _u(book, blasted, target)
    assert _u(book, polished, target) < _u(book, ring, target)


def test_a_sample_read_too_loosely_is_said_when_it_is_taken_in(book, order):
    loose = _sample(book, order, tolerance=1.0)
    found = orders.sample_verdict(book, loose)
    assert found.verdict == "cannot_tell"
    assert found.smallest_tolerance > 1.0
    assert orders.sample_verdict(book, loose | {"tolerance_de00": 3.0}).verdict == "in"
    stated = orders.set_target(book, order, LAB, 0.5)
    assert orders.sample_verdict(book, book.row("targets", stated)) is None


def test_the_shade_of_a_batch_is_wanted_again_as_it_was_read(book, order):
    first, again = _batch(book), _batch(book)
    _read(book, first)
    _read(book, again, photo=1)
    orders.set_target(book, order, LAB, 2.0, batch_id=first)
    assert judge_against(book, book.batch(again), orders.target_of(book, order)).verdict == "in"


def test_the_mean_of_one_is_itself(book):
    number = _batch(book)
    _read(book, number)
    (shade,) = reading_shades(book, book.rows("readings", batch_id=number))
    assert mean_shade([shade]) is shade


def _coupon(book, lab, setup, photo):
    from dyebook.book.coupons import keep_check_day

    told = {"error_parts": _parts(), "setup_key": setup, "shape_key": "ring", "source": "photo"}
    told |= dict(zip("Lab", lab, strict=True)) | dict.fromkeys(("L_sd", "a_sd", "b_sd"), 3.1)
    keep_check_day(book, f"2026-01-0{photo + 1}", None, [(told, (f"{photo}.jpg", PHOTOS[photo] + b"day"))])


def test_the_check_coupon_links_two_set_ups_and_the_correction_is_only_offered(book, order):
    target, number = _sample(book, order), _batch(book)
    # the kitchen reads everything 3 lighter and 2 yellower
    _read(book, number, lab=(43.0, 40.0, 46.0), setup="kitchen")
    alone = judge_against(book, book.batch(number), target)
    assert not any(note.code == "trouble.through_coupon" for note in alone.notes)
    _coupon(book, (45.0, 38.0, 40.0), "bench", 0)
    _coupon(book, (48.0, 38.0, 42.0), "kitchen", 1)
    found = judge_against(book, book.batch(number), target)
    assert (found.verdict, found.delta_e00) == (alone.verdict, alone.delta_e00), "nothing is corrected silently"
    (note,) = [one for one in found.notes if one.code == "trouble.through_coupon"]
    assert note.values["delta_e00"] < 0.2
    assert "with that taken off" in note
    assert note.values["u"] < 0.6 * found.delta_e00_u
    assert note.values["u"] > judge_against(book, book.batch(_twin(book)), target).delta_e00_u, "two photos more"
    (step,) = coupon_steps(book)
    assert (step.here, step.there, step.step, step.taken) == ("bench", "kitchen", (-3, 0, -2), False)
    # photo and own of two photos: the closed form of a difference of means
    assert step.u == pytest.approx([np.sqrt(2 * (SIZES["photo"] ** 2 + SIZES["own"] ** 2))] * 3)


def test_a_maker_has_the_coupons_step_taken_off_and_put_in_again(book, order):
    target, number = _sample(book, order), _batch(book)
    _read(book, number, lab=(43.0, 40.0, 46.0), setup="kitchen")
    with pytest.raises(RecordError, match="have not both read the check coupon"):
        take_step(book, "bench", "kitchen")
    _coupon(book, (45.0, 38.0, 40.0), "bench", 0)
    _coupon(book, (48.0, 38.0, 42.0), "kitchen", 1)
    as_read = judge_against(book, book.batch(number), target)
    take_step(book, "kitchen", "bench")
    assert coupon_steps(book)[0].taken
    found = judge_against(book, book.batch(number), target)
    (note,) = [one for one in found.notes if one.code == "trouble.through_coupon"]
    assert found.delta_e00 < 0.2 < as_read.delta_e00
    # all but what 6 away from the coupon leaves open: k = exp(-0.5 (6.3 / 20)²) = 0.95
    assert found.compared[1] == pytest.approx((40.1, 40, 44.1), abs=0.1)
    assert "that is taken off, and as read it was" in note
    assert (note.values["verdict"], note.values["delta_e00"]) == (as_read.verdict, as_read.delta_e00)
    assert book.batch(number).lab == (43, 40, 46), "what was read stays as it was read"
    take_step(book, "bench", "kitchen", False)
    assert judge_against(book, book.batch(number), target).delta_e00 == as_read.delta_e00
    assert [line["who"] for line in book.history("settings")] == [book.who] * 2


def _twin(book):
    number = _batch(book)
    _read(book, number, photo=1)
    return number


def test_a_coupon_of_a_far_colour_says_little(book, order):
    target, number = _sample(book, order), _batch(book)
    _read(book, number, lab=(43.0, 40.0, 46.0), setup="kitchen")
    for lab, setup, photo in (((45.0, -60.0, -40.0), "bench", 0), ((48.0, -60.0, -38.0), "kitchen", 1)):
        _coupon(book, lab, setup, photo)
    part = batch_shade(book, book.batch(number))
    linked = through_coupon(book, part, target_shade(book, target))
    # 130 away at a length of 30: nothing is taken off, and both cameras' errors stay
    assert np.allclose(linked.lab, part.lab, atol=0.01)
    assert np.allclose(linked.parts["own"], np.eye(3) * (0.3**2 + 2 * 3.0**2), atol=0.01)


def test_limit_samples_of_an_order_decide_until_they_are_taken_off(book, order):
    target, part = _sample(book, order), _batch(book)
    _read(book, part, lab=(42.5, 40.0, 44.0), photo=1)
    by_tolerance = judge_against(book, book.batch(part), target)
    light, dark = _batch(book), _batch(book)
    _read(book, light, lab=(47.0, 40.0, 44.0), photo=1)
    _read(book, dark, lab=(34.0, 40.0, 44.0), photo=1)
    keep_limits(book, order, (light, dark))
    found = judge_against(book, book.batch(part), target)
    assert (found.verdict, found.between) == ("in", ((47, 40, 44), (34, 40, 44)))
    assert by_tolerance.verdict != "in"
    assert orders.sample_verdict(book, target) is None
    keep_limits(book, order, ((47, 40, 44), (34, 40, 44)))
    assert judge_against(book, book.batch(part), target).verdict == "cannot_tell", "stated limits share nothing"
    _read(book, _batch(book), lab=(60.0, 40.0, 44.0), photo=1)
    assert judge_against(book, book.batch(dark + 1), target).verdict == "out"
    keep_limits(book, order, (light, (34, 40, 44)))
    with pytest.raises(BookError, match="the limit samples are 47, 40, 44 and 34, 40, 44 now; nothing of yours"):
        keep_limits(book, order, None, seen=None)
    for row in book.rows("readings", batch_id=light):
        book.delete("readings", row["id"])
    assert limits_of(book, order)[0] == Shade((47, 40, 44)), "its colour stays where its readings go"
    keep_limits(book, order, None, seen=limits_of(book, order))
    assert limits_of(book, order) is None
    assert judge_against(book, book.batch(part), target).between is None


def test_instruments_are_compared_like_with_like(book, order):
    orders.keep_instrument_sample(book, order, typed_instrument(LAB, "D65", "2", "45/0")[0])
    target, number = orders.target_of(book, order), _batch(book)
    values, notes = typed_instrument((41.0, 40.0, 44.0), "D65", "2", "d/8 included")
    assert notes == ()
    book.add_reading(number, LAB, **values)
    unlike = judge_against(book, book.batch(number), target)
    assert (unlike.verdict, unlike.notes[0].code) == ("cannot_tell", "trouble.unlike_geometry")
    book.add_reading(number, LAB, **typed_instrument(LAB, "D65", "2", "45/0")[0])
    alike = judge_against(book, book.batch(number), target)
    assert (alike.verdict, alike.notes) == ("in", ())
    # the mean of 10-degree readings keeps its doubt: a typed Lab without its spectrum cannot be turned into 2 degrees
    values, notes = typed_instrument(LAB, "D65", "10", "45/0")
    assert values["a_sd"] == 4.6
    assert "only a spectrum gives it exactly" in notes[0]


def test_a_sample_photographed_again_beside_the_part_decides_what_was_open(book, order):
    target, number = _sample(book, order, setup="kitchen"), _batch(book)
    _read(book, number, lab=(41.0, 40.0, 44.0), photo=1)
    apart = judge_against(book, book.batch(number), target)
    assert apart.verdict == "cannot_tell"
    assert "trouble.one_photo" in [note.code for note in apart.would_decide]
    # as advised: both in one photo, in which everything reads 2 lighter than on the day the shade was agreed
    _read(book, number, lab=(43.0, 40.0, 44.0), photo=2)
    (reading,) = [row for row in book.rows("readings", batch_id=number) if row["L"] == 43]
    names = ("photo_id", "source", "error_parts", "setup_key", "shape_key", "finish")
    book.add("readings", sample_id=target["sample_id"], L=42, a=40, b=44, **{name: reading[name] for name in names})
    found = judge_against(book, book.batch(number), target)
    assert (found.verdict, [note.code for note in found.notes]) == ("in", ["trouble.in_one_photo"])
    assert found.compared == ((42, 40, 44), (43, 40, 44))
    # for a batch that is not in that photo, the reading that was agreed on stands
    assert target_shade(book, target).setup == "kitchen"
    assert target_shade(book, target).lab == LAB
