"""Orders: what the customer asked for, the shade agreed and its tolerance, and the batch that answers it.

A shade comes from the customer's piece in a photo, is typed, or is as a batch came out. The batch stands beside it with
what the readings say, and the decision is the shop's.
"""

from datetime import date

import streamlit as st

from dyebook.advice.judge import judge
from dyebook.book.exchange.instrument import typed_instrument
from dyebook.errors import RecordError
from dyebook.jobs import orders
from dyebook.jobs.trouble import judge_batch, target_for
from dyebook.jobs.verdict import keep_limits, limits_of, take_step
from dyebook.jobs.wet import surface_of
from dyebook.record import GEOMETRIES, check_tolerance
from dyebook.report import batches as report_batches
from dyebook.report import words as report_words
from dyebook.report.baths import order_lines, stand_text
from dyebook.report.trouble import sample_lines, verdict_lines
from dyebook.screens.answers import deed, name_page
from dyebook.screens.drafts import draft, forget, keep, recall
from dyebook.screens.fields import warn
from dyebook.screens.navigation import (
    asked_for,
    go_to_batch,
    go_to_order,
    go_to_photo,
    go_to_redip,
    go_to_shade,
    go_to_step,
    show_order,
)
from dyebook.screens.piece import hold
from dyebook.screens.session import as_drawn, as_told, friendly_errors, tap, the_book
from dyebook.screens.shade.target import batch_number, read_colour
from dyebook.screens.swatch import show_pair, show_slip, show_swatch, wall
from dyebook.units import shop_now

__all__ = ["ask_instrument", "ask_tolerance", "go_to_what_now", "look_again", "show", "show_verdict"]

_NEW = ("order_name", "order_customer", "order_words", "order_due_on", "order_skin_contact")
_MOST_DONE, _NEAREST = 20, 3
_SKIN = (
    "Keep nickel out of the seal: plan a hot-water seal, and ask the dye's maker whether the dye may touch skin or "
    "food. The rules of your country decide."
)
_COLOUR_HELP = (
    "CIELAB under D65 and the 2° observer, a screen colour, a Munsell notation, or the number of a batch whose shade "
    "is wanted again."
)
_HINT = "35, 10, −42 or #1f4e8c or 5PB 4/8 or batch 12"
_GEOMETRY_HELP = "How the instrument looks, as its display or report says. Only like geometries are compared surely."
_TOLERANCE_HELP = f"{report_words.DIFFERENCE} Agree on it beforehand."
# what can be decided about a batch: as the book keeps it, and on its button
_DECISIONS = {
    "pass": "Pass it",
    "redip": "Back into the dye",
    "redo": "Strip and redo",
    "accepted_as_is": "Take as it is",
}
# the decision that a verdict suggests; what to do with a part that is off is asked of its bath
_SUGGESTED = {"in": "pass"}


def show():
    """Draw the page."""
    book = the_book()
    number = asked_for("order")
    if number is not None:
        _show_one(book, number)
        return
    name_page("Orders")
    standing = orders.open_orders(book)
    left, right = st.columns([3, 2], gap="large")
    with left:
        if not standing:
            st.markdown("No order is open. Take one: what is wanted, for whom, until when.")
        for stand in standing:
            _show_slip(stand)
        _show_done(book)
    with right:
        _take(book)


def _show_slip(stand):
    order = stand.order
    with st.container(key=f"slip_order_{order['id']}"):
        show_slip(stand.lab, order["name"], order_lines(stand, shop_now()))
        name = report_words.plain(f"Open {order['name']}")
        st.button(name, key=f"open_order_{order['id']}", on_click=show_order, args=(order["id"],))


def _show_done(book):
    done = sorted((row for row in book.rows("orders") if row["done_at"]), key=lambda row: row["done_at"], reverse=True)
    if not done:
        return
    with st.expander("1 order delivered" if len(done) == 1 else f"{len(done)} orders delivered"):
        for row in done[:_MOST_DONE]:
            _show_slip(orders.order_stand(book, row["id"]))


def _take(book):
    recall(*_NEW)
    st.subheader("Take an order", anchor=False)
    name = st.text_input("What is to be dyed", key="order_name", placeholder="Lamp knobs, 40 pieces")
    customer = st.text_input("For whom", key="order_customer")
    wish = st.text_area(
        "In the customer's words", key="order_words", placeholder="the orange of our old knobs", height=80
    )
    due_on = st.date_input("Due", value=draft().get("order_due_on"), key="order_due_on", min_value=date(2000, 1, 1))
    skin = st.toggle("Worn on the skin, or used with food", key="order_skin_contact")
    keep(*_NEW)
    if skin:
        st.caption(_SKIN)
    with deed():
        taken = st.button("Take the order", key="take_order", type="primary", width="stretch")
    if taken:
        day = due_on.isoformat() if due_on else None
        number = orders.take_order(book, name, customer.strip(), wish.strip(), day, skin or None)
        hold(book, order=number)
        forget(*_NEW)
        go_to_order(number)


def _show_one(book, number):
    st.button("All orders", key="all_orders", icon=":material/arrow_back:", on_click=show_order, args=(None,))
    stand = orders.order_stand(book, number)
    order = stand.order
    st.title(report_words.plain(order["name"]), anchor=False)
    for line in order_lines(stand, shop_now())[:-1]:
        st.markdown(report_words.plain(line))
    if order["skin_contact"]:
        st.caption(_SKIN)
    if stand.best is None:
        st.markdown(f"**{report_words.plain(stand_text(stand))}**")
    left, right = st.columns(2, gap="large")
    with left, friendly_errors():
        _show_shade(book, stand)
    with right, friendly_errors():
        _show_batches(book, stand)
    _show_end(book, order)


def _show_shade(book, stand):
    """The shade agreed, or the ways to agree on one."""
    st.subheader("The shade", anchor=False)
    if stand.target is None:
        st.markdown("None is agreed yet. A photo of the customer's piece beside the grey card is surest.")
        _agree(book, stand)
        return
    source = "read from the customer's piece" if stand.target["sample_id"] else "agreed without a piece"
    if stand.target["batch_id"]:
        source = f"as batch {stand.target['batch_id']} was read"
    tolerance = stand.target["tolerance_de00"]
    allowed = tolerance or book.setting("tolerance_de00")
    within = f"tolerance ΔE00 {allowed:g}, {report_words.seen_text(allowed)}" + ("" if tolerance else ", as usual")
    show_swatch(stand.lab, stand.target["name"], None, [source, within])
    for line in sample_lines(orders.sample_verdict(book, stand.target)):
        warn(line)
    with st.container() if stand.batches else deed():
        asked = st.button("What to set for it", key="to_shade", type="primary", icon=":material/colorize:")
    if asked:
        hold(book, order=stand.order["id"])
        go_to_shade(stand.target["name"])
    _ask_limits(book, stand.order["id"])
    with st.expander("Agree on another shade"):
        _agree(book, stand)


def _agree(book, stand):
    number = stand.order["id"]
    before = [stand.target] if stand.target else []
    check = as_told(f"target of order {number}", before, _agreed_text)
    photograph = st.container()
    keys = colour_key, tolerance_key = f"order_{number}_colour", f"order_{number}_tolerance_de00"
    recall(*keys)
    text = st.text_input("Or type it", key=colour_key, placeholder=_HINT, help=_COLOUR_HELP)
    tolerance = ask_tolerance(book, tolerance_key)
    keep(*keys)
    lab = read_colour(text, book) if text.strip() else None
    read = ask_instrument(f"order_{number}", lab) if lab is not None and batch_number(text) is None else None
    if lab is not None:
        lab = lab if read is None else tuple(read[axis] for axis in "Lab")
        show_swatch(lab, "This would be the shade")
    # the one of the two that is next stands at the foot of the phone, where nothing is agreed yet
    with deed() if lab is None and not stand.target else photograph:
        wanted = st.button("Photograph the customer's piece", key="photograph_sample", icon=":material/photo_camera:")
    if wanted:
        # what was agreed beforehand goes along
        st.session_state["sample_tolerance_de00"] = st.session_state[tolerance_key]
        go_to_photo(sample_for=number)
    with deed() if lab is not None and not stand.target else st.container():
        look = {"type": "secondary" if lab is None else "primary", "disabled": lab is None or tolerance is None}
        agreed = st.button("Agree on this shade", key="agree", **look)
    if agreed:
        check()
        as_batch = batch_number(text)
        if read:
            orders.keep_instrument_sample(book, number, read, tolerance)
        else:
            orders.set_target(book, number, lab, tolerance, **({} if as_batch is None else {"batch_id": as_batch}))
        forget(*keys)
        st.rerun()


_STATED, _UNDER = "none: it is stated", ("D65, 2°", "D65, 10°", "D50, 2°", "D50, 10°")


def ask_instrument(key, lab) -> dict | None:
    """Ask how an instrument read a typed Lab; return the columns of its reading, None where none read it."""
    geometry = st.selectbox("Instrument's geometry", [_STATED, *GEOMETRIES], key=f"{key}_geometry", help=_GEOMETRY_HELP)
    if geometry == _STATED:
        return None
    white, observer = st.selectbox("Under", _UNDER, key=f"{key}_white").removesuffix("°").split(", ")
    values, notes = typed_instrument(lab, white, observer, geometry)
    for note in notes:
        st.caption(f"{report_words.capital(note)}.")
    return values


def _ask_limits(book, number):
    """Light and dark limit sample of an order: a part then passes where it lies between them."""
    limits = limits_of(book, number)
    drawn = as_drawn(f"limits of order {number}", limits)
    with st.expander("Limit samples decide" if limits else "Light and dark limit samples"):
        st.caption("A part passes where it lies surely between the two, and no further beside them than the tolerance.")
        if limits:
            show_pair([("Light limit", limits[0].lab), ("Dark limit", limits[1].lab)], [])
            st.button("Judge by the tolerance alone", key="no_limits", **tap(keep_limits, book, number, None, limits))
        names = "Light limit", "Dark limit"
        texts = [st.text_input(name, key=f"{name}_{number}", placeholder=_HINT) for name in names]
        if st.button("Keep both limits", key="keep_limits", disabled=not all(text.strip() for text in texts)):
            labs = [read_colour(text, book) for text in texts]
            # two that are the same are refused
            judge(*labs, limits=labs)
            batches = map(batch_number, texts)
            keep_limits(book, number, [one or lab for one, lab in zip(batches, labs, strict=True)], drawn)
            st.rerun()


def _agreed_text(target):
    lab = ", ".join(f"{target[axis]:g}" for axis in ("L", "a", "b"))
    return f"another shade was agreed on, {target['name']} ({lab})"


def ask_tolerance(book, key) -> float | None:
    """Ask for a tolerance, ΔE00, else the shop's usual one; None while what is typed makes no sense, which is said."""
    usual = book.setting("tolerance_de00")
    text = st.text_input("Tolerance, ΔE00", key=key, placeholder=f"{usual:g}", help=_TOLERANCE_HELP)
    try:
        return check_tolerance(text or usual)
    except RecordError as problem:
        warn(problem)
        return None


def _show_batches(book, stand):
    """What was dyed for an order, and what came nearest so far."""
    st.subheader("Dyed for it", anchor=False)
    if stand.best is not None:
        show_verdict(book, stand.best.batch)
    if stand.batches:
        go_to_batch(wall(stand.batches, key="order_batches", ribbon=len(stand.batches) > 2))
    else:
        st.markdown("Nothing yet.")
        if st.button("Plan a run", key="plan_for_order", icon=":material/play_arrow:"):
            hold(book, order=stand.order["id"])
            go_to_step("plan")
    _take_a_batch(book, stand)
    _show_nearest(book, stand)


def show_verdict(book, batch_id, at_bench=False):
    """Draw a batch beside the shade it was to have, what the reading says, and the decision; nothing without both.

    Returns what was decided; None while it is asked, and empty where there is nothing to decide. `at_bench`: the one
    thing to do is the button of the step.
    """
    row, target = book.batch(batch_id), target_for(book, batch_id)
    if target is None or row.lab is None:
        return ""
    verdict = judge_batch(book, batch_id)
    head, lines = verdict_lines(verdict)
    linked = next((note.values for note in verdict.notes if note.code == "trouble.through_coupon"), None)
    taken, (wanted, read) = linked is not None and linked["taken"], verdict.compared
    beside = ", read beside it" * (wanted != (target["L"], target["a"], target["b"]))
    pair = [(target["name"] + beside, wanted), (f"Batch {batch_id}" + ", less the coupon's step" * taken, read)]
    show_pair(pair, [head + ".", *lines])
    st.caption(report_words.DIFFERENCE)
    if linked is not None:
        label = "Leave the coupon's step in" if taken else "Take the coupon's step off"
        st.button(label, key=f"step_{batch_id}", type="tertiary", **tap(take_step, book, *linked["pair"], not taken))
    taken = [row for row in book.rows("verdicts", batch_id=batch_id) if row["target_id"] == target["id"]]
    if taken:
        when = report_words.moment_text(taken[-1]["decided_at"])
        st.markdown(f"**{report_words.plain(report_batches.verdict_text(taken[-1]))}**" + (f", {when}" if when else ""))
        back = tap(book.delete, "verdicts", taken[-1]["id"])
        st.button("Take the decision back", key=f"undecide_{batch_id}", type="tertiary", **back)
        return taken[-1]["verdict"]
    sealed = surface_of(book, batch_id)[1]
    first = deed() if at_bench else st.container(key=f"first_{batch_id}")
    if verdict.verdict == "cannot_tell" and at_bench:
        # another photo of it may decide
        first.button("Photograph it again", key="look_again", type="primary", on_click=look_again, args=(batch_id,))
    elif verdict.verdict != "in" and first.button("What now?", key="to_redip", type="primary"):
        go_to_what_now(book, batch_id)
    others = first if at_bench else st
    with others.container(key=f"beside_decide_{batch_id}", horizontal=True):
        for name, label in _DECISIONS.items():
            # only an open film takes more dye
            if name == "redip" and sealed:
                continue
            is_first = name == _SUGGESTED.get(verdict.verdict)
            decide = tap(orders.decide, book, batch_id, target["id"], name, verdict.delta_e00)
            kind = "primary" if is_first else "secondary"
            (first if is_first else st).button(label, key=f"{name}_{batch_id}", type=kind, **decide)
    return None


def go_to_what_now(book, number):
    """Turn to what may be done with a batch that is not as wanted."""
    hold(book, batch=number)
    go_to_redip(number, target_for(book, number), *surface_of(book, number))


def look_again(number):
    """Let the next photo at the bench be another of a batch that was read."""
    draft().pop("kept", None)
    draft()["again"] = st.session_state["add_to"] = number


def _take_a_batch(book, stand):
    with st.expander("A batch in the book was dyed for it"):
        number = st.number_input("Number of the batch", min_value=1, step=1, value=None, key="order_batch_number")
        if st.button("It belongs to this order", key="answer_order", disabled=number is None):
            orders.answer_order(book, stand.order["id"], int(number))
            st.rerun()
        for row in stand.batches:
            leave = tap(orders.answer_order, book, None, row.batch, row.version)
            label = f"Batch {row.batch} does not belong here"
            st.button(label, key=f"not_for_order_{row.batch}", type="tertiary", **leave)


def _show_nearest(book, stand):
    """What came nearest so far, for any order: often the quickest way to a shade."""
    if stand.target is None:
        return
    found = book.find(stand.lab, _NEAREST)
    if found:
        st.markdown("**Nearest in the book**")
        near = [one.delta_e00 for one in found]
        go_to_batch(wall([one.row for one in found], key="order_nearest", near=near, ribbon=True))


def _show_end(book, order):
    number = order["id"]
    seen = (number, order["version"])
    with st.container(horizontal=True):
        if order["done_at"] is None:
            st.button("Delivered", key="close_order", **tap(orders.close_order, book, *seen))
        else:
            st.markdown(f"Delivered {report_words.moment_text(order['done_at'])}.")
            st.button("Not delivered after all", key="reopen", **tap(orders.reopen_order, book, *seen))
        # an order that is dropped stays open in front of its owner, who can bring it back at once
        if order["deleted_at"] is None:
            st.button("Drop this order", key="drop_order", type="tertiary", **tap(book.delete, "orders", *seen))
        else:
            st.button("Bring it back", key="undrop_order", **tap(book.undelete, "orders", *seen))
