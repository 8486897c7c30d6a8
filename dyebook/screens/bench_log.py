"""Log: what a logger's file, or a few hand notes, tell about a run."""

import streamlit as st

from dyebook import report_run as words
from dyebook.jobs.gauge import rate_of_trace
from dyebook.jobs.run import keep_log
from dyebook.jobs.wet import finished_runs
from dyebook.physics.trace import report_trace
from dyebook.physics.trace_columns import QUANTITIES
from dyebook.physics.trace_read import make_trace, parse_trace, read_notes
from dyebook.physics.trace_table import decode_log, log_headers
from dyebook.plots_run import plot_trace
from dyebook.report_run import run_title
from dyebook.screens.bench_pieces import ask, ask_text, ask_word, choose, key_of, offer_page, show_answer
from dyebook.screens.drafts import draft
from dyebook.screens.shelf import friendly_errors

__all__ = ["show"]

_RUNS = 60
_FILE, _NOTES = "A logger's file", "Hand notes"
_COLUMNS = {"time_min": "time", "current_a": "current", "voltage_v": "voltage", "electrolyte_temp_c": "temperature"}


def show(book):
    """Draw the step."""
    left, right = st.columns([2, 3], gap="large")
    with left:
        row = _whose(book)
        with st.container(key="pairs_log"):
            asked = _questions(row)
        way = choose("log_way", "From", [_FILE, _NOTES])
        with friendly_errors():
            trace = _from_file(row) if way == _FILE else _from_notes()
    with right, friendly_errors():
        if trace is not None:
            _show_trace(book, row, trace, asked)


def _whose(book):
    """The run that the log belongs to; None for a log on its own."""
    finished = {row["id"]: row for row in finished_runs(book, _RUNS)}
    if not finished:
        return None
    names = {None: "none in the book", **{number: run_title(row) for number, row in finished.items()}}
    number = st.selectbox("The log of", list(names), key=key_of("log_run"), format_func=names.get)
    kept = [str(row["id"]) for row in finished.values() if not row["trace"].get("by_hand", True)]
    if number is None and kept:
        st.caption(f"A log is kept with run {', '.join(kept)}.")
    return finished.get(number)


def _questions(row):
    mark = f"{row['id']}_" if row else ""
    area = f"{row['area_dm2']:g}" if row and row["area_dm2"] else ""
    temp = f"{row['electrolyte_temp_c']:g}" if row and row["electrolyte_temp_c"] is not None else ""
    return {
        "area_dm2": ask(f"{mark}log_area_dm2", "Area, dm²", area, "1.5 or 23 in²"),
        "supply_max_a": ask("log_supply_max_a", "The supply gives at most, A", hint="3", explain=_LIMIT_HELP),
        "alloy": row["alloy"] if row else ask_word("log_alloy", "Alloy", ("6061", "6063", "5052", "7075", "cast")),
        "electrolyte_temp_c": ask(f"{mark}log_electrolyte_temp_c", "Electrolyte, °C", temp, "20 or 68 °F"),
    }


_LIMIT_HELP = "That the supply held the current back is only told against this limit."


def _kept(row):
    """The logger's file that is kept with a run; None without one."""
    log = row["trace"] if row else None
    if not log or log.get("by_hand", True) or "log" in draft():
        return None
    st.caption(f"The log kept with run {row['id']}; a file chosen here is shown instead.")
    return make_trace(log["time_min"], log["current_a"], log.get("voltage_v"), log.get("electrolyte_temp_c"))


def _from_file(row):
    given = st.file_uploader("CSV or text of any logger", type=["csv", "txt", "tsv", "log"], key="log_file")
    if given is not None:
        draft()["log"] = given.name, given.getvalue()
    kept = _kept(row)
    if kept is not None:
        return kept
    if "log" not in draft():
        st.markdown(
            "Columns for time and current are needed, voltage and temperature are welcome; any order, any unit."
        )
        return None
    name, content = draft()["log"]
    text = decode_log(content)
    chosen = _columns(log_headers(text, name))
    trace = parse_trace(text, name, chosen)
    read = ", ".join(f"{_COLUMNS[quantity]} from “{header}”" for quantity, header in trace.columns.items())
    st.caption(f"{name}: {len(trace.time_min)} rows; {read}.")
    return trace


def _columns(headers):
    """Which column holds what, where the guess is put right; None leaves the guess."""
    with st.expander("Columns: confirm or put right"):
        picked = {}
        for quantity in QUANTITIES:
            guess = "as guessed"
            options = [guess, *dict.fromkeys(headers)]
            header = st.selectbox(_COLUMNS[quantity].capitalize(), options, key=f"log_column_{quantity}")
            if header != guess:
                picked[quantity] = header
    return picked


def _from_notes():
    text = ask_text("log_notes", "Notes", "0.6 A at start, 0.9 A at 10 min, 0.9 A at 30 min", long=True)
    return read_notes(text) if text else None


def _show_trace(book, row, trace, asked):
    rate = rate_of_trace(book, trace, asked["area_dm2"], asked["alloy"], asked["electrolyte_temp_c"])
    report = report_trace(trace, own_rate=rate, **asked)
    st.plotly_chart(plot_trace(trace, report.events, report.gaps), config={"displayModeBar": False})
    st.markdown(f"**{words.events_count_text(len(report.events))}**" if not trace.by_hand else _BY_HAND)
    for number, event in enumerate(report.events, start=1):
        head, remedy = words.event_line(event.to_dict())
        st.html(f"<div class='doubt'><strong>{number}. {head}</strong><br>{remedy}</div>")
    show_answer(report, ("charge_ah", "film_um", "minutes"))
    offer_page("Log of a run", report, "log")
    if row is not None and st.button(f"Keep it with run {row['id']}", key="keep_log", type="primary"):
        keep_log(book, row["id"], trace, report)
        st.success(f"Run {row['id']} now has this log, its charge and its film.", icon=":material/check:")


_BY_HAND = "A few notes show the charge; contacts, shorts and breaks only show in a logger's file."
