"""One batch that went wrong: the verdict against its target, the causes, and questions that tell them apart."""

import streamlit as st

from dyebook import report_trouble as words
from dyebook.advice.questions import QUESTIONS, next_question
from dyebook.jobs.trouble import case_of, judge_batch, target_for
from dyebook.report_screen import dye_text, moment_text
from dyebook.screens import shelf, work
from dyebook.screens.bench_pieces import ask_text
from dyebook.screens.drafts import draft
from dyebook.screens.go import go_to_batch
from dyebook.screens.shade_baths import learn_at_work
from dyebook.screens.shade_target import choose_from, read_colour
from dyebook.screens.swatch import show_pair, show_swatch
from dyebook.screens.trouble_pair import ask_tolerance

__all__ = ["show"]

_LATEST = 200
_YES, _NO, _UNSURE = "yes", "no", "cannot say"


def show(book):
    """Draw the page's way for one batch."""
    rows = {row.batch: row for row in book.batches(_LATEST) if row.lab is not None}
    if not rows:
        st.markdown("No batch in the book has a reading yet. Photograph one beside the grey card first.")
        return
    left, right = st.columns([2, 3], gap="large")
    with left:
        number = choose_from("trouble_batch", "Batch", rows, lambda one: _label(rows[one]))
        with shelf.friendly_errors():
            _show_verdict(book, rows[number])
        if st.button("To the batch", key="to_the_batch", type="tertiary"):
            go_to_batch(number)
    with right, shelf.friendly_errors():
        _show_causes(book, number)


def _label(row):
    return f"{row.batch}: {dye_text(row)}, {moment_text((row.dyed_at or row.added_at)[:10])}"


def _show_verdict(book, row):
    target, limit = target_for(book, row.batch), None
    if target is None:
        text = ask_text(f"trouble_target_{row.batch}", "The shade it was to have", "35, 10, −42 or batch 12")
        if not text:
            show_swatch(row.lab, f"Batch {row.batch}", row.lab_u)
            st.caption("The book knows no target of this batch; with one, it is judged too.")
            return
        wanted, name = read_colour(text, book), f"Target {text}"
        limit = ask_tolerance("Tolerance, ΔE00")
    else:
        wanted, name = (target["L"], target["a"], target["b"]), target["name"]
    found = judge_batch(book, row.batch, None if target else wanted, limit)
    head, lines = words.verdict_lines(found)
    st.subheader(head, anchor=False)
    show_pair(wanted, row.lab, (name, f"Batch {row.batch}"), lines)


def _case(book, number):
    place, label = book.place.name, f"fresh dips behind batch {number}"
    key, words = (place, book.edition(), number), f"Gathering what the book knows of batch {number}"

    def gather(job):
        return case_of(book, number, learn=lambda dips: learn_at_work(place, label, dips), progress=job)

    return work.done("case", key, words, gather, most=30)


def _show_causes(book, number):
    case = _case(book, number)
    answers, unsure = _answers(number)
    causes = case.causes(answers)
    st.subheader("What it came from", anchor=False)
    first = words.leading(causes)
    st.html(f"<div class='causes'>{words.causes_html(first)}</div>")
    if case.missing:
        st.caption(f"Not at hand: {'; '.join(case.missing)}.")
    rest = words.less_likely_lines(causes, len(first))
    if rest:
        with st.expander(f"Less likely: {len(rest)} more"):
            st.markdown("  \n".join(rest))
    # a question is asked below; what takes work stands out
    if causes[0].next_test and causes[0].next_test not in {question.text for question in QUESTIONS.values()}:
        st.html(f"<div class='next'><strong>Next test</strong><br>{_sentence(causes[0].next_test)}</div>")
    _ask_on(case, number, causes, answers, unsure)


def _sentence(text):
    return text[:1].upper() + text[1:] + ("" if text.endswith(("?", ".")) else ".")


def _key(number, name):
    return f"trouble_{number}_{name}"


def _asked(number):
    """Questions asked about a batch so far, in order, with their answers; kept in the draft."""
    return draft().setdefault("trouble_answers", {}).setdefault(number, {})


def _answers(number):
    """What was answered with yes or no, and what nobody could say."""
    asked = _asked(number)
    for name in asked:
        asked[name] = st.session_state.get(_key(number, name), asked[name])
    known = {name: answer == _YES for name, answer in asked.items() if answer in (_YES, _NO)}
    return known, [name for name, answer in asked.items() if answer == _UNSURE]


def _ask_on(case, number, causes, answers, unsure):
    """Draw the questions answered so far and the next one: each answer counts at once."""
    chances = {one.id: one.probability for one in causes}
    done = answers | dict.fromkeys(unsure)
    following = next_question(chances, case.kinds(), done)
    names = [*done, *([following] if following else [])]
    if not names:
        return
    st.subheader("Questions that change the answer", anchor=False)
    for name in names:
        key = _key(number, name)
        if key not in st.session_state:
            st.session_state[key] = _asked(number).get(name)
        _asked(number).setdefault(name, None)
        st.segmented_control(QUESTIONS[name].text, [_YES, _NO, _UNSURE], key=key)
