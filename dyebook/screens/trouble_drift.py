"""A bath over time: control charts against what it should have given, and the check coupon that clears the camera."""

import streamlit as st

from dyebook import report_trouble as words
from dyebook.jobs.baths import bath_label
from dyebook.jobs.check_coupon import coupon_days
from dyebook.jobs.drift import drift_in_book
from dyebook.jobs.today import thrown_out_baths
from dyebook.plots_trouble import plot_trend
from dyebook.screens import shelf, work
from dyebook.screens.camera_coupon import show_chart
from dyebook.screens.shade_baths import learn_at_work
from dyebook.screens.shade_target import choose_from

__all__ = ["show"]

_RULE = (
    "One rule decides: a running sum of what lies beyond half a standard deviation, signalling at five; a bath that "
    "stays put sets it off once in about {length:.0f} readings of each chart. Dashed: three standard deviations of the "
    "baseline. Grey line: weighted mean. Dotted: where the drift began. Bars: the reading's own doubt."
)


def show(book):
    """Draw the page's way for one bath."""
    names = _baths(book)
    if not names:
        st.markdown("No bath in the book has a reading yet.")
        return
    label = choose_from("trouble_bath", "Bath", names)
    with shelf.friendly_errors():
        _show_drift(_drift(book, *names[label]))
    with st.expander("Check coupon: is it the camera?"):
        _show_coupon(book)


def _baths(book):
    """(dye, bath) by label; those thrown out come last."""
    table = book.frame(newest=1)
    gone, names = thrown_out_baths(book), {}
    for (dye, bath), dips in table.groupby(["dye", "bath"], dropna=False):
        bath = bath if isinstance(bath, str) else None
        away = (dye, bath) in gone
        mark = ", thrown out" if away else ""
        names[f"{bath_label(dye, bath)}{mark}"] = (away, -dips["batch"].max(), dye, bath)
    return {label: key[2:] for label, key in sorted(names.items(), key=lambda item: item[1][:2])}


def _drift(book, dye, bath):
    place, label = book.place.name, f"fresh dips of {bath_label(dye, bath)}"
    key, words = (place, book.edition(), dye, bath), f"Looking up the dips of {bath_label(dye, bath)}"

    def reckon(job):
        return drift_in_book(book, dye, bath, learn=lambda dips: learn_at_work(place, label, dips), progress=job)

    return work.done("drift", key, words, reckon, most=30)


def _show_drift(found):
    head, line = words.drift_lines(found.drift)
    st.subheader(head, anchor=False)
    st.markdown(line)
    trends = found.drift.trends
    for pair in (trends[:2], trends[2:]):
        for column, trend in zip(st.columns(2, gap="medium"), pair, strict=False):
            figure = plot_trend(found.history, trend, found.filled)
            column.plotly_chart(figure, key=f"trend_{trend.name}", config={"displayModeBar": False})
    st.caption(_RULE.format(length=found.drift.run_length))


def _show_coupon(book):
    told = coupon_days(book)
    if told is None:
        st.markdown(
            "Keep one dyed piece unchanged and photograph it each day beside the same card. If its readings move "
            "together with a bath's, the camera, the lamp or the card has moved, not the bath."
        )
    else:
        show_chart(told)
    if st.button("Photograph the check coupon", key="to_coupon", type="tertiary"):
        st.switch_page(st.session_state["pages"]["camera"])
