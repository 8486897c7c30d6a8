"""The batch card: one page whatever was typed, nothing executed, no place in the photo, its code read back."""

from datetime import UTC, datetime, timedelta

import pytest

from dyebook.errors import RecordError
from dyebook.jobs import run as bench
from dyebook.jobs import wet
from dyebook.jobs.paper import batch_facts, batch_link
from dyebook.lab import lab_to_srgb8
from dyebook.record import DEMO_MARK
from dyebook.report.paper.card import card_sheet
from dyebook.report.paper.html import sheet_bytes
from dyebook.report.paper.labels import GRIDS, labels_pdf
from dyebook.report.paper.pdf import printable
from dyebook.report.paper.sheet import PAPERS_MM, plain_text
from tests.report.paper.conftest import GPS_MARK, dip

ADDRESS = "http://bench.local:8640"
TYPED = "Ёлочный зелёный, Ζεστό μπλε, Süß–Ñandú Łódź, µm ° Δ"


@pytest.fixture
def card(shop):
    return card_sheet(batch_facts(shop, 1, ADDRESS))


def test_what_was_typed_is_shown_and_never_run(card):
    html = sheet_bytes(card, ".html").decode()
    assert "&lt;script&gt;alert(1)&lt;/script&gt; &amp; co" in html
    assert "<script" not in html
    assert "Gannet &amp; Sons" in html
    assert "default-src 'none'" in html


def test_the_page_needs_nothing_else(card):
    html = sheet_bytes(card, ".html").decode()
    outside = [piece for mark in ("src=", "href=", "url(", "@import") for piece in html.split(mark)[1:]]
    assert outside
    assert all(piece.startswith('"data:image/') for piece in outside)


def test_the_photo_tells_no_place(card, embedded, opened_jpeg, shop):
    assert GPS_MARK in shop.photo_bytes(shop.batch(1).photo), "the book keeps the photo as it was"
    pictures = embedded(sheet_bytes(card, ".html").decode())
    assert len(pictures) == 1
    assert not opened_jpeg(pictures[0]).getexif()
    assert GPS_MARK not in pictures[0]
    assert GPS_MARK not in sheet_bytes(card, ".pdf")


@pytest.mark.parametrize("paper", PAPERS_MM)
def test_one_page_of_the_paper(card, look, paper):
    seen = look(sheet_bytes(card, ".pdf", paper))
    assert len(seen) == 1
    assert seen.size_mm() == pytest.approx(PAPERS_MM[paper], abs=0.1)
    for words in (
        "Batch 1",
        "Ember, bath E1",
        "3 g/L",
        "50 °C",
        "6 min",
        "film planned 12 µm (0.47 mil)",
        "None yet",
        "Gannet & Sons",
    ):
        assert words in seen.words(), words


def test_any_alphabet_is_shown(fresh_book, look):
    fresh_book.add_batch(dip(dye=TYPED, note=TYPED, bath=None, lab=(40, 10, -30)))
    seen = look(sheet_bytes(card_sheet(batch_facts(fresh_book, 1)), ".pdf"))
    assert seen.words().count(TYPED) == 3, "in the lead, the settings and the notes"


def test_characters_without_a_shape_do_no_harm(fresh_book, look):
    fresh_book.add_batch(dip(note="bell \x07, zero\u200bwidth, tab\tend"))
    sheet = card_sheet(batch_facts(fresh_book, 1))
    assert "bell , zerowidth, tab end" in sheet_bytes(sheet, ".html").decode()
    assert "bell , zerowidth, tab end" in look(sheet_bytes(sheet, ".pdf")).words()
    assert plain_text("half \ud83c of a pair") == "half  of a pair"


@pytest.mark.parametrize(
    "typed", ["W" * 3000, "日本語 🎨", "שלום مرحبا", "\n\nline" * 60, "**b** [x](http://e.x) {0}", "\u202eevil\u2028"]
)
def test_whatever_is_typed_one_page_comes_out(fresh_book, look, typed):
    fresh_book.add_batch(dip(dye=typed, bath=typed[:300], alloy=typed, finish=typed, note=typed))
    facts = batch_facts(fresh_book, 1)
    seen = look(sheet_bytes(card_sheet(facts), ".pdf", "letter"))
    assert len(seen) == 1
    assert "Batch 1" in seen.words()
    assert len(look(labels_pdf([facts], GRIDS["letter-3x10"]))) == 1


def test_a_box_stands_for_what_the_font_lacks():
    assert printable("日 Ж µ\n") == "□ Ж µ\n"


def test_one_page_even_when_much_was_written(shop_place, photo_with_gps, fresh_book, look):
    long = dip(note="very long words of warning " * 200, dye="Ember " * 20, alloy="6061 " * 12, lab=(60, 40, 50))
    fresh_book.add_batch(long, photo=photo_with_gps)
    dye = fresh_book.rows("dyes")[0]["id"]
    for position in range(2, 7):
        fresh_book.add("dips", batch_id=1, position=position, dye_id=dye, dwell_min=3, masked="the left half")
    for _ in range(5):
        fresh_book.add("verdicts", batch_id=1, verdict="redo", delta_e00=9, note="reason " * 100)
    seen = look(sheet_bytes(card_sheet(batch_facts(fresh_book, 1, ADDRESS)), ".pdf", "letter"))
    assert len(seen) == 1
    assert "more in the book" in seen.words()
    assert seen.code() == f"{ADDRESS}/book?batch=1"


def test_a_phone_opens_the_batch(card, look):
    assert look(sheet_bytes(card, ".pdf")).code() == f"{ADDRESS}/book?batch=1"


def test_without_an_address_the_code_tells_the_settings(shop, look):
    answer = look(sheet_bytes(card_sheet(batch_facts(shop, 4)), ".pdf")).code()
    assert answer.splitlines()[0] == "Batch 4"
    assert "film 12 µm, 3 g/L, 50 °C, 6 min" in answer


def test_the_books_own_address_serves_too(fresh_book):
    fresh_book.set_setting("address", "https://shop.example/dye/")
    assert batch_link(fresh_book, 12) == "https://shop.example/dye/book?batch=12"
    assert batch_link(fresh_book, 12, ADDRESS) == f"{ADDRESS}/book?batch=12"


@pytest.mark.parametrize("address", ["bench:8640", "javascript:alert(1)", "http://", "http://" + "x" * 300])
def test_no_address_no_link(fresh_book, address):
    with pytest.raises(RecordError, match="is no address"):
        batch_link(fresh_book, 12, address)


def test_the_swatch_has_the_colour_that_was_read(shop, look, drawn_codes):
    facts = batch_facts(shop, 4)
    codes, _ = lab_to_srgb8(facts.row.lab)
    pixels = look(sheet_bytes(card_sheet(facts), ".pdf")).pixels()
    assert drawn_codes(pixels, codes) > 0.05 * pixels[..., 0].size


def test_a_lost_photo_is_told_and_the_card_still_comes(fresh_book, photo_with_gps, look):
    fresh_book.add_batch(dip(lab=(60, 40, 50)), photo=photo_with_gps)
    fresh_book.photos.path(fresh_book.batch(1).photo).unlink()
    facts = batch_facts(fresh_book, 1)
    assert facts.picture is None
    assert "cannot be shown" in look(sheet_bytes(card_sheet(facts), ".pdf")).words()


def test_a_batch_without_a_reading_says_so(fresh_book, look):
    fresh_book.add_batch(dip())
    assert "not read yet" in look(sheet_bytes(card_sheet(batch_facts(fresh_book, 1)), ".pdf")).words()


def test_a_run_over_the_bench_is_told_with_its_log(fresh_book, look, embedded):
    start = datetime(2026, 10, 2, 9, 0, tzinfo=UTC)
    run_id = bench.plan_run(
        fresh_book, area_dm2=2.0, current_a=3.0, film_um=12.0, minutes=25.0, alloy="6082", electrolyte_temp_c=20.0
    )
    bench.tick_step(fresh_book, run_id, "etch", dwell_min=1.5)
    bench.tick_step(fresh_book, run_id, "water_break_test", passed=True)
    bench.start_run(fresh_book, run_id, at=start)
    for minutes, current in ((5, 3.0), (10, 2.8), (20, 2.9)):
        bench.note_current(fresh_book, run_id, current, start + timedelta(minutes=minutes))
    bench.finish_run(fresh_book, run_id, start + timedelta(minutes=25))
    dip_values = {"dye_g_per_l": 3.0, "bath_temp_c": 50.0, "dwell_min": 6.0}
    seal = {"kind": "hot_water", "seal_temp_c": 97.0, "dwell_min": 36.0}
    wet.keep_batch(fresh_book, run_id, dye="Ember", bath="E1", dip=dip_values, seal=seal)
    sheet = card_sheet(batch_facts(fresh_book, 1))
    words = look(sheet_bytes(sheet, ".pdf")).words()
    row = fresh_book.row("runs", run_id)
    film = f"film from charge {row['film_um']:.0f} ± {2 * row['film_sd_um']:.0f} µm"
    for piece in (
        "etch 1:30 min, water break test passed",
        f"{row['charge_ah']:.3g} A·h",
        film,
        "25 min",
        "hot water, 97 °C, 36 min",
    ):
        assert piece in words, piece
    assert len(embedded(sheet_bytes(sheet, ".html").decode())) == 1, "the log as a picture"


def test_rendered_photos_are_marked_as_such(fresh_book, photo_with_gps):
    fresh_book.add_batch(dip(), photo=photo_with_gps)
    before = sheet_bytes(card_sheet(batch_facts(fresh_book, 1)), ".html").decode()
    fresh_book.set_setting(DEMO_MARK, 1)
    after = sheet_bytes(card_sheet(batch_facts(fresh_book, 1)), ".html").decode()
    assert "Rendered, not photographed" not in before
    assert "Rendered, not photographed" in after
