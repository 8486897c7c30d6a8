"""What was measured of a run: gauge readings of its film, which teach the growth rate, its seal, a logger's file."""

import re
from pathlib import Path

import streamlit as st

from dyebook.jobs.asked import asked_of_gauge
from dyebook.jobs.gauge import gauge_check, keep_gauge, own_rate, rate_of_trace
from dyebook.jobs.run import keep_log
from dyebook.jobs.wet import finished_runs, keep_seal_test
from dyebook.physics.film import FILM_CLASSES
from dyebook.physics.trace.events import report_trace
from dyebook.physics.trace.read import QUANTITIES, decode_log, log_headers, make_trace, parse_trace, read_notes
from dyebook.report import bench as report_bench
from dyebook.report.bench import run_title
from dyebook.report.plots import plot_trace
from dyebook.report.words import figure_text
from dyebook.screens.answers import ask_reason, deed, offer_page, show_answer, show_doubt, show_plot
from dyebook.screens.drafts import draft
from dyebook.screens.fields import ask, ask_alloy, ask_text, ask_word, check_fields, choose, choose_run, key_of
from dyebook.screens.navigation import go_on
from dyebook.screens.session import as_drawn, friendly_errors, the_book
from dyebook.units import parse_quantity

__all__ = ["show", "show_gauge"]


def show_gauge(book, alone):
    """Draw what the runs were gauged at, and what that teaches; `alone`: keeping them is the one thing to do."""
    left, right = st.columns(2, gap="large")
    rows = finished_runs(book, 30)
    with left, friendly_errors():
        st.subheader("Read on the parts", anchor=False)
        row = choose_run(list(reversed(rows)), "Run that was gauged", "gauged")
        if row is None:
            st.markdown("No finished run is in the book yet. Measure its parts once there is one.")
        else:
            _read(book, row, alone)
        _test_seal(book, row)
        _table(rows)
    with right, friendly_errors():
        _growth(book)


def _read(book, row, alone):
    text = ask_text("gauge_readings", "Gauge readings, µm", "11.8 12.1 12.0, or 0.47 mil 0.48 mil", _GAUGE_HELP)
    asked_class = ask_word("film_class", "Film class asked for (ISO 7599)", FILM_CLASSES)
    readings, drawn = _readings(text), as_drawn(f"gauge {row['id']}", row["version"])
    why = ask_reason("gauge_why", asked_of_gauge(row, sum(readings) / len(readings))) if readings else None
    with deed() if alone and text else st.container():
        kept = st.button("Keep the readings", key="keep_gauge", type="primary", disabled=not text or why == "")
    if kept:
        check_fields()
        keep_gauge(book, row["id"], readings, asked_class, why, drawn)
        go_on(gauge_readings="")
    check = gauge_check(row)
    if check is not None:
        st.markdown("By gauge so far; it teaches the growth rate. Readings kept now take its place.")
        show_answer(check, ("film_measured_um", "film_least_um", "met_class"))


def _test_seal(book, row):
    """The dye spot test of a sealed batch."""
    if row is None or row["batch"] is None or not book.rows("seals", batch_id=row["batch"]):
        return
    with st.expander("Seal test (ISO 2143): stain of a dye spot"):
        drawn = as_drawn(f"seal test {row['id']}", row["version"])
        stain = choose("seal_stain", "Stain, 0 none to 5", list(range(6)), str)
        if st.button("Keep the test", key="keep_seal_test"):
            show_answer(keep_seal_test(book, row["id"], stain, drawn), ("passes",))


_GAUGE_HELP = (
    "Eddy current (ISO 2360), zeroed on a bare piece of the same alloy and shape; several places on several parts."
)


def _readings(text):
    """Numbers with or without a unit, apart by blanks, commas with a blank, or semicolons."""
    found = re.findall(r"\d+(?:[.,]\d+)?\s*(?:µm|um|mils?)?", text)
    return [parse_quantity("film_measured_um", piece.strip()) for piece in found]


def _table(rows):
    gauged = [row for row in rows if row["film_measured_um"] and row["film_from_charge_um"]]
    if not gauged:
        return
    st.markdown("**Gauged runs**")
    for row in gauged[:12]:
        ratio = report_bench.ratio_text(row["film_measured_um"], row["film_from_charge_um"])
        by_gauge = figure_text("film_measured_um", row["film_measured_um"])
        st.markdown(f"Run {row['id']}: {by_gauge} by gauge, {ratio}")


def _growth(book):
    st.subheader("Your growth rate", anchor=False)
    alloy = ask_alloy("growth_alloy", "For alloy")
    temp = ask("growth_electrolyte_temp_c", "At, °C", hint="20 or 68 °F")
    density = ask("growth_current_density_a_per_dm2", "At, A/dm²", "1.5", "1.5 or 14 asf")
    rate = own_rate(book, alloy=alloy, electrolyte_temp_c=temp, current_density_a_per_dm2=density or 1.5)
    show_answer(rate, ("um_per_a_min_dm2", "film_sd_fraction", "readings", "factor"))
    st.markdown("A film above what Faraday's law allows is refused as unphysical; it is not averaged in.")
    offer_page("The shop's own growth rate", rate, "growth")


_STYLE = Path(__file__).parents[1] / "web" / "bench.css"
_RUNS = 60
_FILE, _NOTES = "A logger's file", "Hand notes"
_COLUMNS = {"time_min": "time", "current_a": "current", "voltage_v": "voltage", "electrolyte_temp_c": "temperature"}


def show():
    """Draw the page."""
    st.html(_STYLE)
    st.title("Logger's file", anchor=False)
    book = the_book()
    left, right = st.columns([2, 3], gap="large")
    with left:
        row = _run_of_the_log(book)
        with st.container(key="pairs_log"):
            asked = _questions(row)
        way, trace = choose("log_way", "From", [_FILE, _NOTES]), None
        with friendly_errors():
            trace = _from_file(row) if way == _FILE else _from_notes()
    with right, friendly_errors():
        if trace is not None:
            _show_trace(book, row, trace, asked)


def _run_of_the_log(book):
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
        "supply_max_a": ask("log_supply_max_a", "Most the supply gives, A", hint="3", explain=_LIMIT_HELP),
        "parts": ask("log_parts", "Parts on the jig", hint="6", quantity="parts_a"),
        "alloy": row["alloy"] if row else ask_alloy("log_alloy"),
        "electrolyte_temp_c": ask(f"{mark}log_electrolyte_temp_c", "Electrolyte, °C", temp, "20 or 68 °F"),
    }


_LIMIT_HELP = "Only against this limit can it be seen that the supply held the current back."


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
    parts = asked.pop("parts")
    report = report_trace(trace, own_rate=rate, parts=parts and int(parts), **asked)
    show_plot(plot_trace(trace, report.events, report.gaps))
    st.markdown(f"**{report_bench.events_count_text(len(report.events))}**" if not trace.by_hand else _BY_HAND)
    for number, event in enumerate(report.events, start=1):
        head, remedy = report_bench.event_line(event.to_dict())
        show_doubt(remedy, f"{number}. {head}")
    show_answer(report, ("charge_ah", "film_um", "minutes", "film_kept_um", "film_lost_um"))
    offer_page("Log of a run", report, "log")
    drawn = row and as_drawn(f"log of {row['id']}", row["version"])
    if row is not None and st.button(f"Keep it with run {row['id']}", key="keep_log", type="primary"):
        check_fields()
        keep_log(book, row["id"], trace, report, drawn)
        st.success(f"Run {row['id']} now has this log, its charge and its film.", icon=":material/check:")


_BY_HAND = "A few notes show the charge; contacts, shorts and breaks only show in a logger's file."
