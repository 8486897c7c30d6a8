"""Trouble: why a batch came out as it did, whether a bath drifts, and a part judged beside its sample.

A batch gets its verdict against its target, the causes, and questions that tell them apart. A bath over time gets
control charts against what it should have given, and the check coupon that clears the camera. Sample and part in one
photo are judged by their difference, which the camera's error hardly touches.
"""

from html import escape
from pathlib import Path

import streamlit as st

from dyebook.advice.diagnose import QUESTIONS, next_question
from dyebook.advice.judge import judge
from dyebook.jobs.baths import bath_label, baths_out_of_use
from dyebook.jobs.check_coupon import coupon_days
from dyebook.jobs.trouble import case_of, drift_in_book, judge_batch, target_for
from dyebook.report import trouble as report_trouble
from dyebook.report.batches import dye_text
from dyebook.report.plots import plot_trend
from dyebook.report.words import moment_day, plain
from dyebook.screens import session, tasks
from dyebook.screens.answers import name_page, show_plot
from dyebook.screens.apart import read_apart
from dyebook.screens.coupon import show_chart
from dyebook.screens.drafts import begin, draft, keep
from dyebook.screens.fields import ask_text, choose, choose_from
from dyebook.screens.navigation import go_to, go_to_batch
from dyebook.screens.orders import show_verdict
from dyebook.screens.shade.baths import learn_in
from dyebook.screens.shade.target import read_colour
from dyebook.screens.swatch import show_pair, show_swatch

__all__ = ["WAYS", "show"]

# what can be asked
WAYS = {"batch": "A batch", "drift": "A bath over time", "pair": "Two in one photo"}
_WEB = Path(__file__).parent / "web"


def show():
    """Draw the page."""
    for style in ("bench.css", "trouble.css"):
        st.html(_WEB / style)
    name_page("Trouble")
    book = session.the_book()
    way = choose("trouble_way", "Asked", list(WAYS), WAYS.get, hidden=True)
    with session.friendly_errors():
        {"batch": _show_batch, "drift": _show_bath, "pair": _show_shade_pair}[way](book)


_LATEST = 200
_YES, _NO, _UNSURE = "yes", "no", "cannot say"


def _show_batch(book):
    rows = {row.batch: row for row in book.batches(_LATEST) if row.lab is not None}
    if not rows:
        st.markdown("No batch in the book has a reading yet. Photograph one beside the grey card first.")
        return
    with st.container(horizontal=True, vertical_alignment="bottom"):
        number = choose_from("trouble_batch", "Batch", rows, lambda one: _label(rows[one]))
        if st.button("To the batch", key="to_the_batch", type="tertiary"):
            go_to_batch(number)
    # on the phone the causes come before what was judged already
    left, right = st.columns([3, 2], gap="large")
    with left, session.friendly_errors():
        _show_causes(book, number)
    with right, session.friendly_errors():
        _show_verdict(book, rows[number])


def _label(row):
    return f"{row.batch}: {dye_text(row)}, {moment_day(row.dyed_at or row.added_at)}"


def _show_verdict(book, row):
    if target_for(book, row.batch) is not None:
        show_verdict(book, row.batch)
        return
    text = ask_text(f"trouble_target_{row.batch}", "The shade it was to have", "35, 10, −42 or batch 12")
    if not text:
        show_swatch(row.lab, f"Batch {row.batch}", row.lab_u)
        st.caption("The book knows no target of this batch; with one, it is judged too.")
        return
    wanted = read_colour(text, book)
    found = judge_batch(book, row.batch, wanted, _ask_tolerance(book, "Tolerance, ΔE00"))
    head, lines = report_trouble.verdict_lines(found)
    st.subheader(head, anchor=False)
    show_pair([(f"Target {text}", wanted), (f"Batch {row.batch}", row.lab)], lines)


def _case(book, number):
    key, words = (book.place.name, book.edition(), number), f"Gathering what the book knows of batch {number}"

    def gather(job):
        return case_of(book, number, learn=learn_in(job), progress=job, read=read_apart(job))

    return tasks.done("case", key, words, gather, most=30)


def _show_causes(book, number):
    case = _case(book, number)
    answers = _answers(number)
    causes = case.causes({name: answer == _YES for name, answer in answers.items() if answer != _UNSURE})
    st.subheader("What it came from", anchor=False)
    first = report_trouble.leading(causes)
    st.html(f"<div class='causes'>{report_trouble.causes_html(first)}</div>")
    if case.missing:
        st.caption(f"Not at hand: {'; '.join(case.missing)}.")
    rest = report_trouble.less_likely_lines(causes, len(first))
    if rest:
        with st.expander(f"Less likely: {len(rest)} more"):
            st.markdown("  \n".join(rest))
    # a question is asked below; what takes work stands out
    test = causes[0].next_test
    if test and test not in set(map(report_trouble.question_text, QUESTIONS)):
        st.html(f"<div class='next'><strong>Next test</strong><br>{escape(session.sentence(test))}</div>")
    _ask_on(case, number, causes, answers)


def _key(number, name):
    return f"trouble_{number}_{name}"


def _answers(number):
    """Answers about a batch by question, in the order they were asked."""
    answers = {name: draft().get(_key(number, name)) for name in draft().get(_key(number, "asked"), ())}
    return {name: answer for name, answer in answers.items() if answer is not None}


def _ask_on(case, number, causes, answers):
    """Draw the questions answered so far and the next one: each answer counts at once."""
    following = next_question({one.id: one.probability for one in causes}, case.kinds(), answers)
    names = [*answers, *([following] if following else [])]
    if not names:
        return
    st.subheader("Questions that change the answer", anchor=False)
    for name in names:
        key = begin(_key(number, name), None)
        st.segmented_control(report_trouble.question_text(name), [_YES, _NO, _UNSURE], key=key)
        keep(key)
    draft()[_key(number, "asked")] = names


_RULE = (
    "A bath is said to drift once small steps the same way have added up. {false} Dashed: what is usual. Grey line: "
    "the mean of late. Dotted: where the drift began. Bars: the reading's ±."
)


def _show_bath(book):
    names = _baths(book)
    if not names:
        st.markdown("No bath in the book has a reading yet.")
        return
    label = choose_from("trouble_bath", "Bath", names)
    with session.friendly_errors():
        _show_drift(_drift(book, *names[label]))
    with st.expander("Check coupon: is it the camera?"):
        _show_coupon(book)


def _baths(book):
    """(dye, bath) by label; those taken out of use come last."""
    table = book.frame(newest=1)
    gone, names = baths_out_of_use(book), {}
    for (dye, bath), dips in table.groupby(["dye", "bath"], dropna=False):
        bath = bath if isinstance(bath, str) else None
        away = (dye, bath) in gone
        mark = ", taken out of use" if away else ""
        names[f"{bath_label(dye, bath)}{mark}"] = (away, -dips["batch"].max(), dye, bath)
    return {label: key[2:] for label, key in sorted(names.items(), key=lambda item: item[1][:2])}


def _drift(book, dye, bath):
    key, words = (book.place.name, book.edition(), dye, bath), f"Looking up the dips of {bath_label(dye, bath)}"

    def look_up(job):
        return drift_in_book(book, dye, bath, learn=learn_in(job), progress=job)

    return tasks.done("drift", key, words, look_up, most=30)


def _show_drift(found):
    head, line = report_trouble.drift_lines(found.drift)
    st.subheader(head, anchor=False)
    st.markdown(line)
    trends = found.drift.trends
    for pair in (trends[:2], trends[2:]):
        for column, trend in zip(st.columns(2, gap="medium"), pair, strict=False):
            with column:
                show_plot(plot_trend(found.history, trend, found.filled), f"trend_{trend.name}")
    st.caption(_RULE.format(false=report_trouble.false_signals_text(found.drift)))


def _show_coupon(book):
    days = coupon_days(book)
    if days is None:
        st.markdown(
            "Keep one dyed piece unchanged and photograph it each day beside the same card. If its readings move "
            "together with a bath's, the camera, the lamp or the card has moved, not the bath."
        )
    else:
        show_chart(days)
    if st.button("Photograph the check coupon", key="to_coupon", type="tertiary"):
        go_to("camera")


def _show_shade_pair(book):
    """Two parts of the last photo."""
    name, parts = draft().get("last_read", ("",))[0], draft().get("last_parts", ())
    if len(parts) < 2:
        st.markdown(
            "Lay the customer's sample and the part side by side with the card in **one** photo and read it on the "
            "Photo page. What the camera gets wrong is then wrong for both, and their difference is surer than two "
            "photos could be."
        )
        return
    st.markdown(f"From {plain(name)}, {len(parts)} parts, left to right.")
    sample, part, tolerance = _ask(book, range(len(parts)))
    found = judge(parts[sample], parts[part], tolerance)
    head, lines = report_trouble.verdict_lines(found)
    st.subheader(head, anchor=False)
    show_pair([("Sample", parts[sample]["lab"]), ("Part", parts[part]["lab"])], lines)


def _ask(book, places):
    """Which of the parts is which, and how they are judged."""
    with st.container(key="trouble_pair_parts"):
        left, right = st.columns(2)
    with left:
        sample = choose_from("trouble_sample", "The sample is", places, _part)
    with right:
        part = choose_from("trouble_part", "The part is", [one for one in places if one != sample], _part)
    return sample, part, _ask_tolerance(book, "Tolerance")


def _part(place):
    return f"part {place + 1}"


def _ask_tolerance(book, label):
    """The largest difference that passes, in units of the measure."""
    key = begin("trouble_tolerance", min(20.0, max(0.1, book.setting("tolerance_de00"))))
    found = st.number_input(label, 0.1, 20.0, step=0.1, format="%.1f", key=key)
    keep(key)
    return found
