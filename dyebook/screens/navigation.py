"""The pages and the ways between them: what a page should show is handed over in the session's state.

Each number to show has one key there: `batch`, `order_shown`, `bath_shown` (also in the address, for a reload),
`add_to` and `sample_for` for the Photo page's next photo. The bench gets a step and fields by `filled_next`.
"""

import streamlit as st

from dyebook.jobs.piece import STEPS
from dyebook.screens.fields import begin_fields, key_of, put

__all__ = [
    "arrive", "asked_for", "go_on", "go_to", "go_to_batch", "go_to_bath", "go_to_bench", "go_to_order", "go_to_photo",
    "go_to_redip", "go_to_shade", "go_to_step", "go_to_trouble", "hold_pages", "open_bench_at", "show_bath",
    "show_order", "turn_of", "turn_over",
]  # fmt: skip

_PAGES, _NEXT, _STEP_ASKED, _TURN = "pages", "filled_next", "step_asked", "page_turn"


def hold_pages(pages):
    """Keep the pages of this session, `st.Page` by name, for the ways between them."""
    st.session_state[_PAGES] = pages


def turn_of(page: str) -> int:
    """Return the number of the turn to what is shown: what was opened or scrolled before it is another's."""
    shown, turn = st.session_state.get(_TURN, (None, 0))
    if shown != page:
        turn += 1
        st.session_state[_TURN] = page, turn
    return turn


def turn_over():
    """Let the next run of the page begin at its top, with nothing opened over it; for a deed that stays on the page."""
    st.session_state[_TURN] = None, st.session_state.get(_TURN, (None, 0))[1]


def go_to(page: str):
    """Turn to a page by its name."""
    turn_over()
    st.switch_page(st.session_state[_PAGES][page])


def asked_for(name: str) -> int | None:
    """Return the number of the one to show, from a click or from the address; None for all of them.

    `name`: "bath" or "order": the name in the address, with `_shown` behind it in the state.
    """
    asked, key = st.query_params.get(name), f"{name}_shown"
    if key not in st.session_state and asked and asked.isdigit():
        st.session_state[key] = int(asked)
    number = st.session_state.get(key)
    if number is None:
        st.query_params.pop(name, None)
    else:
        st.query_params[name] = str(number)
    return number


def go_to_batch(number):
    """Turn to a batch in the book; nothing happens without a number."""
    if number is not None:
        st.session_state["batch"] = int(number)
        go_to("book")


def go_to_order(number):
    """Turn to an order; to all of them without a number."""
    show_order(number)
    go_to("orders")


def show_order(number):
    """Let the Orders page show an order from its next run on; all of them without a number."""
    st.session_state["order_shown"] = number


def go_to_bath(number):
    """Turn to a bath; to all of them without a number."""
    show_bath(number)
    go_to("baths")


def show_bath(number):
    """Let the Baths page show a bath from its next run on; all of them without a number."""
    st.session_state["bath_shown"] = number


def go_to_photo(batch=None, sample_for=None, without=False):
    """Turn to the next photo: of a batch, at the bench; as the sample of an order; or no photo is wanted."""
    if sample_for is not None:
        st.session_state["sample_for"] = sample_for
    if without:
        st.session_state["without_photo"] = True
    if batch is None:
        go_to("photo")
    st.session_state["add_to"] = batch
    go_to_bench("photo")


def go_to_bench(step, **values):
    """Turn to a step of the bench with its fields filled."""
    st.session_state[_NEXT] = {"step": step, **values}
    go_to("bench")


def go_on(step=None, **values):
    """Turn the page that is drawn already to its next thing, with fields filled; on the bench to a step."""
    st.session_state[_NEXT] = {**({"step": step} if step else {}), **values}
    turn_over()
    st.rerun()


def arrive():
    """Fill the fields as `go_to_bench` or `go_on` asked; before any of them is drawn."""
    begin_fields()
    values = st.session_state.pop(_NEXT, {})
    put(**values)
    if "step" in values:
        st.session_state[_STEP_ASKED] = True


def open_bench_at(step: str):
    """Let the bench open at a step, unless another was asked for: by a button, or by the address."""
    asked = st.query_params.get("step")
    if st.session_state.pop(_STEP_ASKED, False):
        return
    if asked not in STEPS:
        put(step=step)
    elif key_of("step") not in st.session_state:
        put(step=asked)


def go_to_step(step, number=None):
    """Turn to a step of `dyebook.jobs.piece.STEPS`, with the run or batch that waits there."""
    if step == "photo":
        go_to_photo(batch=number)
    else:
        go_to_bench(step, **({"run": number} if number else {}))


def go_to_shade(name):
    """Turn to the step Shade with one of the customers' shades chosen."""
    go_to_bench("shade", shade_way="answer", shade_from="Customer's", shade_kept=name)


def go_to_redip(number, target, dry, sealed):
    """Turn to what to do now with a batch: its shade, and whether it was dried or sealed, stand there.

    Parameters
    ----------
    number : int
    target : dict
        Row of the shade wanted.
    dry, sealed : bool or None
    """
    put(shade_way="redip", shade_part="A batch in the book", shade_redip_batch=str(number))
    put(shade_from="Customer's", shade_kept=target["name"], shade_film_um="", shade_bath_temp_c="")
    put(shade_dry={True: "dry at some time", False: "wet all the time", None: "not known"}[dry])
    put(shade_sealed={True: "sealed", False: "not sealed", None: "not known"}[sealed])
    go_to_bench("shade")


def go_to_trouble(number):
    """Turn to the Trouble page with a batch chosen."""
    put(trouble_way="batch", trouble_batch=number)
    go_to("trouble")
