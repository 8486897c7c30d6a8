"""The baths behind the pages, as `dyebook.jobs` learns and asks them: done beside the page and remembered for all.

A bath is learned anew only when its dips have changed, an answer worked out anew only when what it rests on has.
"""

import hashlib
from dataclasses import replace

from dyebook.errors import ModelError
from dyebook.jobs.bath_state import stands_today
from dyebook.jobs.shade import LearnedBaths, baths_with_dips, learned_baths
from dyebook.jobs.strength import learn_dips
from dyebook.jobs.today import look_at_baths
from dyebook.report.shade import setting_fields
from dyebook.screens import tasks
from dyebook.screens.apart import apart
from dyebook.units import shop_now

__all__ = [
    "advise", "as_it_stands", "baths_now", "baths_of", "coupon", "depth_of", "learn", "learn_all", "learn_here",
    "learn_in", "mixes", "plan_of", "redip", "second_way", "stands_of", "suggestions",
]  # fmt: skip


def baths_of(book):
    """Return the dips of each bath, looked up anew only when the book has changed."""
    key = book.place.name, book.edition()
    return tasks.done("dips", key, "Looking the dips up", lambda _: baths_with_dips(book), most=8)


def stands_of(book, baths):
    """Return how each bath stands today, `Stands` by label."""
    key = book.place.name, book.edition(), _today()
    words = "Working out how the baths stand today"
    return tasks.done("stands", key, words, lambda job: stands_today(book, baths, learn_in(job)), most=8)


def _today():
    return shop_now().date().isoformat()


def _mark(dips):
    """A text that changes when the dips do."""
    return hashlib.sha256(dips.to_json(double_precision=15).encode()).hexdigest()


def learn_in(job):
    """Return what does as `dyebook.jobs.strength.learn_dips`, remembered, in a job that is going on beside the page."""
    return lambda label, dips: _taught(_learned_in(job, label, dips))


def learn_here(label, dips):
    """Do what `dyebook.jobs.strength.learn_dips` does, remembered, while the page waits."""
    key = _mark(dips), _today()
    return _taught(tasks.done("learning", key, f"Learning {label}", lambda job: _learned_in(job, label, dips)))


def _learned_in(job, label, dips):
    learn_it = apart(_model_or_error, label, dips)
    return tasks.made_once("learned", (_mark(dips), _today()), lambda: learn_it(job))


def _model_or_error(label, dips):
    """The learned bath, or the error that says why there is none, which is worth remembering too."""
    try:
        return learn_dips(label, dips)
    except ModelError as error:
        return error


def _taught(found):
    if isinstance(found, ModelError):
        raise ModelError(str(found))
    return found


def _alone(asked, label):
    """One bath of a `Question` as `LearnedBaths`."""
    return learned_baths({label: asked.baths[label]}, asked.stands, learn_here)


def learn(asked, label):
    """Return the bath of a `Question` by its label; ModelError where its dips cannot teach it."""
    return _alone(asked, label).the(label)


def learn_all(asked):
    """Return the `LearnedBaths` of a `Question`; says how far it is."""

    def learn_each(job):
        tried = []

        def learn_next(label, dips):
            kept = f"{len(tried)} of {len(asked.baths)} baths are learned, and stay so." if tried else None
            job(f"Learning {label} ({len(tried) + 1} of {len(asked.baths)})", kept)
            tried.append(label)
            return learn_in(job)(label, dips)

        return learned_baths(asked.baths, asked.stands, learn_next)

    return tasks.done("all baths", _key(asked), "Learning the baths", learn_each, most=8)


def as_it_stands(asked, label, settings):
    """Return settings in a bath of a `Question` for people, see `LearnedBaths.as_it_stands`."""
    return LearnedBaths({}, asked.stands, {}).as_it_stands(label, settings, asked.fixed)


def _key(asked):
    """What an answer hangs on besides the bath."""
    marks = tuple((label, _mark(dips)) for label, dips in asked.baths.items())
    moving = tuple(sorted(asked.fixed.items())), asked.free, tuple(sorted(asked.stands.items(), key=str))
    return asked.place, marks, repr(asked.shade), asked.film_um, moving, _today()


def advise(asked):
    """Return which bath first, as a `BathAdvice` without mixes."""
    learned = learn_all(asked)
    ask = apart(learned.suggest, asked.shade, asked.fixed, asked.free, film_um=asked.film_um, most_mixes=0)
    return tasks.done("which bath", _key(asked), "Asking the baths", ask)


def mixes(asked, labels):
    """Return two dyes for the shade from the baths named, best first; it takes seconds."""
    learned, labels = learn_all(asked), tuple(labels)
    mix = apart(learned.mixes, labels, asked.target, asked.fixed, asked.free, asked.film_um)
    return tasks.done("two dyes", (*_key(asked), labels), "Trying two dyes", mix)


def plan_of(asked, label, settings):
    """Return settings in one of the baths of a `Question` as a plan for the bench, texts by field."""
    dye, bath = asked.baths[label][["dye", "bath"]].iloc[-1]
    return {
        "dye": dye,
        "bath": bath if isinstance(bath, str) else None,
        **setting_fields(as_it_stands(asked, label, settings)),
    }


def redip(asked, label, settings, reading, target, dry, sealed):
    """Return what to do with a part that was dyed in one of the baths, see `LearnedBaths.redip`."""
    learned = learn_all(asked)
    part = tuple(sorted(settings.items())), repr((reading, target)), dry, sealed
    words = f"Weighing what may be done with a part of {label}"
    weigh = apart(learned.redip, label, settings, reading, target, dry, sealed, asked.tolerance)
    return tasks.done("redip", (*_key(asked), label, *part), words, weigh)


def coupon(asked, label):
    """Return the test dip in one bath that teaches most about the shade."""
    learned = _alone(asked, label)
    plan = apart(learned.coupon, label, asked.target, asked.fixed, asked.free, film_um=asked.film_um)
    return tasks.done("test dip", (*_key(asked), label), f"Weighing test dips in {label}", plan)


def suggestions(asked, label):
    """Return up to three answers of one bath."""
    learned = _alone(asked, label)
    ask = apart(learned.suggest_in, label, asked.shade, asked.fixed, asked.free, film_um=asked.film_um, count=3)
    return tasks.done("settings", (*_key(asked), label), f"Asking {label}", ask)


def second_way(asked, label):
    """Return the best answer of a bath that may be warmed and topped up within its own rules."""
    return suggestions(replace(asked, free=True), label)[0]


def depth_of(model, settings, target):
    """Return the bath along its own depth at these settings."""
    from dyebook.advice.suggest import run_through_depth

    return run_through_depth(model, settings, target)


def baths_now(book):
    """Return what `dyebook.jobs.today.look_at_baths` does."""
    key = book.place.name, book.edition(), _today()

    def look(job):
        return look_at_baths(book, learn=learn_in(job), progress=job)

    return tasks.done("baths now", key, "Looking at the baths", look, most=4)
