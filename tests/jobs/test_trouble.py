"""What the book says of a batch that went wrong: the demo shop's own troubles, and what is missing in a poor book."""

from datetime import date, timedelta

import numpy as np
import pytest

from dyebook.book.store import open_book
from dyebook.demo.shop import fill_book
from dyebook.errors import BookError, RecordError
from dyebook.jobs.bath_state import bath_state
from dyebook.jobs.baths import bath_called, baths_by_name
from dyebook.jobs.check_coupon import count_from, keep_day
from dyebook.jobs.trouble import case_of, coupon_history, drift_in_book, filled_at, fresh_dips, judge_batch, target_for
from dyebook.lab import Lab
from dyebook.record import DyeRecord, Measurement, Reading, ReadOptions

LOST_CONTACT, FOUL = 52, 63


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    book = open_book(tmp_path_factory.mktemp("shop") / "shop.dyebook")
    fill_book(book)
    yield book
    book.close()


@pytest.fixture
def bare(tmp_path):
    book = open_book(tmp_path / "bare.dyebook")
    yield book
    book.close()


def add(book, lab=(40, 10, -20), **settings):
    settings = {
        "dye": "Sloe",
        "bath": "S1",
        "film_um": 12,
        "dye_g_per_l": 3,
        "bath_temp_c": 40,
        "dwell_min": 5,
    } | settings
    number = book.add_batch(DyeRecord(**settings))
    if lab is not None:
        book.add_reading(number, lab=lab)
    return number


def test_a_lost_contact_is_told_by_log_gauge_and_charge(shop):
    case = case_of(shop, LOST_CONTACT)
    found = case.causes()
    assert found[0].id == "contact_loss"
    assert {"event", "charge", "film", "colour"} <= case.kinds()
    assert "supply off" in found[0].remedy.lower()


def test_a_foul_bath_is_told_by_its_colour_and_its_dips_before(shop):
    case = case_of(shop, FOUL)
    assert case.before.kind == "before"
    assert case.causes()[0].id == "contaminated_bath"


def test_fresh_dips_came_soon_after_a_filling(shop):
    dips = shop.frame(dye="Ember", bath="E1")
    fresh = fresh_dips(dips, filled_at(shop, "Ember", "E1"))
    assert 8 <= len(fresh) < len(dips)
    assert "dyed_at" not in fresh
    late = dips[dips["batch"].isin(fresh["batch"])]["dyed_at"].str[:10]
    assert late.nunique() > 1


def test_a_poor_book_says_what_is_missing(bare):
    number = add(bare, lab=None)
    case = case_of(bare, number)
    assert case.model is None
    assert any("never read" in text for text in case.missing)
    assert any("cannot be learned" in text for text in case.missing)
    assert sum(one.probability for one in case.causes()) == pytest.approx(1)
    with pytest.raises(RecordError, match="no reading yet"):
        judge_batch(bare, number)
    with pytest.raises(BookError):
        case_of(bare, 999)


QUAD = ((0, 0), (9, 0), (9, 9), (0, 9))


@pytest.mark.parametrize(
    ("kind", "quad", "by"),
    [
        ("grey", QUAD, {"card_at": QUAD, "card_lab": (48, 0, 1)}),
        ("chart", QUAD, {}),
        ("none", None, {"card_lab": (48, 0, 1), "no_card": True}),
    ],
)
def test_a_kept_photo_is_looked_at_again_by_the_card_it_was_read_by(bare, kind, quad, by):
    outline = ((20, 20), (60, 20), (60, 60))
    seen = Measurement(
        "rim.jpg", (90, 90), kind, quad, Lab(48, 0, 1), (Reading(Lab(40, 0, 0), (1,) * 3, (1,) * 3, outline),)
    )
    asked = []

    def read(content, options):
        asked.append(options)
        return seen

    number = bare.add_batch(DyeRecord("Sloe", 12, 3, 40, 5), b"\xff\xd8\xff\xe0 rim", seen)
    assert case_of(bare, number, read=read).measurement["parts"][0]["flaws"] == []
    assert asked == [ReadOptions(**by, part_at=[outline])]


def test_a_batch_is_judged_by_its_target(shop, bare):
    assert target_for(shop, LOST_CONTACT)["name"].startswith("Lamp knobs")
    assert judge_batch(shop, LOST_CONTACT).verdict == "out"
    number = add(bare)
    assert target_for(bare, number) is None
    with pytest.raises(RecordError, match="no target"):
        judge_batch(bare, number)
    assert judge_batch(bare, number, (40, 10, -20), 4.0).verdict == "in"


def test_sample_and_part_in_one_photo_are_judged_by_their_difference(bare):
    number = add(bare, lab=None)
    photo_id = bare.add("photos", batch_id=number, sha256="0" * 64, size_bytes=9)
    sample_id = bare.add("samples", name="a cup")
    doubt = {"L_sd": 2.0, "a_sd": 2.0, "b_sd": 2.0, "photo_id": photo_id, "source": "photo"}
    doubt["error_parts"] = {"photo": np.diag([3.6] * 3).tolist(), "own": np.diag([0.4] * 3).tolist()}
    bare.add("readings", sample_id=sample_id, L=40.0, a=10.0, b=-20.0, **doubt)
    bare.add("readings", batch_id=number, L=40.5, a=10.0, b=-20.0, **doubt)
    target_id = bare.add("targets", sample_id=sample_id, name="the cup", L=40.0, a=10.0, b=-20.0, tolerance_de00=3.0)
    bare.add("verdicts", batch_id=number, target_id=target_id, verdict="pass")
    found = judge_batch(bare, number)
    assert found.verdict == "in"
    assert any("most of the camera's error cancels" in note for note in found.notes)
    apart = judge_batch(bare, number, (40.0, 10.0, -20.0), 3.0)
    assert apart.delta_e00_u > 1.5 * found.delta_e00_u


def test_the_shop_s_baths_over_time(shop):
    fading = drift_in_book(shop, "Ember", "E1").drift
    assert 0.5 < fading.strength < 0.9  # truly 0.55 to 0.8 over the charted months
    own = bath_state(shop, baths_by_name(shop)["Ember, E1"]).top_up
    assert fading.top_up_g == pytest.approx(own.dye_g), "the grams are the bath's own, as on every page"
    foul = drift_in_book(shop, "Heather", "H1").drift
    assert foul.top_up_g is None
    assert "dirt" in foul.why
    with pytest.raises(RecordError, match="needed"):
        drift_in_book(shop, "Heather", "H2")
    with pytest.raises(BookError, match="2 baths are called"):
        bath_called(shop, "Heather")
    assert bath_called(shop, "Ember")["name"] == "E1"


def test_the_check_coupon_tells_the_camera_from_the_bath(shop, tmp_path, monkeypatch):
    monkeypatch.setenv("DYEBOOK_CAMERAS_DIR", str(tmp_path / "cameras"))
    scatter = np.random.default_rng(5).normal(0, 0.2, (20, 3))
    ends = [one["read_at"][:10] for one in shop.rows("readings") if one["coupon_id"]]
    start = date.fromisoformat(ends[-1]) - timedelta(days=19)
    day_of = [start + timedelta(days=day) for day in range(20)]

    def cause():
        return drift_in_book(shop, "Ember", "E1").drift.cause

    assert cause() == "bath", "the shop's own card was cleaned"
    count_from(shop, "", start.isoformat())
    for day, step in zip(day_of, scatter, strict=True):
        keep_day(shop, [(np.add((50, 10, 10), step), None)], day=day)
    assert cause() == "unclear", "the bath had left before the coupon was first read"
    for day, step in zip(day_of[8:], scatter[8:], strict=True):
        keep_day(shop, [(np.add((52.5, 10, 10), step), None)], day=day)
    assert cause() == "camera"
    count_from(shop, "", day_of[16].isoformat())
    assert coupon_history(shop) is None, "too few days to clear the camera"
    assert cause() == "unclear"
