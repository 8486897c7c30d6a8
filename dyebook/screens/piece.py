"""The piece of work in hand: chosen once, on a bar over every page, where each page opens; and the plan that waits.

A device holds its own piece, in its draft; the clocks are the shop's. A plan is what Shade, a batch to repeat or a
redip asks of the bench: it fills the fields of Plan and of Dye, and stays on the bar until its batch is kept.
"""

import streamlit as st

from dyebook.jobs import run as bench
from dyebook.jobs.baths import baths_by_name
from dyebook.jobs.orders import open_orders, order_named
from dyebook.jobs.piece import Piece, piece_of, running_clocks
from dyebook.jobs.wet import finished_runs, take_part
from dyebook.report.baths import piece_text, plan_text
from dyebook.report.words import capital, value_text
from dyebook.screens.answers import show_bar_clock
from dyebook.screens.drafts import draft
from dyebook.screens.fields import put
from dyebook.screens.navigation import go_to_bench, go_to_order, go_to_step
from dyebook.screens.settings import texts_of
from dyebook.screens.swatch import hex_of

__all__ = ["go_on_with", "held", "hold", "order_in_hand", "plan_waiting", "put_down", "show_bar", "take_to_bench"]

_HELD, _FRESH = "piece", "piece_fresh"
_NUMBERS = ("order", "run", "batch")


def hold(book, order=None, run=None, batch=None, plan=None):
    """Take a piece in hand by the numbers that are known; a plan that waits stays where the order is the same."""
    before = _of(book)
    if plan is None and batch is None and order is not None and before.get("order") == order:
        plan = before.get("plan")
    numbers = {"order": order, "run": run, "batch": batch}
    draft()[_HELD] = {"place": str(book.place.name), "plan": plan, **numbers}
    draft()[_FRESH] = True
    draft().pop("kept", None)


def order_in_hand(book, name):
    """Return ``{"order": number}`` of an order by the name chosen in a form; empty for none."""
    return {"order": order_named(book, name)["id"]} if name else {}


def put_down():
    """Let go of the piece in hand and of its plan."""
    draft().pop(_HELD, None)


def _of(book):
    """What is held of this book: numbers and plan; empty where nothing is."""
    kept = draft().get(_HELD) or {}
    return kept if kept.get("place") == str(book.place.name) else {}


def held(book) -> Piece | None:
    """Return the piece in hand as it stands; None where there is none, or the book has it no more."""
    kept = _of(book)
    return piece_of(book, *(kept.get(name) for name in _NUMBERS)) if kept else None


def plan_waiting(book) -> dict | None:
    """Return the plan that waits at the bench: texts by field, and `why`; None without one."""
    return _of(book).get("plan")


def take_to_bench(book, texts, why, order=None, after=None):
    """Turn to the bench with a plan: to the dye where a film waits for it, else to the plan of a run.

    Parameters
    ----------
    texts : dict of str
        By field, with `dye` and `bath`, as `dyebook.report.shade.setting_fields` gives them.
    why : str
        Where it comes from.
    order : int, optional
        The one in hand without it.
    after : int, optional
        The batch that goes back into the dye.
    """
    piece = held(book)
    if order is None and piece is not None and piece.order is not None:
        order = piece.order["id"]
    waiting = next((row["id"] for row in _films(book, order)), None)
    if after is not None:
        row = book.batch(after)
        same = (row.dye, row.bath) == (texts["dye"], texts["bath"])
        waiting = take_part(book, row.film_um, order, after, row.dwell_min if same else 0.0)
    hold(book, order=order, run=waiting, plan={**texts, "why": why, **({"after": after} if after else {})})
    go_to_bench("plan" if waiting is None else "dye", **_fields(book, texts))


def _films(book, order):
    """Anodised runs that wait for their dye, for an order or for none."""
    for row in finished_runs(book):
        of_run = (row["trace"].get("plan") or {}).get("order_id")
        if row["batch"] is None and row["film_um"] and of_run in (None, order):
            yield row


_HANDED_ON = ("film_um", "bath_temp_c", "dwell_min", "ph", "alloy", "finish")


def _fields(book, texts):
    """What the bench's fields hold for a plan; the strength of a bath of the book has its own field."""
    fields = {name: texts[name] for name in _HANDED_ON if texts.get(name)}
    name = f"{texts['dye']}, {texts['bath']}" if texts.get("bath") else texts.get("dye")
    row = baths_by_name(book).get(name)
    if texts.get("dye_g_per_l"):
        fields[f"{row['id']}_dye_g_per_l" if row else "dye_g_per_l"] = texts["dye_g_per_l"]
    return fields | ({"bath": name} if name else {})


def show_bar(book, page: str, turn: int):
    """Draw the bar: the piece in hand and every clock that runs; first thing on a page, before its fields.

    `page`: its name; on the bench, where each clock stands large, those of the bar are silent. `turn`: as of `turn_of`.
    """
    piece, clocks = held(book), running_clocks(book)
    if draft().pop(_FRESH, False) and piece is not None:
        _open_pages_on(book, piece)
    if piece is None and not clocks:
        return
    with st.container(key="piece", horizontal=True, vertical_alignment="center", gap="small"):
        if piece is not None:
            colour = f"background:{hex_of(piece.lab)[0]}" if piece.lab else ""
            st.html(f"<div class='patch{'' if piece.lab else ' unread'}' style='{colour}'></div>", width="content")
            # the bench shows its steps right below
            with st.popover(piece_text(piece, page != "bench"), key=f"piece_slip_{turn}", type="tertiary"):
                _show_slip(book, piece)
        for clock in clocks:
            show_bar_clock(f"bar_clock_{clock.run}_{clock.step}", clock, silent=page == "bench")


def _open_pages_on(book, piece):
    """Let each page begin with the piece, before any of its fields is drawn."""
    put(order=None if piece.order is None else piece.order["name"])
    put(step="photo" if piece.step == "done" else piece.step)
    if piece.run is not None and piece.batch is None:
        put(run=piece.run["id"])
    if piece.step == "dye":
        # the film is made: Shade answers for it
        put(shade_film_um=value_text("film_um", piece.run["film_measured_um"] or piece.run["film_um"]))
        before = book.batches(1, order=piece.order["name"]) if piece.order and not plan_waiting(book) else ()
        for row in before:
            put(**_fields(book, {**texts_of(row), "dye_g_per_l": None}))
    if piece.target is not None:
        put(shade_from="Customer's", shade_kept=piece.target["name"])
    if piece.batch is not None:
        put(trouble_way="batch", trouble_batch=piece.batch.batch)
        if piece.step == "photo":
            st.session_state["add_to"] = piece.batch.batch


def _show_slip(book, piece):
    """All that is set, the way on, and the other pieces."""
    if plan := plan_waiting(book):
        st.markdown(f"{capital(plan['why'])}: {plan_text(plan)}.")
    with st.container(horizontal=True):
        if st.button("To its next step", key="piece_next", type="primary"):
            go_on_with(piece)
        if piece.order is not None and st.button("Its order", key="piece_order"):
            go_to_order(piece.order["id"])
        st.button("Put it down", key="piece_down", type="tertiary", on_click=put_down)
    others = _others(book)
    chosen = st.selectbox("Change to", list(others), key="piece_change", index=None, placeholder="another piece")
    if chosen is not None:
        hold(book, **others[chosen])
        del st.session_state["piece_change"]
        st.rerun()


def _others(book):
    """Pieces that can be taken in hand, by what they are called."""
    found = {stand.order["name"]: {"order": stand.order["id"]} for stand in open_orders(book)}
    waiting = [*bench.open_runs(book), *(row for row in finished_runs(book) if row["batch"] is None)]
    for row in waiting:
        if (row["trace"].get("plan") or {}).get("order_id") is None:
            found[f"Run {row['id']}"] = {"run": row["id"]}
    return found


def go_on_with(piece):
    """Turn to what a piece wants next."""
    if piece.order is not None and piece.step in ("shade", "done"):
        go_to_order(piece.order["id"])
    else:
        go_to_step("plan" if piece.step == "done" else piece.step, piece.number)
