"""A small shop's book, and eyes for its sheets: a PDF's words, pixels and codes."""

import io
from pathlib import Path

import cv2
import numpy as np
import pypdfium2
import pytest
from PIL import Image

from dyebook.book.store import open_book
from dyebook.jobs.photo import record_dip
from dyebook.lab import Lab
from dyebook.record import DyeRecord, Reading

SAMPLE = Path(__file__).parents[3] / "samples" / "orange_tags_on_wood.jpg"
GPS_MARK = b"Exif\x00\x00"


@pytest.fixture(scope="session")
def photo_with_gps(tmp_path_factory):
    """A photo that says where it was taken."""
    with Image.open(SAMPLE) as image:
        exif = image.getexif()
        exif.get_ifd(0x8825).update({1: "N", 2: (55.0, 36.0, 0.0), 3: "W", 4: (2.0, 24.0, 0.0)})
        file = tmp_path_factory.mktemp("photo") / "bench.jpg"
        image.save(file, exif=exif, quality=95)
    assert GPS_MARK in file.read_bytes()
    return file


@pytest.fixture(scope="session")
def shop_place(tmp_path_factory, photo_with_gps):
    """Folder of a book with a photographed batch (1), typed ones, a bath with a life, an order and its target."""
    place = tmp_path_factory.mktemp("shop") / "shop.dyebook"
    with open_book(place, who="Ada") as book:
        book.set_setting("shop", "Gannet & Sons")
        first = record_dip(book, dip(note="<script>alert(1)</script> & co", dyed_at="2026-10-02T09:30"), photo_with_gps)
        assert first.reading is not None
        for day in range(3, 10):
            book.add_batch(dip(lab=(60 + day / 4, 40, 50), dyed_at=f"2026-10-{day:02d}T09:30", area_dm2=1.5))
        bath = book.rows("baths")[0]["id"]
        made = {"bath_volume_l": 2.0, "dye_g_per_l": 3.0}
        book.add("bath_events", bath_id=bath, kind="made_up", at="2026-10-01T08:00", note="fresh", **made)
        book.add("bath_events", bath_id=bath, kind="topped_up", at="2026-10-05T12:00", dye_g_per_l=3.0)
        order = book.add("orders", name="Lamp knobs", customer="a lamp maker", due_on="2026-10-20")
        wanted = {"L": 61.5, "a": 40.5, "b": 50.0, "tolerance_de00": 3.0}
        target = book.add("targets", order_id=order, name="lamp orange", **wanted)
        book.correct("batches", 5, {"order_id": order})
        book.add("verdicts", batch_id=5, target_id=target, verdict="pass", delta_e00=0.7)
        book.add("verdicts", batch_id=8, target_id=target, verdict="fail", delta_e00=4.2, note="too pale")
    return place


def dip(lab=None, **changes):
    """A record of one dip; keywords replace its settings."""
    settings = {"dye": "Ember", "bath": "E1", "film_um": 12.0, "dye_g_per_l": 3.0, "bath_temp_c": 50, "dwell_min": 6}
    readings = () if lab is None else (Reading(Lab(*lab), (0.5, 0.6, 0.7), (0.3, 0.4, 0.4)),)
    return DyeRecord(**{**settings, "readings": readings, **changes})


@pytest.fixture
def shop(shop_place):
    """The shop's book; tests only read it."""
    with open_book(shop_place) as book:
        yield book


@pytest.fixture
def fresh_book(tmp_path):
    """An empty book of this test."""
    with open_book(tmp_path / "fresh.dyebook", who="Ada") as book:
        yield book


class Looked:
    """A PDF as somebody sees it."""

    def __init__(self, data):
        self.document = pypdfium2.PdfDocument(data)
        self._drawn = {}

    def __len__(self):
        return len(self.document)

    def words(self, page=None):
        """All text, runs of space as one."""
        pages = range(len(self)) if page is None else [page]
        return " ".join(" ".join(self.document[one].get_textpage().get_text_bounded().split()) for one in pages)

    def size_mm(self, page=0):
        return tuple(side * 25.4 / 72 for side in self.document[page].get_size())

    def pixels(self, page=0, scale=3):
        if (page, scale) not in self._drawn:
            self._drawn[page, scale] = self.document[page].render(scale=scale).to_numpy()[..., ::-1]
        return self._drawn[page, scale]

    def code_at(self, box_mm, page=0):
        """What a phone held over a part of the page (left, top, right, bottom) reads."""
        for scale in (3, 4):  # a phone moves, too
            left, top, right, bottom = (round(mm * scale * 72 / 25.4) for mm in box_mm)
            seen = np.ascontiguousarray(self.pixels(page, scale)[top:bottom, left:right])
            text = cv2.QRCodeDetector().detectAndDecode(seen)[0]
            if text:
                return text
        return ""

    def code(self):
        """The code of a card: it is looked for up the right half of the page."""
        width, height = self.size_mm()
        bands = ((width / 2 - 10, top, width, top + 60) for top in range(int(height) - 60, 0, -20))
        return next(filter(None, map(self.code_at, bands)), "")


@pytest.fixture
def look():
    """Opens a PDF to look at it."""
    return Looked


@pytest.fixture(scope="session")
def drawn_codes():
    """How many pixels of a picture have a given colour."""

    def count(pixels, codes, within=2):
        return int((np.abs(pixels.astype(int) - np.asarray(codes)).max(axis=-1) <= within).sum())

    return count


@pytest.fixture
def embedded():
    """The JPEG and PNG pictures inside an HTML page."""
    import base64
    import re

    def find(html):
        found = re.findall(r"data:image/(?:jpeg|png);base64,([A-Za-z0-9+/=]+)", html)
        return [base64.b64decode(text) for text in found]

    return find


@pytest.fixture
def opened_jpeg():
    """Opens picture bytes by Pillow."""
    return lambda data: Image.open(io.BytesIO(data))
