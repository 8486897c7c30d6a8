"""What pages draw of an answer: large figures, pairs of label and text, doubts, cautions, a clock, a page to print."""

from contextvars import copy_context
from functools import partial
from html import escape

import streamlit as st

from dyebook.report import bench as report_bench
from dyebook.report.words import PLUS_MINUS, pairs_html
from dyebook.screens.fields import ask_text
from dyebook.screens.session import sentence, the_book
from dyebook.screens.swatch import web_text

__all__ = [
    "ask_reason", "deed", "name_page", "offer_page", "offer_pdf", "offer_steps", "show_answer", "show_bar_clock",
    "show_cautions", "show_clock", "show_doubt", "show_figures", "show_flags", "show_from_top", "show_pairs",
    "show_plot",
]  # fmt: skip


def show_answer(answer, heads, leave=()):
    """Draw a bench answer: its heads large, the other figures, what they rest on, notes and cautions.

    `heads` (sequence of str): names of the figures that matter most. `leave` (sequence of str): names of figures not to
    show.
    """
    content = {name: value for name, value in answer.to_dict().items() if name not in leave}
    show_figures(report_bench.answer_rows(content, heads))
    rest = {name: value for name, value in content.items() if name not in heads or name == "portions"}
    show_pairs(report_bench.answer_rows(rest))
    st.caption(f"Basis: {content['basis']}. {PLUS_MINUS}")
    for note in content.get("notes", ()):
        show_doubt(sentence(note))
    show_cautions(content["cautions"])


def show_figures(rows):
    """Draw (label, text) pairs as large figures, the other unit below."""
    cells = []
    for label, text in rows:
        main, _, other = text.partition(" (")
        below = f"<span class='other'>{escape(other.removesuffix(')'))}</span>" if other else ""
        cells.append(f"<div><span class='label'>{escape(label)}</span><strong>{escape(main)}</strong>{below}</div>")
    across = 2 if len(cells) in (2, 4) else 3
    st.html(f"<div class='figures across{across}'>{''.join(cells)}</div>")


def show_pairs(pairs):
    """Draw (label, text) pairs, one a line; nothing where there are none."""
    if pairs:
        st.html(pairs_html(pairs, "settings"))


def show_plot(figure, key=None):
    """Draw a chart without the buttons that plotly adds."""
    st.plotly_chart(figure, key=key, theme=None, config={"displayModeBar": False})


def show_doubt(words, head=""):
    """Draw a doubt about what is shown, with a head of its own or none."""
    head = f"<strong>{escape(head)}</strong><br>" if head else ""
    st.html(f"<div class='doubt'>{head}{escape(words)}</div>")


def show_flags(lines):
    """Draw flags of a reading, each as its meaning and what to do about it, apart by a colon."""
    for line in lines:
        meaning, remedy = line.split(": ", 1)
        show_doubt(remedy, meaning)


def show_cautions(cautions):
    """Draw cautions where the step is planned: the first few in sight, the rest folded; the page itself closes them."""
    first, rest = report_bench.few_and_rest(cautions)
    lines, more = ("".join(f"<li>{escape(text)}</li>" for text in texts) for texts in (first, rest))
    folded = f"<details><summary>more</summary><ul>{more}</ul></details>" if more else ""
    st.html(f"<div class='cautions'><strong>Take care</strong><ul>{lines}</ul>{folded}</div>")


def ask_reason(name, asked) -> str | None:
    """Draw what stands in the way of a deed; return the reason to go on: empty without, None if nothing is asked."""
    for question in asked:
        show_doubt(sentence(question))
    return ask_text(name, "Go on all the same, because", explain="Kept with the run.") if asked else None


def name_page(words):
    """Give a page its heading for those who hear it; who sees it has the name on the ways."""
    with st.container(key="page_name"):
        st.title(words, anchor=False)


def deed():
    """Return where the step's one button goes: fixed above the ways on the phone, in its place at a desk."""
    return st.container(key="deed")


def offer_page(title, answer, key, leave=()):
    """Offer an answer as one printed page, without the figures in `leave`; made only on asking."""
    content = {name: value for name, value in answer.to_dict().items() if name not in leave}
    offer_pdf("Page to print", partial(report_bench.answer_page, title, content), key)


def offer_steps(title, steps, cautions, key, pairs=()):
    """Offer steps to tick as one printed page."""
    offer_pdf("Steps to print", lambda paper: report_bench.steps_page(title, steps, cautions, paper, pairs), key)


def offer_pdf(label, make, key, name=None):
    """Offer a printed page on the shop's paper; `make` takes that paper's name and gives the PDF, only on asking."""
    made = partial(copy_context().run, make, the_book().setting("paper"))
    st.download_button(label, made, f"{name or key}.pdf", "application/pdf", key=f"{key}_pdf", on_click="ignore")


def show_clock(key: str, minutes, elapsed_min, words, alarm, running: bool = True):
    """Draw a clock that runs down on its own, sleeping phone or not, and rings at the end.

    Parameters
    ----------
    minutes : float or None
        From start to end; None for a clock that only counts up.
    elapsed_min : float
        Since the start, as the server's clock has it.
    words : str
        Beside the clock.
    alarm : str
        What to say when the time is up.
    """
    total = None if minutes is None else minutes * 60_000
    data = {"total": total, "elapsed": elapsed_min * 60_000, "words": words, "alarm": alarm, "running": running}
    _clock(key, data)


def show_bar_clock(key, clock, silent):
    """Draw a `dyebook.jobs.piece.Clock` small, on the bar over the page; it rings unless it is to be silent."""
    words = clock.step.partition(":")[0].capitalize()
    data = {"total": clock.minutes * 60_000, "elapsed": clock.elapsed_min * 60_000, "running": clock.running}
    _clock(key, {**data, "words": words, "alarm": f"{words} {clock.run}: time is up.", "small": True, "silent": silent})


def show_from_top(turn: int):
    """Let the browser show the page from its top, once for each turn to what is shown."""
    piece = st.components.v2.component("dyebook.top", js=web_text("top.js"))
    with st.container(key="top"):
        piece(key="from_top", data={"turn": turn})


def _clock(key, data):
    piece = st.components.v2.component(
        "dyebook.clock", html=web_text("clock.html"), css=web_text("clock.css"), js=web_text("clock.js")
    )
    piece(key=key, data=data, **({"width": "content"} if data.get("small") else {}))
