"""The batches of an order: the one that answers it beside the shade wanted, the verdict, and what to do next."""

import streamlit as st

from dyebook.jobs import orders
from dyebook.report import words as report_words
from dyebook.report.baths import judged_text
from dyebook.screens.navigation import go_to_batch, go_to_step
from dyebook.screens.swatch import show_pair, wall

__all__ = ["show", "show_verdict"]

_NEAREST = 3
_DECISIONS = {
    "pass": "Pass it",
    "redip": "Back into the dye",
    "redo": "Strip and redo",
    "accepted_as_is": "Take as it is",
}


def show(book, stand):
    """Draw what was dyed for an order.

    Parameters
    ----------
    book : dyebook.book.store.Book
    stand : dyebook.jobs.orders.OrderStand
    """
    st.subheader("Dyed for it", anchor=False)
    if stand.best is not None:
        show_verdict(book, stand.best.batch)
    if stand.batches:
        go_to_batch(wall(stand.batches, key="order_batches", ribbon=len(stand.batches) > 2))
    else:
        st.markdown("Nothing yet.")
        if st.button("Plan a run", key="plan_for_order", icon=":material/play_arrow:"):
            go_to_step("plan")
    _take_a_batch(book, stand)
    _show_nearest(book, stand)


def show_verdict(book, batch_id):
    """Draw a batch beside the shade of its order, what the reading says, and the decision; nothing without an order."""
    judged = orders.judge_batch(book, batch_id)
    if judged is None:
        return
    target, verdict = judged
    head, lines = judged_text(verdict)
    names = (target["name"], f"Batch {batch_id}")
    show_pair((target["L"], target["a"], target["b"]), book.batch(batch_id).lab, names, [head + ".", *lines])
    for note in verdict.notes:
        st.caption(f"Note: {note}.")
    taken = [row for row in book.rows("verdicts", batch_id=batch_id) if row["target_id"] == target["id"]]
    if taken:
        when = report_words.moment_text(taken[-1]["decided_at"])
        st.markdown(f"**{report_words.verdict_text(taken[-1])}**" + (f", {when}" if when else ""))
        st.button("Take the decision back", key=f"undecide_{batch_id}", type="tertiary",
                  on_click=book.delete, args=("verdicts", taken[-1]["id"]))  # fmt: skip
        return
    with st.container(key=f"decide_{batch_id}", horizontal=True):
        for name, label in _DECISIONS.items():
            stands_out = name == ("pass" if verdict.verdict == "in" else "redip" if verdict.verdict == "out" else None)
            st.button(label, key=f"{name}_{batch_id}", type="primary" if stands_out else "secondary",
                      on_click=orders.decide, args=(book, batch_id, target["id"], name, verdict.delta_e))  # fmt: skip


def _take_a_batch(book, stand):
    with st.expander("A batch in the book was dyed for it"):
        number = st.number_input("Number of the batch", min_value=1, step=1, value=None, key="order_batch_number")
        if st.button("It belongs to this order", key="answer_order", disabled=number is None):
            orders.answer_order(book, stand.order["id"], int(number))
            st.rerun()
        for row in stand.batches:
            st.button(f"Batch {row.batch} does not belong here", key=f"not_for_order_{row.batch}", type="tertiary",
                      on_click=orders.answer_order, args=(book, None, row.batch))  # fmt: skip


def _show_nearest(book, stand):
    """What came nearest so far, whoever it was for: often the quickest way to a shade."""
    if stand.target is None:
        return
    found = book.find(stand.lab, _NEAREST)
    if found:
        st.markdown("**Nearest in the book**")
        near = [one.delta_e00 for one in found]
        go_to_batch(wall([one.row for one in found], key="order_nearest", near=near, ribbon=True))
