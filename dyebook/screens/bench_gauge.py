"""Film gauge: what the gauge read on the parts, and the growth rate that the shop's own readings teach."""

import re

import streamlit as st

from dyebook import report_run as words
from dyebook.jobs.gauge import keep_gauge, own_rate
from dyebook.jobs.wet import finished_runs
from dyebook.report_bench import figure_text
from dyebook.screens.bench_pieces import ask, ask_text, ask_word, choose_run, go_on, offer_page, show_answer
from dyebook.screens.shelf import friendly_errors
from dyebook.units import parse_quantity

__all__ = ["show"]


def show(book):
    """Draw the step."""
    left, right = st.columns(2, gap="large")
    rows = finished_runs(book, 30)
    with left, friendly_errors():
        st.subheader("Read on the parts", anchor=False)
        row = choose_run(list(reversed(rows)), "Run that was gauged")
        if row is None:
            st.markdown("No finished run is in the book yet. Measure its parts once there is one.")
        else:
            _read(book, row)
        _table(rows)
    with right, friendly_errors():
        _growth(book)


def _read(book, row):
    text = ask_text("gauge_readings", "Gauge readings, µm", "11.8 12.1 12.0, or 0.47 mil 0.48 mil", _HOW)
    if st.button("Keep the readings", key="keep_gauge", type="primary", disabled=not text):
        keep_gauge(book, row["id"], _readings(text))
        go_on("gauge", gauge_readings="")
    if row["film_measured_um"]:
        mean = figure_text("film_measured_um", row["film_measured_um"])
        st.markdown(f"{mean} by gauge so far; it teaches the growth rate. Readings kept now take its place.")


_HOW = "Eddy current (ISO 2360), zeroed on a bare piece of the same alloy and shape; several places on several parts."


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
        ratio = words.ratio_text(row["film_measured_um"], row["film_from_charge_um"])
        by_gauge = figure_text("film_measured_um", row["film_measured_um"])
        st.markdown(f"Run {row['id']}: {by_gauge} by gauge, {ratio}")


def _growth(book):
    st.subheader("Your growth rate", anchor=False)
    alloy = ask_word("growth_alloy", "For alloy", ("6061", "6063", "6082", "5052", "2024", "7075", "1050", "cast"))
    temp = ask("growth_electrolyte_temp_c", "At, °C", hint="20 or 68 °F")
    density = ask("growth_current_density_a_per_dm2", "At, A/dm²", "1.5", "1.5 or 14 asf")
    rate = own_rate(book, alloy=alloy, electrolyte_temp_c=temp, current_density_a_per_dm2=density or 1.5)
    show_answer(rate, ("um_per_a_min_dm2", "film_sd_fraction", "readings", "factor"))
    st.markdown("A film above what Faraday's law allows is refused as unphysical; it is not averaged in.")
    offer_page("The shop's own growth rate", rate, "growth")
