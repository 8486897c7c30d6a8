"""Putting a photo right: the card or the part by tapping its corners on the picture, or by typing them."""

import hashlib
import re

import streamlit as st

from dyebook.jobs.photo import draw_plain
from dyebook.screens import tasks
from dyebook.screens.drafts import draft
from dyebook.screens.photo.roll import in_view
from dyebook.screens.swatch import tap_corners

__all__ = ["CARD_WORDS", "GO_AROUND", "around_words", "plain_picture", "show_picture", "taps_of"]

FOUND, CARD, PART = "Found", "Tap card", "Tap part"

CARD_WORDS = (
    "Tap the first corner of the card's grey area, without its border.",
    "Now the next corner around.",
    "And the third.",
    "And the last.",
)
GO_AROUND = "Go on around it, or drag a corner to move it; then measure again."


def around_words(what: str) -> tuple:
    """Return what to tap next around a part or a coupon, by the number of corners there are."""
    return (f"Tap around the {what}, corner after corner.", "Go on around it.", "At least one more.")


def taps_of(photo):
    """Return what was put right in a photo of the roll so far, as fields of `ReadOptions`."""
    return {
        "card_at": photo.get("card_at"),
        "part_at": photo.get("part_at") or None,
        "no_card": photo.get("no_card", False),
    }


def _new_turn():
    draft()["tap_turn"] = draft().get("tap_turn", 0) + 1
    draft()["picture_way"] = FOUND


def show_picture(seen):
    """Draw the photo with what was found, or the way to put it right."""
    turn = draft().setdefault("tap_turn", 0)
    begin = CARD if seen.measurement is None else draft().get("picture_way", FOUND)
    way = st.segmented_control(
        "The picture", [FOUND, CARD, PART], default=begin, key=f"picture_way_{turn}", label_visibility="collapsed"
    )
    if way == CARD:
        _tap_card(seen, turn)
    elif way == PART:
        _tap_part(seen, turn)
    else:
        st.image(seen.overlay, width="stretch", alt="The photo with card and parts outlined")
        st.caption("Yellow: the card. Blue: a part. Green pixels were read; pink ones were left out as glare or edge.")
    _show_put_right()


def plain_picture(content: bytes, seen) -> bytes:
    """Return a photo with nothing drawn in; drawn only once it is to be tapped."""
    if seen.measurement is None:
        return seen.overlay
    key = hashlib.sha256(content).hexdigest()
    return tasks.done("plain photo", key, "Drawing the photo", lambda _: draw_plain(content), most=12)


def _tap_card(seen, turn):
    enough = "Drag a corner to move it, then measure again."
    known = seen.measurement.card_quad if seen.measurement and seen.measurement.card_quad else ()
    begin, picture = in_view().get("card_at") or (), plain_picture(in_view()["content"], seen)
    _take("card_at", tap_corners(picture, seen.size, f"card_taps_{turn}", CARD_WORDS, enough, 4, 4, begin, turn))
    _take("card_at", _typed("card_corners", "Type the card's corners instead", seen, known), exactly=4)
    if seen.measurement is not None:
        return
    st.caption("Without a card the colour is a guess, and is marked as one.")
    if st.button("Go on without a card", key="without_card"):
        in_view()["no_card"] = True
        _new_turn()
        st.rerun()


def _tap_part(seen, turn):
    ask, picture = around_words("part"), plain_picture(in_view()["content"], seen)
    _take("part_at", tap_corners(picture, seen.size, f"part_taps_{turn}", ask, GO_AROUND, 3, 80, turn=turn))
    _take("part_at", _typed("part_corners", "Type the part's corners instead", seen, ()))


def _take(name, corners, exactly=None):
    """Take corners of the card or of one more part, in pixels."""
    if not corners:
        return
    if exactly and len(corners) != exactly:
        st.error(f"{len(corners)} corners were typed; the card has {exactly}.")
        return
    photo = in_view()
    photo[name] = corners if name == "card_at" else (*(photo.get("part_at") or ()), corners)
    if name == "card_at":
        photo.pop("no_card", None)
    _new_turn()
    st.rerun()


def _typed(key, label, seen, known):
    """Corners typed as pixels, where tapping is no way; None until they are sent."""
    with st.expander(label), st.form(f"{key}_form", border=False):
        width, height = seen.size
        example = " ".join(f"{x:.0f},{y:.0f}" for x, y in known) or "x,y x,y x,y x,y"
        text = st.text_input(
            f"Pixels from the top left; the picture is {width} × {height}", key=key, placeholder=example
        )
        if not st.form_submit_button("Measure again with these", key=f"{key}_send"):
            return None
    pairs = re.findall(r"(\d+(?:\.\d+)?)\s*,\s*(\d+(?:\.\d+)?)", text)
    if len(pairs) < 3:
        st.error('Write the corners as "x,y x,y x,y …", at least three.')
        return None
    return tuple((float(x), float(y)) for x, y in pairs)


def _show_put_right():
    """Say what was put right by hand, and offer the way back."""
    given = taps_of(in_view())
    with st.container(horizontal=True):
        if given["card_at"] and st.button("Find the card by itself again", key="card_again", type="tertiary"):
            in_view().pop("card_at")
            _new_turn()
            st.rerun()
        if given["part_at"]:
            count = len(given["part_at"])
            if st.button("Take the last drawn part away", key="part_undo", type="tertiary"):
                in_view()["part_at"] = given["part_at"][:-1]
                _new_turn()
                st.rerun()
            if count > 1 and st.button("Find the parts by itself again", key="part_again", type="tertiary"):
                in_view().pop("part_at")
                _new_turn()
                st.rerun()
        if given["no_card"] and st.button("Look for the card again", key="card_back", type="tertiary"):
            in_view().pop("no_card")
            _new_turn()
            st.rerun()
