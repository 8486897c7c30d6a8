"""Bench: the steps from bare part to sealed batch, and the care of the tanks, each with its sums."""

from importlib import import_module
from pathlib import Path

import streamlit as st

from dyebook.screens import shelf
from dyebook.screens.bench.pieces import arrive, choose, key_of
from dyebook.screens.drafts import draft

__all__ = ["STEPS", "show"]

# what each step is called; the first seven in the order of work, then the tanks
STEPS = {
    "area": "Area",
    "plan": "Plan",
    "prepare": "Prepare",
    "run": "Run",
    "wet": "Dye and seal",
    "gauge": "Film gauge",
    "log": "Log",
    "acid": "Electrolyte",
    "dyebath": "Dye bath",
}
# module of the bench and its function that draw each step
_DRAWN_BY = {
    "area": ("area", "show"),
    "plan": ("run", "show_plan"),
    "prepare": ("run", "show_prepare"),
    "run": ("run", "show_run"),
    "wet": ("wet", "show"),
    "gauge": ("gauge", "show_gauge"),
    "log": ("gauge", "show_log"),
    "acid": ("acid", "show"),
    "dyebath": ("dyebath", "show"),
}
_STYLE = Path(__file__).parents[1] / "web" / "bench.css"


def show():
    """Draw the page."""
    st.html(_STYLE)
    st.title("Bench", anchor=False)
    book = shelf.the_book()
    arrive()
    step = _step(book)
    with shelf.friendly_errors():
        module, show_step = _DRAWN_BY[step]
        getattr(import_module(f"dyebook.screens.bench.{module}"), show_step)(book)


def _step(book):
    """The step asked for: by a button, by the address after a reload, else the run that is on, else the first."""
    from dyebook.jobs.run import open_runs

    key = key_of("step")
    if key not in st.session_state and key not in draft():
        asked = st.query_params.get("step")
        is_on = any(row["started_at"] for row in open_runs(book))
        draft()[key] = asked if asked in STEPS else "run" if is_on else "area"
    step = choose("step", "Step", list(STEPS), STEPS.get, hidden=True)
    st.query_params["step"] = step
    return step
