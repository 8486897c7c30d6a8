"""Turning from one page to another with what it should show."""

import streamlit as st

__all__ = ["asked_for", "go_to_batch", "go_to_bath", "go_to_order", "go_to_shade", "go_to_step", "go_to_trouble"]


def _turn(page):
    st.switch_page(st.session_state["pages"][page])


def asked_for(name):
    """Return the number of the one to show, from a click or from the address; None for all of them.

    Parameters
    ----------
    name : str
        "bath" or "order": the name in the address, with `_shown` behind it in the state.
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
        _turn("book")


def go_to_order(number):
    """Turn to an order; to all of them without a number."""
    st.session_state["order_shown"] = number
    _turn("orders")


def go_to_bath(number):
    """Turn to a bath; to all of them without a number."""
    st.session_state["bath_shown"] = number
    _turn("baths")


def go_to_step(step, number=None):
    """Turn to a step of `dyebook.jobs.wet.STEPS`, with the run or batch that waits there."""
    if step == "verdict":
        _turn("orders") if number is None else go_to_batch(number)
    elif step == "photo":
        if number is not None:
            st.session_state["add_to"] = number
        _turn("photo")
    else:
        st.session_state["bench_next"] = {"step": step, **({"run": number} if number else {})}
        _turn("bench")


def go_to_shade(name):
    """Turn to the Shade page with one of the customers' shades chosen."""
    from dyebook.screens.bench.pieces import put

    put(shade_from="Customer's", shade_kept=name)
    _turn("shade")


def go_to_trouble(number):
    """Turn to the Trouble page with a batch chosen."""
    from dyebook.screens.bench.pieces import put

    put(trouble_way="batch", trouble_batch=number)
    _turn("trouble")
