"""The shade note: wanted beside made, the verdict in words, and nothing of the recipe."""

import re
from datetime import date

import pytest

from dyebook.errors import RecordError
from dyebook.jobs.paper import shade_facts
from dyebook.lab import delta_e_00, lab_to_srgb8
from dyebook.report.paper.card import note_sheet
from dyebook.report.paper.html import sheet_bytes
from tests.report.paper.conftest import dip

TODAY = date(2026, 10, 12)


def _note(shop, look, number, **options):
    return look(sheet_bytes(note_sheet(shade_facts(shop, number, **options), TODAY), ".pdf"))


def test_a_customer_sees_both_colours_touching(shop, look, drawn_codes):
    facts = shade_facts(shop, 5)
    seen = _note(shop, look, 5)
    for lab in ((61.5, 40.5, 50.0), facts.batch.row.lab):
        assert drawn_codes(seen.pixels(), lab_to_srgb8(lab)[0]) > 20_000


def test_a_customer_reads_the_difference_in_words(shop, look):
    words = _note(shop, look, 5).words()
    far = float(delta_e_00((61.5, 40.5, 50.0), shop.batch(5).lab))
    for piece in ("Shade note", "Lamp knobs, a lamp maker", "Within the agreed tolerance", f"ΔE00 {far:.1f}", "12 Oct"):
        assert piece in words, piece


def test_a_batch_that_is_off_is_told_so(shop, fresh_book, look):
    fresh_book.add_batch(dip(lab=(75, 20, 20)))
    fresh_book.add("targets", name="lamp orange", L=61.5, a=40.5, b=50.0, tolerance_de00=3.0)
    assert "Outside the agreed tolerance" in _note(fresh_book, look, 1, target="lamp orange").words()
    # a photo alone is not sure enough against a shade in figures
    words = _note(shop, look, 1, target="lamp orange").words()
    assert "judge it by eye" in words
    assert not [word for word in ("would decide", "doubts", ".jpg", "camera,") if word in words], "meant for the maker"


def test_no_recipe_leaves_the_shop(shop):
    for number in (1, 5):
        html = sheet_bytes(note_sheet(shade_facts(shop, number), TODAY), ".html").decode()
        for secret in ("Ember", "g/L", "6 min", "50 °C", "E1", "&lt;script"):
            assert secret not in re.sub('data:image/[^"]*', "", html), secret


def test_without_a_target_the_shade_stands_alone(shop, look):
    words = _note(shop, look, 4).words()
    assert "Wanted" not in words
    assert "No shade was agreed" in words


def test_an_unknown_target_names_those_there_are(shop):
    with pytest.raises(RecordError, match="in the book: lamp orange"):
        shade_facts(shop, 5, target="no such")


def test_sample_and_part_of_one_photo_are_judged_together(fresh_book, photo_with_gps):
    from dyebook.jobs.photo import keep_sample
    from dyebook.photo.measure import measure

    measurement = measure(photo_with_gps)
    assert len(measurement.parts) > 1
    fresh_book.add_batch(dip(), photo_with_gps, measurement, 0)
    sample = keep_sample(fresh_book, 1, measurement, 1)
    axes = dict(zip("Lab", measurement.parts[1].lab, strict=True))
    fresh_book.add("targets", name="as the sample", sample_id=sample, tolerance_de00=3.0, **axes)
    verdict = shade_facts(fresh_book, 1, target="as the sample").verdict
    assert any("in one photo: judged" in note for note in verdict.notes)


def test_limits_that_decide_are_named_in_place_of_the_tolerance(fresh_book, look):
    from dyebook.jobs import orders
    from dyebook.jobs.verdict import keep_limits

    number = orders.take_order(fresh_book, "Lamp knobs")
    orders.set_target(fresh_book, number, (61.5, 40.5, 50.0), 1.0)
    orders.answer_order(fresh_book, number, fresh_book.add_batch(dip(lab=(64.5, 40.5, 50.0))))
    keep_limits(fresh_book, number, ((75, 40.5, 50), (50, 40.5, 50)))
    words = _note(fresh_book, look, 1).words()
    assert "Within the agreed light and dark limit" in words
    assert "agreed tolerance" not in words
