"""Bench: the steps from bare part to sealed batch, and the care of the tanks, each with its sums."""

from importlib import import_module
from pathlib import Path

import streamlit as st

from dyebook.jobs.run import open_runs
from dyebook.report.baths import plan_text
from dyebook.report.bench import CAUTIONS
from dyebook.screens.drafts import draft
from dyebook.screens.fields import choose, key_of
from dyebook.screens.navigation import arrive_at_bench
from dyebook.screens.piece import plan_waiting
from dyebook.screens.session import friendly_errors, the_book

__all__ = ["STEPS", "show"]

# what each step is called, and the module of the bench whose `show_…` draws it; in the order of work, then the tanks
STEPS = {
    "area": ("Area", "area"),
    "plan": ("Plan", "run"),
    "prepare": ("Prepare", "run"),
    "run": ("Run", "run"),
    "wet": ("Dye and seal", "wet"),
    "gauge": ("Film gauge", "gauge"),
    "log": ("Log", "gauge"),
    "acid": ("Electrolyte", "acid"),
    "dyebath": ("Dye bath", "dyebath"),
}
_STYLE = Path(__file__).parents[1] / "web" / "bench.css"


def show():
    """Draw the page."""
    st.html(_STYLE)
    st.title("Bench", anchor=False)
    book = the_book()
    arrive_at_bench()
    step = _step(book)
    if step in ("plan", "wet") and (waiting := plan_waiting(book)):
        st.markdown(f"**Waits here**, {waiting['why']}: {plan_text(waiting)}.")
    with friendly_errors():
        module = import_module(f"dyebook.screens.bench.{STEPS[step][1]}")
        getattr(module, f"show_{step}")(book)
    st.caption(CAUTIONS["general"])


def _step(book):
    """The step asked for: by a button, by the address after a reload, else the run that is on, else the first."""
    key = key_of("step")
    if key not in st.session_state and key not in draft():
        asked = st.query_params.get("step")
        is_on = any(row["started_at"] for row in open_runs(book))
        draft()[key] = asked if asked in STEPS else "run" if is_on else "area"
    step = choose("step", "Step", list(STEPS), lambda one: STEPS[one][0], hidden=True)
    st.query_params["step"] = step
    return step
