"""Shades asked of a book: its baths learned, each as strong as it is today, and as unsure as its last dip is old."""

from dataclasses import dataclass
from datetime import datetime

from dyebook.errors import ModelError, RecordError
from dyebook.jobs.shade import advise_from_models, dips_in_book
from dyebook.jobs.shade_ask import baths_with_dips
from dyebook.jobs.strength import strengths_today

__all__ = ["LearnedBaths", "baths_named", "learn_book", "learn_frames", "now_text", "redip_in_book"]


@dataclass(frozen=True)
class LearnedBaths:
    """Baths of a book as they are today.

    Attributes
    ----------
    models : dict of LearnedBath
        By the bath's label.
    strengths : dict of float
        g/L today, by label, where it is known.
    left_out : dict of str
        Why a bath could not be learned, by label.
    """

    models: dict
    strengths: dict
    left_out: dict

    def fixed(self, label, given=None, free_strength=False):
        """Return the settings of a bath that cannot move: its strength of today, and what is `given` besides."""
        given = given or {}
        today = {} if free_strength or label not in self.strengths else {"dye_g_per_l": self.strengths[label]}
        return {**today, **given}

    def suggest(self, target, given=None, free_strength=False, **asked):
        """Return the best of each bath and mixes where none reaches the target, a `BathAdvice`.

        Parameters
        ----------
        target : sequence of 3 floats
        given : dict, optional
            Settings that cannot move in any bath.
        free_strength : bool
            True where the baths may be made up anew.
        **asked
            film_um, most_mixes, ph, bounds: see `dyebook.jobs.shade.advise_from_models`.
        """
        fixed = {label: self.fixed(label, given, free_strength) for label in self.models}
        return advise_from_models(self.models, self.left_out, target, fixed_of=fixed, **asked)

    def suggest_in(self, label, target, given=None, free_strength=False, **asked):
        """Return suggestions for one bath, see `dyebook.advice.suggest.suggest_settings`."""
        return self.the(label).suggest(target, fixed=self.fixed(label, given, free_strength), **asked)

    def redip(self, label, settings, reading, target, dry=None, sealed=None):
        """Return what to do with a part dyed in one of the baths, see `dyebook.advice.overdip.advise_next`."""
        from dyebook.advice.overdip import advise_next

        fixed = {name: self.fixed(name) for name in self.models}
        self.the(label)
        return advise_next(self.models, label, settings, reading, target, dry, sealed, fixed)

    def the(self, label):
        """Return the model of a bath; ModelError with the reason where there is none."""
        if label not in self.models:
            raise ModelError(f"{label}: {self.left_out.get(label, 'no dip of it has a reading')}")
        return self.models[label]


def now_text():
    """Return this moment in the shop's own time, as ISO text."""
    return datetime.now().astimezone().isoformat(timespec="minutes")


def learn_frames(book, frames):
    """Return `LearnedBaths` of dips by label."""
    from dyebook.advice.learn import learn_bath

    models, left_out, now = {}, {}, now_text()
    for label, frame in frames.items():
        try:
            models[label] = learn_bath(frame).as_of(now)
        except ModelError as error:
            left_out[label] = str(error)
    return LearnedBaths(models, strengths_today(book, frames), left_out)


def learn_book(book):
    """Return the `LearnedBaths` of a book, those thrown out left aside.

    Raises
    ------
    RecordError
        If no bath has a reading.
    """
    frames = baths_with_dips(book)
    if not frames:
        raise RecordError("no bath in the book has a reading yet; photograph three to six dips of one bath first")
    return learn_frames(book, frames)


def baths_named(book, name):
    """Return {label: dips} of the bath that somebody calls `name`: a label, a bath, or a dye.

    Raises
    ------
    RecordError
        If no batch with a reading carries that name.
    """
    frames = baths_with_dips(book)
    if name in frames:
        return {name: frames[name]}
    named = {label: dips for label, dips in frames.items() if name in (dips["bath"].iloc[0], dips["dye"].iloc[0])}
    return named if len(named) == 1 else {name: dips_in_book(book, name)}


def redip_in_book(book, name, settings, reading, target, dry=None, sealed=None):
    """Return a `Redip` for a part dyed in the bath called `name`, with every other bath of the book to go to."""
    own = baths_named(book, name)
    learned = learn_frames(book, {**baths_with_dips(book), **own})
    return learned.redip(next(iter(own)), settings, reading, target, dry, sealed)
