"""Putting a photo right: the card or the part by tapping its corners on the picture, or by typing them."""

import re

import streamlit as st

from dyebook.jobs.photo import draw_plain
from dyebook.screens import tasks
from dyebook.screens.apart import apart
from dyebook.screens.drafts import draft, mark_of
from dyebook.screens.photo.roll import in_view
from dyebook.screens.swatch import tap_corners

__all__ = ["CARD_WORDS", "GO_AROUND", "around_words", "plain_picture", "show_picture", "taps_of"]

FOUND, CARD, PART, TWIN = "Found", "Tap card", "Tap part", "Tap twin"

CARD_WORDS = (
    "Tap the first corner of the card's grey area, without its border.",
    "Now the next corner around.",
    "And the third.",
    "And the last.",
)
GO_AROUND = "Go on around it, or drag a corner by its grip; then measure again."


def around_words(what: str) -> tuple:
    """Return what to tap next around a part or a coupon, by the number of corners there are."""
    return (f"Tap around the {what}, corner after corner.", "Go on around it.", "At least one more.")


def taps_of(photo):
    """Return what was put right in a photo of the roll so far, as fields of `ReadOptions`."""
    return {
        "card_at": photo.get("card_at"),
        "part_at": photo.get("part_at") or None,
        "no_card": photo.get("no_card", False),
        "twin_at": photo.get("twin_at"),
    }


def _new_turn():
    draft()["tap_turn"] = draft().get("tap_turn", 0) + 1
    draft()["picture_way"] = FOUND


def show_picture(seen):
    """Draw the photo with what was found, or the way to put it right."""
    turn = draft().setdefault("tap_turn", 0)
    begin = CARD if seen.measurement is None else draft().get("picture_way", FOUND)
    way = st.segmented_control(
        "The picture", [FOUND, CARD, PART, TWIN], default=begin, key=f"picture_way_{turn}", label_visibility="collapsed"
    )
    if way == CARD:
        _tap_card(seen, turn)
    elif way == PART:
        _tap_outline("part", "part", seen, turn)
    elif way == TWIN:
        _tap_outline("twin", "bare twin", seen, turn)
    else:
        st.image(seen.overlay, width="stretch", alt="The photo with card and parts outlined")
        st.caption(
            "Yellow: the card. Blue: a part. White: the bare twin. Green pixels were read; pink ones were left out as "
            "glare or edge."
        )
        _choose_twin(seen.measurement)
    _show_put_right()


def plain_picture(content, seen) -> bytes:
    """Return a photo with nothing drawn in; drawn only once it is to be tapped."""
    if seen.measurement is None:
        return seen.overlay
    return tasks.done("plain photo", mark_of(content), "Drawing the photo", apart(draw_plain, content), most=12)


def _tap_card(seen, turn):
    enough = "Drag a corner by its grip, then measure again."
    known = seen.measurement.card_quad if seen.measurement and seen.measurement.card_quad else ()
    begin, picture = in_view().get("card_at") or (), plain_picture(in_view()["content"], seen)
    _take("card_at", tap_corners(picture, seen.size, f"card_taps_{turn}", CARD_WORDS, enough, 4, 4, begin, turn))
    _take("card_at", _typed("card_corners", "Type the card's corners instead", seen, known), exactly=4)
    if seen.measurement is not None:
        return
    st.caption("Without a card the colour is a guess, and is marked as one.")
    if st.button("Go on without a card", key="without_card"):
        _put("no_card", True)
        st.rerun()


def _tap_outline(name, what, seen, turn):
    """Take the outline of a part or of the bare twin."""
    ask, picture = around_words(what), plain_picture(in_view()["content"], seen)
    _take(f"{name}_at", tap_corners(picture, seen.size, f"{name}_taps_{turn}", ask, GO_AROUND, 3, 80, turn=turn))
    _take(f"{name}_at", _typed(f"{name}_corners", f"Type the {what}'s corners instead", seen, ()))


def _choose_twin(measurement):
    """Let one of the parts that were found be the bare twin of the others."""
    if in_view().get("twin_at") or len(measurement.parts) < 2:
        return
    with st.expander("One of them is undyed: the bare twin"):
        st.caption("Of the others' shape and finish, and close by, it lets light and metal cancel.")
        for number, part in enumerate(measurement.parts, start=1):
            key, label = f"twin_is_{number}", f"Part {number} is the bare twin"
            st.button(label, key=key, on_click=_be_twin, args=(part.outline,))


def _be_twin(outline):
    _put("part_at", tuple(one for one in in_view().get("part_at") or () if one != outline) or None)
    _put("twin_at", outline)


def _take(name, corners, exactly=None):
    """Take corners of the card, of one more part or of the bare twin, in pixels."""
    if not corners:
        return
    if exactly and len(corners) != exactly:
        st.error(f"{len(corners)} corners were typed; the card has {exactly}.")
        return
    _put(name, (*(in_view().get("part_at") or ()), corners) if name == "part_at" else corners)
    if name == "card_at":
        in_view().pop("no_card", None)
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
    """Offer the way back from what was put right by hand."""
    photo, drawn = in_view(), in_view().get("part_at") or ()
    ways = [
        ("card_at", None, "Find the card by itself again", "card_again"),
        ("part_at", drawn[:-1], "Take the last drawn part away", "part_undo"),
        *([("part_at", None, "Find the parts by itself again", "part_again")] if len(drawn) > 1 else []),
        ("twin_at", None, "Read without the bare twin", "no_twin"),
        ("no_card", False, "Look for the card again", "card_back"),
    ]
    with st.container(horizontal=True):
        for name, left, label, key in ways:
            if photo.get(name):
                st.button(label, key=key, type="tertiary", on_click=_put, args=(name, left))


def _put(name, what):
    """Put something in the photo in view right, or back."""
    in_view()[name] = what
    _new_turn()
