"""Keeping what was seen: as a new batch, with a batch of the book, or as an order's sample; then what comes next.

Which part of a photo is the batch, and which the customer's sample; both side by side.
"""

import streamlit as st

from dyebook.advice.judge import judge
from dyebook.jobs.asked import asked_of_dip
from dyebook.jobs.orders import answer_order, close_order, keep_order_sample, open_orders, target_of
from dyebook.jobs.photo import keep_dip, keep_sample
from dyebook.jobs.verdict import unlike_bath, vouch_for
from dyebook.jobs.wet import surface_of
from dyebook.lab import describe_colour
from dyebook.record import SETTINGS, DyeRecord
from dyebook.report.trouble import verdict_lines
from dyebook.report.words import plain, sentence_text
from dyebook.screens.answers import deed, show_doubt
from dyebook.screens.drafts import draft, forget, keep, recall
from dyebook.screens.fields import switch
from dyebook.screens.navigation import go_to, go_to_batch, go_to_order, go_to_step, turn_over
from dyebook.screens.orders import ask_tolerance, go_to_what_now, look_again, show_verdict
from dyebook.screens.photo import roll as photo_roll
from dyebook.screens.piece import hold, put_down
from dyebook.screens.settings import check_settings, show_settings, typed_settings
from dyebook.screens.swatch import show_pair, show_swatch

__all__ = ["chosen_part", "compare_with_sample", "sample_index", "show_form", "show_kept"]

_ALL = "all of them"
_NO_SAMPLE = "not in this photo"


def _names(count):
    return [f"part {number}" for number in range(1, count + 1)]


def chosen_part(photo: dict, count, asked, alone):
    """Return which part of a photo of the roll is the batch; None for all of them.

    Parameters
    ----------
    count : int
        How many parts it shows.
    asked : bool
        Whether to draw the question: the photo is in view.
    alone : bool
        It is the only photo, so that all its parts may be the batch.
    """
    names = [*_names(count), *([_ALL] if alone else [])]
    if photo.get("kept_part") not in names or (
        asked and count > 1 and photo["kept_part"] == draft().get("sample_part")
    ):
        photo["kept_part"] = _default(count)
        st.session_state.pop("kept_part", None)
    if count > 1 and asked:
        if st.session_state.get("kept_part") not in names:
            st.session_state["kept_part"] = photo["kept_part"]
        photo["kept_part"] = st.radio("The batch is", names, key="kept_part", horizontal=True)
    return None if photo["kept_part"] == _ALL else _names(max(count, 1)).index(photo["kept_part"])


def _default(count):
    """The first part that is not the customer's sample."""
    sample = draft().get("sample_part")
    return next((name for name in _names(max(count, 1)) if name != sample), "part 1")


def sample_index():
    """Return the index of the customer's sample in the photo in view, as it was last said; None without one."""
    choice = draft().get("sample_part", _NO_SAMPLE)
    return None if choice == _NO_SAMPLE else int(choice.split()[-1]) - 1


def compare_with_sample(book, parts):
    """Ask which part is the customer's sample, and judge the others by it; nothing where a photo shows one part."""
    if len(parts) < 2:
        draft().pop("sample_part", None)
        return
    names = [_NO_SAMPLE, *_names(len(parts))]
    recall("sample_part")
    if st.session_state.get("sample_part") not in names:
        st.session_state.pop("sample_part", None)
    st.selectbox("The customer's sample is", names, key="sample_part")
    keep("sample_part")
    sample = sample_index()
    if sample is None:
        return
    for index, part in enumerate(parts):
        if index != sample:
            head, lines = verdict_lines(judge(parts[sample], part, book.setting("tolerance_de00")))
            pair = [("The sample", parts[sample].lab), (f"Part {index + 1}", part.lab)]
            show_pair(pair, [f"Part {index + 1} against the sample: {head.lower()}.", *lines])


_NEW, _MORE, _SAMPLE = "A new batch", "A batch in the book", "A customer's sample"
_NO_ORDER = "none"
_STATES = {"wet or dry?": None, "dry": False, "wet": True}
_SEALS = {"sealed?": None, "not sealed": False, "sealed": True}
_KEYS = ("keep_as", "batch_number", "wet", "sealed", "for_order", "sample_tolerance_de00", "sample_finish", *SETTINGS)


def show_kept(book, piece=None):
    """Show what was just kept, or the batch in hand that was read: its verdict and what comes next; True then.

    `piece` (dyebook.jobs.piece.Piece, optional): the one in hand, at the bench.
    """
    kept, read = draft().get("kept"), piece and piece.batch and piece.batch.lab
    number = kept or (piece.batch.batch if read and not photo_roll.roll() else None)
    if number is None or draft().get("again") == number:
        return False
    if kept:
        st.success(f"Batch {number} is in the book, safely on disk.", icon=":material/check:")
    decided = show_verdict(book, number, at_bench=True)
    row = book.batch(number)
    if decided == "" and row.lab is not None:
        show_swatch(row.lab, f"Batch {number}", row.lab_u)
    if decided is not None:
        _offer_next(book, number, decided)
    with st.container(horizontal=True):
        again = (
            {"on_click": look_again, "args": (number,)} if read else {"on_click": draft().pop, "args": ("kept", None)}
        )
        st.button("The next photo", key="next_photo", **again)
        if st.button("See the batch", key="see_kept"):
            draft().pop("kept", None)
            go_to_batch(number)
    return True


def _offer_next(book, number, decided):
    """Draw the button of what follows a decision: the part goes on, its order goes out, or another run begins."""
    order = book.row("batches", number)["order_id"]
    row = order and book.row("orders", order)
    out = row and row["done_at"] is None and decided in ("pass", "accepted_as_is")
    back = decided == "redip"
    label = "What now?" if back else f"Delivered: {plain(row['name'])}" if out else "The next run"
    with deed():
        if not st.button(label, key="next_run", type="primary"):
            return
    draft().pop("kept", None)
    if back:
        go_to_what_now(book, number)
    if out:
        close_order(book, order, row["version"])
        put_down()
        go_to("today")
    hold(book, order=order) if row and decided == "redo" else put_down()
    go_to_step("plan")


def show_form(book, shots, of_piece=None):
    """Draw the settings and the button that keeps it all.

    Parameters
    ----------
    shots : sequence of dyebook.screens.photo.roll.Shot
        Empty for a batch without a photo.
    of_piece : int, optional
        The batch in hand, at the bench.
    """
    recall(*_KEYS)
    _fill_in(book)
    if not shots:
        st.subheader("Write it down", anchor=False)
        _add_new_batch(book, (), {})
        keep(*_KEYS)
        return
    st.subheader("Keep it", anchor=False)
    way = _MORE
    if not of_piece or switch("keep_otherwise", f"Not as batch {of_piece}"):
        way, of_piece = st.radio("As", [_NEW, _MORE, _SAMPLE], key="keep_as", horizontal=True), None
    if way == _SAMPLE:
        _add_sample(book, shots)
        keep(*_KEYS)
        return
    with st.container(horizontal=True):
        wet = _STATES[st.selectbox("The part was read", list(_STATES), key="wet", width=168)]
        sealed = _SEALS[st.selectbox("Its film was", list(_SEALS), key="sealed", width=168)]
    state = {"wet": wet, "sealed": sealed}
    if way == _MORE:
        _add_to_batch(book, shots, state, of_piece)
    else:
        _add_new_batch(book, shots, state)
    keep(*_KEYS)


def _fill_in(book):
    """Choose what this photo is for, where a batch wants it or an order wants its sample."""
    number = st.session_state.pop("add_to", None)
    if number is not None:
        sealed = surface_of(book, number)[1]
        known = next(name for name, value in _SEALS.items() if value is sealed)
        st.session_state.update(keep_as=_MORE, batch_number=number, sealed=known)
    order = st.session_state.pop("sample_for", None)
    if order is not None:
        st.session_state.update(keep_as=_SAMPLE, for_order=order)


def _ask_order(book, label, empty=_NO_ORDER):
    """Ask for one of the open orders; its number, or None."""
    names = {stand.order["id"]: stand.order["name"] for stand in open_orders(book)}
    if st.session_state.get("for_order") not in names:
        st.session_state["for_order"] = None
    return st.selectbox(label, list(names), key="for_order", format_func=names.get, placeholder=empty)


def _add_sample(book, shots):
    """What a customer brought becomes the target of an order."""
    order = _ask_order(book, "The order it belongs to", "choose an order")
    if st.button("Take an order first", key="order_first", type="tertiary"):
        go_to_order(None)
    tolerance = ask_tolerance(book, "sample_tolerance_de00")
    finish = st.text_input("Its finish, where you know it", key="sample_finish", placeholder="blasted")
    shot = shots[draft().get("photo_in_view", 0)]
    if shot.reading is None:
        st.caption("Say which part is the sample; nothing can be matched to a photo without a reading.")
    ready = None not in (order, tolerance, shot.reading)
    look = {"type": "primary", "width": "stretch", "disabled": not ready}
    with deed():
        kept = st.button("Take it as the shade to reach", key="keep_sample", **look)
    if kept:
        _keep_paper(book, [shot])
        keep_order_sample(book, order, shot.measurement, shot.parts[0], shot.content, tolerance, finish.strip() or None)
        _clear()
        go_to_order(order)


def _keep_sample_beside(book, number, shots, order):
    """Keep the sample that lay beside a batch, where a part of the photo was said to be it."""
    index, shot = sample_index(), shots[draft().get("photo_in_view", 0)] if shots else None
    if shot is None or shot.measurement is None or index is None:
        return
    target = order and target_of(book, order)
    if order is not None and target is None:
        keep_order_sample(book, order, shot.measurement, index, shot.content)
    else:
        keep_sample(book, number, shot.measurement, index, sample_id=target and target["sample_id"])


def _keep_paper(book, shots):
    """Keep the plain paper that evened the light: without it these photos could not be measured again."""
    flat = draft().get("flat")
    if flat and any(shot.measurement is not None for shot in shots):
        book.add_photo(flat[1])


def _add_to_batch(book, shots, state, number=None):
    number = number or st.number_input("Number of the batch", min_value=1, step=1, key="batch_number")
    known = book.rows("batches", id=int(number))
    row = book.batch(int(number)) if known else None
    sure = _is_sure(book, row and row.dye, row and row.bath, shots)
    with deed():
        if not st.button(f"Keep with batch {number}", key="keep_with", type="primary", width="stretch"):
            return
    row = book.batch(int(number))
    _keep_paper(book, shots)
    keep_dip(book, None, shots, row.batch, **state)
    if not sure:
        vouch_for(book, row.batch, sure=False)
    _keep_sample_beside(book, row.batch, shots, book.row("batches", row.batch)["order_id"])
    _kept(book, row.batch)


def _is_sure(book, dye, bath, shots):
    """Whether a reading fits its bath; one that no dip of it could give is asked about, and doubted until a yes."""
    readings = [shot.reading.lab for shot in shots if shot.reading is not None]
    given = next((lab for one in readings if (lab := unlike_bath(book, dye, bath, one)) is not None), None)
    if given is None:
        return True
    show_doubt(
        f"It has given {describe_colour(given)}, and this is {describe_colour(readings[-1])}.", "Unlike its bath"
    )
    sure = switch("sure_of_bath", "It is so")
    if not sure:
        st.caption("Kept with a doubt: it teaches the bath nothing until somebody says yes, here or on the batch.")
    return sure


def _add_new_batch(book, shots, state):
    show_settings(book)
    sure = _is_sure(book, st.session_state.get("dye"), st.session_state.get("bath"), shots)
    settings = typed_settings()
    odd = asked_of_dip(settings)
    if odd:
        show_doubt(". ".join(sentence_text(note) for note in odd), "Is it so?")
    so = not odd or switch("sure_of_settings", "It is so")
    order = _ask_order(book, "For the order")
    if any(shot.measurement is None for shot in shots):
        st.caption("A photo that could not be read is kept with the batch all the same, and can be read again later.")
    with deed():
        if not st.button("Save the batch", key="save", type="primary", width="stretch", disabled=not so):
            return
    check_settings()
    _keep_paper(book, shots)
    number = keep_dip(book, DyeRecord(**settings, **state), shots, **state)
    if not sure:
        vouch_for(book, number, sure=False)
    if order is not None:
        answer_order(book, order, number)
    _keep_sample_beside(book, number, shots, order)
    _kept(book, number)


def _kept(book, number):
    """Empty what belongs to one batch only; settings stay, for the next is often alike."""
    _clear()
    hold(book, batch=number)
    draft()["kept"] = number
    turn_over()
    st.rerun()


def _clear():
    forget("note", "keep_as", "batch_number", "sample_part", "for_order", "again", "sure_of_bath", "sure_of_settings")
    photo_roll.clear_roll()
