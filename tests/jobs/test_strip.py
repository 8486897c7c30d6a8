"""A stepped coupon from its photo into the book, and what becomes of it where the photo tells nothing."""

import json

import numpy as np
import pytest
from typer.testing import CliRunner

from dyebook.book.store import open_book
from dyebook.errors import RecordError
from dyebook.jobs.photo import parse_dwells
from dyebook.lab import delta_e_00, lab_to_linear_rgb
from dyebook.shell.main import app
from tests.photo.scenes import as_png

SHELL = CliRunner()
LABS = [(25, 15, -45), (40, 5, -38), (60, -5, -20), (75, -6, -8)]
SETTINGS = ("--dye", "Harbour blue", "--film-um", "12", "--dye-g-per-l", "3", "--bath-temp-c", "40", "--bath", "B1")


@pytest.fixture
def photo(tmp_path):
    """A made-up photo of a strip of four flat patches beside a grey one, the deepest on the right."""
    light = np.full((360, 560, 3), 0.75, np.float32)
    light[30:150, 30:190] = lab_to_linear_rgb((49.5, 0, 0))
    for place, lab in enumerate(reversed(LABS)):
        light[220:280, 80 + 100 * place : 180 + 100 * place] = lab_to_linear_rgb(lab)
    path = tmp_path / "strip.png"
    path.write_bytes(as_png(light))
    return path


def _keep(tmp_path, *arguments):
    return SHELL.invoke(
        app, ["record-steps", *SETTINGS, *map(str, arguments), "--book", str(tmp_path / "shop"), "--json"]
    )


def test_one_photo_gives_a_batch_a_band(tmp_path, photo):
    strip = "80,220 480,220 480,280 80,280"
    found = _keep(tmp_path, "--dwells", "1 2:30 12 5", "--photo", photo, "--part-at", strip)
    assert found.exit_code == 0, found.output
    answer = json.loads(found.stdout)
    assert answer["dwells_min"] == [12, 5, 2.5, 1]
    with open_book(tmp_path / "shop") as book:
        rows = [book.batch(number) for number in answer["batches"]]
        assert book.frame()["coupon"].nunique() == 1
    assert [row.dwell_min for row in rows] == answer["dwells_min"]
    # 4.0: the usual contrast that is taken back, which a made-up picture does not have
    assert delta_e_00(np.array(LABS), np.array([row.lab for row in rows])).max() < 4.0


def test_without_a_photo_the_bands_are_kept_unread(tmp_path):
    found = _keep(tmp_path, "--dwells", "8 4 2")
    answer = json.loads(found.stdout)
    assert len(answer["batches"]) == 3
    assert answer["readings"] == []


def test_a_photo_without_a_card_is_kept_with_the_bands(tmp_path):
    bare = tmp_path / "bare.png"
    bare.write_bytes(as_png(np.full((300, 400, 3), 0.9, np.float32)))
    found = _keep(tmp_path, "--dwells", "8 4 2", "--photo", bare)
    answer = json.loads(found.stdout)
    assert len(answer["batches"]) == 3
    assert answer["readings"] == []
    assert "were kept" in answer["warnings"][0]


@pytest.mark.parametrize(
    ("text", "needed"), [("5", "has 2 to 20"), ("5 5", "twice"), ("5 soon", "dwell"), ("", "0 dwells")]
)
def test_dwells_that_are_none_are_refused(text, needed):
    with pytest.raises(RecordError, match=needed):
        parse_dwells(text)
