"""The learned baths behind the shade page: each learned once, and again only when its dips change."""

import streamlit as st

from dyebook.errors import ModelError
from dyebook.jobs.shade import advise_from_models
from dyebook.jobs.shade_ask import baths_with_dips

__all__ = ["advise", "baths_of", "depth_of", "learn", "learn_all", "suggestions"]


def baths_of(book):
    """Return the dips of each bath, looked up anew only when the book has changed."""
    return _baths(str(book.place.name), book.edition(), book)


@st.cache_resource(max_entries=8, show_spinner="Looking the dips up …")
def _baths(place, edition, _book):
    return baths_with_dips(_book)


def _mark(dips):
    """A number that changes when the dips do."""
    import pandas as pd

    return int(pd.util.hash_pandas_object(dips.astype(str), index=False).sum())


@st.cache_resource(max_entries=60, show_spinner=False)
def _learned(place, label, mark, _dips):
    """The learned bath, or why it cannot be learned; a failure is worth keeping too."""
    from dyebook.advice.learn import learn_bath

    try:
        return learn_bath(_dips), ""
    except ModelError as error:
        return None, str(error)


def learn(place, label, dips):
    """Return a bath learned from its dips.

    Raises
    ------
    ModelError
        If they cannot teach it.
    """
    model, why = _learned(place, label, _mark(dips), dips)
    if model is None:
        raise ModelError(f"{label}: {why}")
    return model


def learn_all(place, frames):
    """Return learned baths by label, and why others were left out; says how far it is."""
    models, left_out = {}, {}
    with st.spinner("Learning the baths …"):
        for label, dips in frames.items():
            model, why = _learned(place, label, _mark(dips), dips)
            if model is None:
                left_out[label] = why
            else:
                models[label] = model
    return models, left_out


def advise(place, frames, target, film_um, fixed, most_mixes=0):
    """Return which bath first, as a `BathAdvice`; mixes are tried only among `most_mixes` of the nearest baths."""
    models, left_out = learn_all(place, frames)
    marks = tuple((label, _mark(frames[label])) for label in frames)
    asked = tuple(target), film_um, tuple(sorted(fixed.items()))
    return _advice(place, marks, *asked, most_mixes, models, left_out)


@st.cache_resource(max_entries=40, show_spinner="Asking the baths …")
def _advice(place, marks, target, film_um, fixed, most_mixes, _models, _left_out):
    return advise_from_models(_models, _left_out, target, film_um, most_mixes, fixed=dict(fixed))


def suggestions(place, label, dips, target, film_um, fixed):
    """Return up to three answers of one bath."""
    model = learn(place, label, dips)
    return _suggested(place, label, _mark(dips), tuple(target), film_um, tuple(sorted(fixed.items())), model)


@st.cache_resource(max_entries=80, show_spinner=False)
def _suggested(place, label, mark, target, film_um, fixed, _model):
    return _model.suggest(target, film_um=film_um, fixed=dict(fixed), count=3)


def depth_of(model, settings, target):
    """Return the bath along its own depth at these settings."""
    from dyebook.advice.dwell import run_through_depth

    return run_through_depth(model, settings, target)
