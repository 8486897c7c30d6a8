"""How the baths do, looked up anew only when the book has changed: a large book takes a moment over it.

The learned baths behind the shade page: each learned once, and again only when its dips change.
"""

import hashlib
from datetime import date
from functools import partial

from dyebook.errors import ModelError
from dyebook.jobs.bath_state import bath_line
from dyebook.jobs.shade import LearnedBaths, baths_with_dips, mixes_of
from dyebook.jobs.strength import number_of_bath, strengths_today
from dyebook.jobs.today import look_at_baths
from dyebook.screens import tasks

__all__ = [
    "advise",
    "baths_now",
    "baths_of",
    "coupon",
    "depth_of",
    "fixed_in",
    "learn",
    "learn_all",
    "learn_at_work",
    "learn_dips",
    "learned_at_work",
    "learning",
    "mixes",
    "reckoned_now",
    "redip",
    "strengths_of",
    "suggestions",
]


def baths_of(book):
    """Return the dips of each bath, looked up anew only when the book has changed."""
    key = book.place.name, book.edition()
    return tasks.done("dips", key, "Looking the dips up", lambda _: baths_with_dips(book), most=8)


def strengths_of(book, baths):
    """Return the strength of each bath today in g/L, where it is known."""
    key = book.place.name, book.edition(), _today()
    words = "Reckoning how strong the baths are today"
    return tasks.done("strengths", key, words, lambda _: strengths_today(book, baths), most=8)


def _today():
    return date.today().isoformat()


def _mark(dips):
    """A text that changes when the dips do."""
    return hashlib.sha256(dips.to_json(double_precision=15).encode()).hexdigest()


def _learned_now(place, label, dips):
    """(bath learned from its dips, ""), or (None, why it cannot be): a failure is worth remembering too."""
    return tasks.made_once("learned", (place, label, _mark(dips), _today()), lambda: _learn(dips))


def _learn(dips):
    from dyebook.advice.learn import learn_bath

    try:
        return learn_bath(dips).as_of(_today()), ""
    except ModelError as error:
        return None, str(error)


def _learned(place, label, dips):
    key, words = (place, label, _mark(dips), _today()), f"Learning {label}"
    return tasks.done("learning", key, words, lambda _: _learned_now(place, label, dips))


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
    return _taught(label, *_learned(place, label, dips))


def learned_at_work(place, label, dips):
    """Return the bath learned from its dips, None where they cannot teach it, inside a running task."""
    return _learned_now(place, label, dips)[0]


def learn_at_work(place, label, dips):
    """Return what `learn_dips` does, inside a running task."""
    return _taught(label, *_learned_now(place, label, dips))


def _taught(label, model, why):
    if model is None:
        raise ModelError(f"{label}: {why}")
    return model


def learning(place):
    """Return what `dyebook.jobs.bath_state.bath_line` takes as `learn`, for the book at a place."""
    return partial(_learned_or_none, place)


def _learned_or_none(place, label, dips):
    return _learned(place, label, dips)[0]


def learn_all(asked):
    """Return the `LearnedBaths` of a `Question`; says how far it is."""
    return tasks.done("all baths", _key(asked), "Learning the baths", lambda job: _learn_each(job, asked), most=8)


def _learn_each(job, asked):
    models, left_out = {}, {}
    for number, (label, dips) in enumerate(asked.baths.items(), start=1):
        so_far = len(models) + len(left_out)
        kept = f"{so_far} of {len(asked.baths)} baths are learned, and stay so." if so_far else None
        job(f"Learning {label} ({number} of {len(asked.baths)})", kept)
        model, why = _learned_now(asked.place, label, dips)
        if model is None:
            left_out[label] = why
        else:
            models[label] = model
    return LearnedBaths(models, asked.strengths, left_out)


def reckoned_now(book, asked, label):
    """Return what a bath of a `Question` is reckoned to hold now in g/L; None where nobody noted a strength."""
    number = number_of_bath(book, asked.baths[label])
    if number is None:
        return None
    line = bath_line(book, number, learning(asked.place), newest=True)
    return line.now and line.now.dye_g_per_l


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
    learned = learn_all(asked)

    def ask(job):
        known = {"film_um": asked.film_um, "most_mixes": 0, "progress": job}
        return learned.suggest(asked.target, asked.fixed, asked.free_strength, **known)

    return tasks.done("which bath", _key(asked), "Asking the baths", ask)


def mixes(asked, labels):
    """Return two dyes for the shade from the baths named, best first; it takes seconds."""
    learned, labels = learn_all(asked), tuple(labels)
    fixed = {label: fixed_in(asked, label) for label in labels}

    def mix(job):
        return mixes_of(learned.models, labels, asked.target, asked.film_um, fixed, progress=job)

    return tasks.done("two dyes", (*_key(asked), labels), "Trying two dyes", mix)


def redip(asked, label, settings, reading, dry, sealed):
    """Return what to do with a part that was dyed in one of the baths, see `LearnedBaths.redip`."""
    learned = learn_all(asked)
    part = tuple(sorted(settings.items())), tuple(reading), dry, sealed
    words = f"Weighing what may be done with a part of {label}"

    def weigh(_):
        return learned.redip(label, settings, reading, asked.target, dry, sealed)

    return tasks.done("redip", (*_key(asked), label, *part), words, weigh)


def coupon(asked, label):
    """Return the test dip in one bath that teaches most about the shade."""
    model, fixed = learn(asked, label), fixed_in(asked, label)
    key = (*_key(asked), label)
    words = f"Weighing test dips in {label}"
    return tasks.done("test dip", key, words, lambda _: model.coupon(asked.target, asked.film_um, fixed=fixed))


def suggestions(asked, label):
    """Return up to three answers of one bath."""
    model = learn(asked, label)
    known = {"film_um": asked.film_um, "fixed": fixed_in(asked, label), "count": 3}
    key = (*_key(asked), label)
    return tasks.done("settings", key, f"Asking {label}", lambda _: model.suggest(asked.target, **known))


def depth_of(model, settings, target):
    """Return the bath along its own depth at these settings."""
    from dyebook.advice.suggest import run_through_depth

    return run_through_depth(model, settings, target)


def baths_now(book):
    """Return what `dyebook.jobs.today.look_at_baths` tells."""
    learn = partial(learned_at_work, book.place.name)

    def look(job):
        return look_at_baths(book, learn=learn, progress=job)

    key = book.place.name, book.edition(), date.today().isoformat()
    return tasks.done("baths now", key, "Looking at the baths", look, most=4)
