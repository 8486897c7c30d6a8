"""The learned baths behind the shade page: each learned once, and again only when its dips change."""

from datetime import date

import streamlit as st

from dyebook.errors import ModelError
from dyebook.jobs.shade import mixes_of
from dyebook.jobs.shade_ask import baths_with_dips
from dyebook.jobs.shade_book import LearnedBaths
from dyebook.jobs.strength import strengths_today

__all__ = [
    "advise",
    "baths_of",
    "depth_of",
    "fixed_in",
    "learn",
    "learn_all",
    "learn_dips",
    "learned_or_none",
    "mixes",
    "strengths_of",
    "suggestions",
]


def baths_of(book):
    """Return the dips of each bath, looked up anew only when the book has changed."""
    return _baths(str(book.place.name), book.edition(), book)


@st.cache_resource(max_entries=8, show_spinner="Looking the dips up …")
def _baths(place, edition, _book):
    return baths_with_dips(_book)


def strengths_of(book, baths):
    """Return the strength of each bath today in g/L, where it is known."""
    return _strengths(str(book.place.name), book.edition(), book, baths)


@st.cache_resource(max_entries=8, show_spinner=False)
def _strengths(place, edition, _book, _baths):
    return strengths_today(_book, _baths)


def _mark(dips):
    """A number that changes when the dips do."""
    import pandas as pd

    return int(pd.util.hash_pandas_object(dips.astype(str), index=False).sum())


@st.cache_resource(max_entries=60, show_spinner=False)
def _learned(place, label, mark, day, _dips):
    """The learned bath as of a day, or why it cannot be learned; a failure is worth keeping too."""
    from dyebook.advice.learn import learn_bath

    try:
        return learn_bath(_dips).as_of(day), ""
    except ModelError as error:
        return None, str(error)


def learn(asked, label):
    """Return the bath of a `Question` by its label, learned from its dips.

    Raises
    ------
    ModelError
        If they cannot teach it.
    """
    return learn_dips(asked.place, label, asked.baths[label])


def learn_dips(place, label, dips):
    """Return the bath learned from its dips.

    Raises
    ------
    ModelError
        If they cannot teach it.
    """
    model, why = _learned(place, label, _mark(dips), _today(), dips)
    if model is None:
        raise ModelError(f"{label}: {why}")
    return model


def learned_or_none(place, label, dips):
    """Return the bath learned from its dips; None where they cannot teach it."""
    return _learned(place, label, _mark(dips), _today(), dips)[0]


def _today():
    return date.today().isoformat()


def learn_all(asked):
    """Return the `LearnedBaths` of a `Question`; says how far it is."""
    models, left_out, day = {}, {}, _today()
    with st.spinner("Learning the baths …"):
        for label, dips in asked.baths.items():
            model, why = _learned(asked.place, label, _mark(dips), day, dips)
            if model is None:
                left_out[label] = why
            else:
                models[label] = model
    return LearnedBaths(models, asked.strengths, left_out)


def fixed_in(asked, label):
    """Return what cannot move in a bath: what was said, and its strength of today unless it may be made up anew."""
    return LearnedBaths({}, asked.strengths, {}).fixed(label, asked.fixed, asked.free_strength)


def _key(asked):
    """What an answer hangs on besides the bath."""
    marks = tuple((label, _mark(dips)) for label, dips in asked.baths.items())
    moving = tuple(sorted(asked.fixed.items())), asked.free_strength, tuple(sorted(asked.strengths.items()))
    return asked.place, marks, tuple(asked.target), asked.film_um, moving, _today()


def advise(asked):
    """Return which bath first, as a `BathAdvice` without mixes."""
    return _advice(_key(asked), asked, learn_all(asked))


@st.cache_resource(max_entries=40, show_spinner="Asking the baths …")
def _advice(key, _asked, _learned_baths):
    return _learned_baths.suggest(
        _asked.target, _asked.fixed, _asked.free_strength, film_um=_asked.film_um, most_mixes=0
    )


def mixes(asked, labels):
    """Return two dyes for the shade from the baths named, best first; it takes seconds."""
    return _mixed(_key(asked), tuple(labels), asked, learn_all(asked))


@st.cache_resource(max_entries=40, show_spinner="Trying two dyes …")
def _mixed(key, labels, _asked, _learned_baths):
    fixed = {label: fixed_in(_asked, label) for label in labels}
    return mixes_of(_learned_baths.models, labels, _asked.target, _asked.film_um, fixed)


def suggestions(asked, label):
    """Return up to three answers of one bath."""
    return _suggested(_key(asked), label, asked, learn(asked, label))


@st.cache_resource(max_entries=80, show_spinner=False)
def _suggested(key, label, _asked, _model):
    return _model.suggest(_asked.target, film_um=_asked.film_um, fixed=fixed_in(_asked, label), count=3)


def depth_of(model, settings, target):
    """Return the bath along its own depth at these settings."""
    from dyebook.advice.dwell import run_through_depth

    return run_through_depth(model, settings, target)
