"""What the steps of the bench share: figures typed in any unit, answers with basis and cautions, the clock.

How a dye bath's line gets its learned bath: from the same store as the shade page's.
"""

from functools import partial
from html import escape

import streamlit as st

from dyebook.errors import RecordError
from dyebook.jobs.run import open_order_names, order_of
from dyebook.record import FIELDS, check_value
from dyebook.report import bench as report_bench
from dyebook.report.bench import run_title
from dyebook.report.words import pairs_html
from dyebook.screens.drafts import draft
from dyebook.screens.shade.baths import learned_or_none
from dyebook.screens.swatch import web_text
from dyebook.units import parse_quantity

__all__ = [
    "arrive",
    "ask",
    "ask_order",
    "ask_text",
    "ask_word",
    "choose",
    "choose_run",
    "go_on",
    "key_of",
    "learning",
    "offer_page",
    "offer_steps",
    "put",
    "show_answer",
    "show_cautions",
    "show_clock",
    "show_figures",
]


def learning(book):
    """Return what `dyebook.jobs.bath_state.bath_line` takes as `learn`."""
    return partial(learned_or_none, book.place.name)


_NEXT = "bench_next"


def key_of(name):
    """Return the widget key of a figure on the bench; apart from the photo page, whose batch may be another."""
    return f"bench_{name}"


def put(**values):
    """Fill widgets of the bench, drawn or not, for callbacks."""
    for name, value in values.items():
        st.session_state[key_of(name)] = draft()[key_of(name)] = value


def go_on(step, **values):
    """Turn the bench to a step and fill widgets there; the page is drawn anew."""
    st.session_state[_NEXT] = {"step": step, **values}
    st.rerun()


def arrive():
    """Fill widgets as `go_on` asked; call before any of them is drawn."""
    put(**st.session_state.pop(_NEXT, {}))


def _begin(name, default):
    """Give a widget what it last held, also after a reload or another step."""
    key = key_of(name)
    if key not in st.session_state:
        st.session_state[key] = draft().get(key, default)
    return key


def _hold(key):
    draft()[key] = st.session_state[key]


def ask(name, label, default="", hint="", explain=None, quantity=None):
    """Ask for a figure and return it in our unit; None while it is empty or wrong, and then say what is wrong.

    Parameters
    ----------
    name : str
        The widget is keyed by it; it ends in its unit.
    label : str
        With the unit.
    default, hint, explain : str
    quantity : str, optional
        Name whose unit counts, where `name` carries none.

    Returns
    -------
    float or None
    """
    key = _begin(name, default)
    text = st.text_input(label, key=key, placeholder=hint, help=explain)
    _hold(key)
    if not text.strip():
        return None
    try:
        number = parse_quantity(quantity or name, text)
        return check_value(name, number) if name in FIELDS else number
    except RecordError as error:
        # the field says what it is in its own words
        told = label.partition(",")[0] + str(error)[str(error).find(" is ") :]
        st.caption(f":material/priority_high: {told}.")
        return None


def ask_text(name, label, hint="", explain=None, long=False):
    """Ask for free text and return it; empty while nothing is written."""
    key = _begin(name, "")
    text = (st.text_area if long else st.text_input)(label, key=key, placeholder=hint, help=explain)
    _hold(key)
    return text.strip()


def ask_word(name, label, known=(), hint="choose or write", explain=None):
    """Ask for a word, from a list or new; None while it is empty."""
    key = _begin(name, None)
    current = st.session_state[key]
    options = list(known) if current in (None, *known) else [*known, current]
    word = st.selectbox(label, options, key=key, accept_new_options=True, placeholder=hint, help=explain)
    _hold(key)
    return word


def ask_order(book, run=None):
    """Ask for an open order and return its name; first the one that the run was planned for, None of none."""
    known = open_order_names(book)
    of_run = order_of(book, run) if run else None
    if not known and of_run is None:
        return None
    key = _begin(f"{run['id']}_order" if run else "order", of_run)
    options = [None, *known] if of_run in (None, *known) else [None, of_run, *known]
    if st.session_state[key] not in options:
        st.session_state[key] = None
    name = st.selectbox("For the order", options, key=key, format_func=lambda one: one or "none", placeholder="none")
    _hold(key)
    return name


def choose(name, label, options, format_func=str, hidden=False):
    """Let one of a few be chosen with big targets; the first where nothing was chosen."""
    key = _begin(name, options[0])
    if st.session_state[key] not in options:
        st.session_state[key] = options[0]
    visible = "collapsed" if hidden else "visible"
    chosen = st.segmented_control(label, options, key=key, format_func=format_func, label_visibility=visible)
    _hold(key)
    return chosen or options[0]


def choose_run(rows, label="Run"):
    """Let one of several runs be chosen, the last where nothing was, and return its row; None of none."""
    by_number = {row["id"]: row for row in rows}
    if len(rows) < 2:
        for row in rows:
            st.markdown(f"**{run_title(row)}**")
        return rows[0] if rows else None
    key = _begin("run", rows[-1]["id"])
    if st.session_state[key] not in by_number:
        st.session_state[key] = rows[-1]["id"]
    number = st.selectbox(label, list(by_number), key=key, format_func=lambda one: run_title(by_number[one]))
    _hold(key)
    return by_number[number]


def show_answer(answer, heads, leave=(), more=()):
    """Draw a bench answer: its heads large, the other figures, what they rest on, notes and cautions.

    Parameters
    ----------
    answer : dyebook.physics.answer.Answer
    heads : sequence of str
        Names of the figures that matter most.
    leave : sequence of str
        Names of figures not to show.
    more : sequence of (str, str)
        Further figures, as label and text.
    """
    content = {name: value for name, value in answer.to_dict().items() if name not in leave}
    show_figures(report_bench.answer_rows(content, heads))
    rest = {name: value for name, value in content.items() if name not in heads or name == "portions"}
    rows = [*report_bench.answer_rows(rest), *more]
    if rows:
        st.html(pairs_html(rows, "settings"))
    st.caption(f"Basis: {content['basis']}. ± is one standard uncertainty.")
    for note in content.get("notes", ()):
        st.html(f"<div class='doubt'>{escape(_sentence(note))}</div>")
    show_cautions(content["cautions"])


def _sentence(text):
    return text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".")


def show_figures(rows):
    """Draw (label, text) pairs as large figures, the other unit below."""
    cells = []
    for label, text in rows:
        main, _, other = text.partition(" (")
        below = f"<span class='other'>{escape(other.removesuffix(')'))}</span>" if other else ""
        cells.append(f"<div><span class='label'>{escape(label)}</span><strong>{escape(main)}</strong>{below}</div>")
    across = 2 if len(cells) in (2, 4) else 3
    st.html(f"<div class='figures across{across}'>{''.join(cells)}</div>")


def show_cautions(cautions):
    """Draw cautions where the step is planned."""
    lines = "".join(f"<li>{escape(text)}</li>" for text in cautions)
    st.html(f"<div class='cautions'><strong>Take care</strong><ul>{lines}</ul></div>")


def offer_page(title, answer, key, leave=()):
    """Offer an answer as one printed page, on either paper, without the figures in `leave`; made only on asking."""
    content = {name: value for name, value in answer.to_dict().items() if name not in leave}
    with st.container(horizontal=True):
        for paper, words in (("a4", "Page to print, A4"), ("letter", "Letter")):
            made = partial(report_bench.answer_page, title, content, paper)
            name = f"{key}_{paper}.pdf"
            st.download_button(words, made, name, "application/pdf", key=f"{key}_{paper}", on_click="ignore")


def offer_steps(title, steps, cautions, key, pairs=()):
    """Offer steps to tick as one printed page, on either paper."""
    with st.container(horizontal=True):
        for paper, words in (("a4", "Steps to print, A4"), ("letter", "Letter")):
            made = partial(report_bench.steps_page, title, steps, cautions, paper, pairs)
            name = f"{key}_{paper}.pdf"
            st.download_button(words, made, name, "application/pdf", key=f"{key}_{paper}", on_click="ignore")


def show_clock(key, minutes, elapsed_min, words, alarm, running=True):
    """Draw a clock that runs down on its own, sleeping phone or not, and rings at the end.

    Parameters
    ----------
    key : str
    minutes : float or None
        From start to end; None for a clock that only counts up.
    elapsed_min : float
        Since the start, as the server's clock has it.
    words : str
        Beside the clock.
    alarm : str
        What to say when the time is up.
    running : bool
    """
    piece = st.components.v2.component(
        "dyebook.clock", html=web_text("clock.html"), css=web_text("clock.css"), js=web_text("clock.js")
    )
    total = None if minutes is None else minutes * 60_000
    data = {"total": total, "elapsed": elapsed_min * 60_000, "words": words, "alarm": alarm, "running": running}
    piece(key=key, data=data)
