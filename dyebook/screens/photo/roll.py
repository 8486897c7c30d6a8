"""The photos that are being looked at: one, or several of one batch; one of them is in view.

Files given to the page: they are taken once, and the uploader's own copy is let go.

A photo of the roll as it is kept: its bytes, what was measured, and which part is meant.
"""

from dataclasses import dataclass
from pathlib import Path

import streamlit as st
from streamlit.runtime.scriptrunner import get_script_run_ctx

from dyebook.record import Measurement
from dyebook.report.words import plain
from dyebook.screens.drafts import bytes_of, draft, hold_file
from dyebook.server.pairing import let_go

__all__ = ["Shot", "choose_photo", "clear_roll", "in_view", "roll", "take_away", "take_file", "take_photos"]


def take_file(given) -> Path | bytes:
    """Hold a file from an uploader with the draft, and free the uploader's copy.

    The web server keeps whatever a session uploads until its browser is closed; a day's photos would pile up. `given`
    (streamlit UploadedFile): from an uploader that is drawn anew, under another key, in the next run.
    """
    held = hold_file(given.getvalue())
    context = get_script_run_ctx()
    if context is not None:
        context.uploaded_file_mgr.remove_file(context.session_id, given.file_id)
        let_go(context.session_id, given.file_id)
    return held


@dataclass(frozen=True)
class Shot:
    """One photo to keep."""

    held: Path | bytes  # as `dyebook.screens.drafts.hold_file` returns it
    measurement: Measurement | None
    part: int | None = 0  # which part is the batch; None for all of them

    @property
    def content(self) -> bytes:
        """The file."""
        return bytes_of(self.held)

    @property
    def parts(self):
        """Indices of the parts to keep readings of; none where nothing was read."""
        count = len(self.measurement.parts) if self.measurement is not None else 0
        return tuple(range(count)) if self.part is None else (self.part,) if self.part < count else ()

    @property
    def reading(self):
        """The one reading meant, or None where there are none or several."""
        return self.measurement.parts[self.parts[0]] if len(self.parts) == 1 else None


KINDS = ["jpg", "jpeg", "png", "heic", "heif", "webp", "tif", "tiff", "dng", "cr2", "cr3", "nef", "arw", "raf", "orf"]
_MOST = 12


def roll():
    """Return the photos: dicts with `name`, `content`, and what was put right by hand (`card_at`, `part_at`, …)."""
    return draft().setdefault("photos", [])


def in_view():
    """Return the photo in view; an empty dict while there is none."""
    photos = roll()
    return photos[min(draft().get("photo_in_view", 0), len(photos) - 1)] if photos else {}


def take_photos(label, key):
    """Offer the file picker, which on a phone offers the camera too; True once photos were added."""
    turn = draft().setdefault("photo_turn", 0)
    given = st.file_uploader(
        label,
        type=KINDS,
        accept_multiple_files=True,
        key=f"{key}_{turn}",
        help="Card and part in the same light, in one plane; fill the frame; no flash. Several photos are averaged.",
    )
    if not given:
        return False
    known = {photo["content"] for photo in roll()}
    for photo in [{"name": one.name, "content": take_file(one)} for one in given]:
        if photo["content"] in known:
            st.toast(f"{photo['name']} is there already: the same file counts once.")
            continue
        known.add(photo["content"])
        roll().append(photo)
    del roll()[_MOST:]
    draft().update(photo_turn=turn + 1, photo_in_view=len(roll()) - 1)
    _new_taps()
    return True


def choose_photo():
    """Let one of several photos come into view."""
    photos = roll()
    if len(photos) < 2:
        st.caption(plain(photos[0]["name"]), width="content")
        return
    key = f"photo_chosen_{draft().get('photo_turn', 0)}"
    names = [f"{place}: {photo['name']}" for place, photo in enumerate(photos, start=1)]
    chosen = st.segmented_control(
        "Photo",
        range(len(photos)),
        default=draft().get("photo_in_view", 0),
        key=key,
        format_func=lambda index: names[index],
        label_visibility="collapsed",
    )
    if chosen is not None and chosen != draft().get("photo_in_view", 0):
        draft()["photo_in_view"] = chosen
        _new_taps()


def take_away(photo):
    """Take a photo off the roll."""
    roll().remove(photo)
    draft().update(photo_in_view=0, photo_turn=draft().get("photo_turn", 0) + 1)
    _new_taps()


def clear_roll():
    """Put all photos away."""
    draft().pop("photos", None)
    draft().update(photo_in_view=0, photo_turn=draft().get("photo_turn", 0) + 1)
    _new_taps()


def _new_taps():
    """Throw half-made taps and the choice of a part away: they belong to another picture."""
    st.session_state.pop("kept_part", None)
    draft().update(tap_turn=draft().get("tap_turn", 0) + 1, picture_way="Found")
