"""Fields that remember: figures in any unit, text, words and choices, held by the draft until they are saved.

A field is named after its quantity, with its unit; `put` fills one that is drawn later, from a button or another page.
"""

from contextlib import contextmanager

import streamlit as st

from dyebook.errors import BookError, RecordError
from dyebook.jobs.orders import open_order_names, order_of_run
from dyebook.record import check_value, figure_in
from dyebook.report.bench import run_title
from dyebook.report.words import hint_text, plain
from dyebook.screens.drafts import begin, draft, keep
from dyebook.units import parse_quantity

__all__ = [
    "RefusedError",
    "ask", "ask_alloy", "ask_order", "ask_text", "ask_word", "begin_fields", "check_fields", "choose", "choose_from",
    "choose_run", "follow", "in_words_of", "keeping", "key_of", "mark_wrong", "put", "switch", "try_deed", "warn",
]  # fmt: skip


_ALLOYS = ("6061", "6063", "6082", "5052", "2024", "7075", "1050", "cast")
# in the draft: what the book held when each field was last in step with it; in the session: its label, and that now
_FILLED, _NOW = "fields as filled", "fields now"
_WRONG = "fields that are wrong"


def key_of(name: str) -> str:
    """Return the widget key of a field; apart from the photo page's, whose batch may be another."""
    return f"bench_{name}"


def put(**values):
    """Fill fields, drawn or not, for callbacks and before they are drawn."""
    for name, value in values.items():
        st.session_state[key_of(name)] = draft()[key_of(name)] = value


def ask(
    name, label, default: str = "", hint: str = "", explain: str | None = None, quantity=None, need=None
) -> float | None:
    """Ask for a figure and return it in our unit; None while it is empty or wrong, and then say what is wrong.

    Parameters
    ----------
    name : str
        The widget is keyed by it; it ends in its unit.
    label : str
        With the unit.
    quantity : str, optional
        Name whose unit counts, where `name` carries none.
    need : str, optional
        The deed that cannot do without it, see `try_deed`.
    """
    text = ask_text(name, label, hint, explain, default=default)
    if not text:
        _say_needed(need)
        return None
    try:
        return _checked(name, quantity or name, text)
    except RecordError as error:
        head = label.partition(",")[0]
        mark_wrong(name, head, in_words_of(head, error))
        return None


def in_words_of(head: str, error) -> str:
    """Return what is wrong with a field in the field's own words: `head` in place of what the error calls it."""
    what, middle, rest = str(error).partition(" is ")
    return f"{head} is {rest}" if middle and "'" not in what else f"{head}: {error}"


def _checked(name, quantity, text):
    number = parse_quantity(quantity, text)
    figure = figure_in(name) or figure_in(quantity) or figure_in(quantity.removesuffix("_a"))
    if figure is not None:
        return check_value(figure, number)
    if number < 0 and not quantity.endswith("_c"):
        raise RecordError(f"it is {number:g}; a figure of 0 or more is needed")
    return number


def mark_wrong(name: str, label: str, words: str):
    """Draw below a field what is wrong with it; no deed of the page goes on until that is put right."""
    st.session_state.setdefault(_WRONG, {})[name] = label
    warn(words)


def begin_fields():
    """Forget which fields of the page before were wrong; before any is drawn."""
    st.session_state.pop(_WRONG, None)


class RefusedError(RecordError):
    """A deed waits for its fields; the page says so at its top, where it then stands."""


def check_fields():
    """Raise RefusedError where a figure on the page makes no sense: a deed drops nothing that was typed."""
    if wrong := st.session_state.get(_WRONG):
        raise RefusedError(f"nothing was kept; first put right: {', '.join(dict.fromkeys(wrong.values()))}")


def warn(words: str):
    """Draw below a field what is wrong with what it holds."""
    st.caption(f":material/priority_high: {plain(words).removesuffix('.')}.")


def try_deed(need: str):
    """Let every empty field that a deed needs say so; for the button of a deed that cannot be done yet."""
    st.session_state[f"tried {need}"] = True


def _say_needed(need):
    if need and st.session_state.get(f"tried {need}"):
        warn("Needed")


def ask_text(name, label, hint="", explain=None, long=False, default="") -> str:
    """Ask for free text and return it; empty while nothing is written."""
    key = follow(key_of(name), label, default)
    text = (st.text_area if long else st.text_input)(label, key=key, placeholder=hint_text(hint), help=explain)
    keep(key)
    return text.strip()


def follow(key: str, label: str, now: str) -> str:
    """Return the key of a field that shows what the book holds, also once that changes, until it is written to."""
    filled = draft().setdefault(_FILLED, {})
    text = st.session_state[begin(key, now)]
    if text in (now, filled.setdefault(key, now)):
        filled[key] = now
        if text != now:
            st.session_state[key] = now
    st.session_state.setdefault(_NOW, {})[key] = (label, now)
    return key


@contextmanager
def keeping(*keys):
    """Keep fields, by how their keys begin, inside; BookError says both values where the book's own was changed."""
    filled, texts = draft().setdefault(_FILLED, {}), {}
    for key, (label, now) in st.session_state.get(_NOW, {}).items():
        if not key.startswith(keys):
            continue
        texts[key] = st.session_state[key]
        if now not in (texts[key], filled[key]):
            filled[key] = now
            raise BookError(
                f"not kept: {label} was set to {now or 'nothing'} after you opened it, and you wrote "
                f"{texts[key] or 'nothing'}; keep it once more if that is to stand"
            )
    yield
    filled.update(texts)


def ask_word(name, label, known=(), hint="choose or write", explain=None, need=None, the_only=False) -> str | None:
    """Ask for a word, from a list or new; None while it is empty. `the_only`: begin with the one where that is all."""
    known = list(known)
    key = begin(key_of(name), known[0] if the_only and len(known) == 1 else None)
    current = st.session_state[key]
    options = known if current in (None, *known) else [*known, current]
    word = st.selectbox(label, options, key=key, accept_new_options=True, placeholder=hint, help=explain)
    keep(key)
    if not word:
        _say_needed(need)
    return word


def ask_alloy(name, label="Alloy") -> str | None:
    """Ask for an alloy, one of the usual or another; None while it is empty."""
    return ask_word(name, label, _ALLOYS)


def ask_order(book, run=None) -> str | None:
    """Ask for an open order and return its name; first the one that the run was planned for, None of none."""
    known = open_order_names(book)
    of_run = order_of_run(book, run) if run else None
    if not known and of_run is None:
        return None
    options = [None, *known] if of_run in (None, *known) else [None, of_run, *known]
    key = _begin_choice(f"{run['id']}_order" if run else "order", of_run, options)
    name = st.selectbox("For the order", options, key=key, format_func=lambda one: one or "none", placeholder="none")
    keep(key)
    return name


def choose(name, label, options, format_func=str, hidden=False):
    """Let one of a few be chosen with big targets; the first where nothing was chosen."""
    key = _begin_choice(name, options[0], options)
    visible = "collapsed" if hidden else "visible"
    drawn = {"key": key, "format_func": format_func, "label_visibility": visible}
    chosen = st.segmented_control(label, options, required=True, **drawn)
    keep(key)
    return options[0] if chosen is None else chosen


def choose_from(name, label, options, format_func=str):
    """Let one of a list be chosen; the first where nothing was chosen."""
    options = list(options)
    key = _begin_choice(name, options[0], options)
    chosen = st.selectbox(label, options, key=key, format_func=format_func)
    keep(key)
    return chosen


def choose_run(rows, label="Run", name="run", titled=True):
    """Let one of several runs be chosen, the last where nothing was, and return its row; None of none.

    `titled`: one that stands alone is named too.
    """
    by_number = {row["id"]: row for row in rows}
    if len(rows) < 2:
        for row in rows if titled else ():
            st.markdown(f"**{plain(run_title(row))}**")
        return rows[0] if rows else None
    key = _begin_choice(name, rows[-1]["id"], by_number)
    number = st.selectbox(label, list(by_number), key=key, format_func=lambda one: run_title(by_number[one]))
    keep(key)
    return by_number[number]


def _begin_choice(name, default, options):
    """The key of a choice, which holds what was chosen last where that still is among the options."""
    key = begin(key_of(name), default)
    if st.session_state[key] not in options:
        st.session_state[key] = default if default in options else None
    return key


def switch(key, label, on=False, explain=None) -> bool:
    """Draw a switch that stays as it was, and return whether it is on; its key is used as it stands."""
    on = st.toggle(label, key=begin(key, on), help=explain)
    keep(key)
    return on
