"""Bench: the five steps from a shade to the photo of what came out; it opens at the next step of the piece in hand."""

from importlib import import_module
from pathlib import Path

import streamlit as st

from dyebook.jobs.piece import STEPS
from dyebook.jobs.run import open_runs
from dyebook.report.baths import plan_text
from dyebook.report.bench import CAUTIONS
from dyebook.screens.fields import choose
from dyebook.screens.navigation import open_bench_at
from dyebook.screens.piece import held, plan_waiting
from dyebook.screens.session import friendly_errors, the_book

__all__ = ["show"]

# the module of the screens that draws each step, and its function
_DRAWN_BY = {
    "shade": ("shade.page", "show"),
    "plan": ("bench.run", "show_plan"),
    "run": ("bench.run", "show_run"),
    "dye": ("bench.wet", "show_dye"),
    "photo": ("photo.page", "show"),
}
_STYLE = Path(__file__).parents[1] / "web" / "bench.css"


def show():
    """Draw the page."""
    st.html(_STYLE)
    st.html("<h1 class='unseen'>Bench</h1>")
    book = the_book()
    step = _step(book)
    if step == "plan" and (waiting := plan_waiting(book)):
        st.markdown(f"**Waits here**, {waiting['why']}: {plan_text(waiting)}.")
    module, draw = _DRAWN_BY[step]
    with friendly_errors():
        getattr(import_module(f"dyebook.screens.{module}"), draw)(book)
    if step in ("plan", "run", "dye"):
        st.caption(CAUTIONS["general"])


def _step(book):
    """Draw the steps, done, here and to come; return the one chosen: asked for, else the next of the piece in hand."""
    piece = held(book)
    is_on = any(row["started_at"] for row in open_runs(book))
    here = piece.step if piece else "run" if is_on else "plan"
    open_bench_at("photo" if here == "done" else here)
    marks = dict.fromkeys(piece.done if piece else (), "✓ ") | ({here: "● "} if piece else {})
    step = choose("step", "Step", STEPS, lambda one: marks.get(one, "") + one.capitalize(), hidden=True)
    st.query_params["step"] = step
    return step
