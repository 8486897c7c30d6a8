"""Labels lie on the sheet, apart, from the first free one on; each is read back by its code."""

import pytest

from dyebook.jobs.paper import batch_facts
from dyebook.report.paper.labels import GRIDS, labels_pdf, places
from dyebook.report.paper.sheet import PAPERS_MM

ADDRESS = "http://bench.local:8640"


@pytest.mark.parametrize("grid", GRIDS.values(), ids=GRIDS)
def test_labels_lie_on_the_sheet_and_apart(grid):
    width, height = PAPERS_MM[grid.paper]
    corners = places(grid)
    assert len(corners) == grid.columns * grid.rows
    tenth = 0.1
    for number, (x, y) in enumerate(corners):
        assert -1e-9 <= x <= width - grid.width_mm + 1e-9
        assert -1e-9 <= y <= height - grid.height_mm + 1e-9
        for u, v in corners[:number]:
            assert abs(u - x) >= grid.width_mm - tenth or abs(v - y) >= grid.height_mm - tenth
    left, right = min(x for x, _ in corners), width - grid.width_mm - max(x for x, _ in corners)
    assert left == pytest.approx(right)


def test_every_batch_is_read_back_by_its_code(shop, look):
    facts = [batch_facts(shop, number, ADDRESS, picture=None) for number in range(1, 9)]
    seen = look(labels_pdf(facts, GRIDS["a4-2x7"]))
    grid = GRIDS["a4-2x7"]
    for number, (x, y) in enumerate(places(grid)[:8], start=1):
        box = x + grid.width_mm / 2, y, x + grid.width_mm, y + grid.height_mm
        assert seen.code_at(box) == f"{ADDRESS}/book?batch={number}"
    assert all(str(number) in seen.words() for number in range(1, 9))


def test_a_sheet_begun_is_gone_on_with(shop, look):
    facts = [batch_facts(shop, 5, ADDRESS, picture=None)] * 3
    seen = look(labels_pdf(facts, GRIDS["a4-3x7"], first=20))
    assert len(seen) == 2
    assert seen.words(0).count("Lamp knobs") == 2
    assert (seen.pixels(0)[: seen.pixels(0).shape[0] // 2] == 255).all(), "labels used before stay white"


def test_words_too_long_are_cut(fresh_book, look):
    from tests.report.paper.conftest import dip

    fresh_book.add_batch(dip(dye="Ember " * 30, lab=(50, 40, 40)))
    assert "…" in look(labels_pdf([batch_facts(fresh_book, 1, ADDRESS, None)], GRIDS["letter-3x10"])).words()


def test_a_label_that_is_not_there_is_a_slip_of_the_programmer(shop):
    with pytest.raises(ValueError, match="labels 1 to 30"):
        labels_pdf([], GRIDS["letter-3x10"], first=31)
