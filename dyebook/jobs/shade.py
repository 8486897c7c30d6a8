"""Shades asked of a book: its baths learned from their dips, each as strong as it is today, and as unsure as it is old.

`learned_baths` is the one way from tables of dips to baths that can be asked: shell and app both hold a `LearnedBaths`.
The app hands in its own `learn`, which remembers what was learned before.
"""

from dataclasses import dataclass
from itertools import combinations
from pathlib import Path

from dyebook.advice.judge import Shade
from dyebook.errors import ModelError, RecordError
from dyebook.jobs import say_nothing
from dyebook.jobs.bath_state import Stands, stands_today
from dyebook.jobs.baths import bath_label, baths_out_of_use
from dyebook.jobs.strength import MOST_DIPS, learn_dips
from dyebook.jobs.verdict import reading_shades, target_shade

__all__ = [
    "BathAdvice",
    "KeptShade",
    "LearnedBaths",
    "baths_named",
    "baths_with_dips",
    "learn_book",
    "learn_named",
    "learned_baths",
    "read_records_file",
    "shades_to_match",
]


def read_records_file(path):
    """Return the table of dips in a CSV file with the contract's headers."""
    import pandas as pd

    if not Path(path).is_file():
        raise RecordError(f"{path} is not a file; give a CSV file with a row a dip")
    try:
        return pd.read_csv(path, comment="#", skipinitialspace=True)
    except (pd.errors.ParserError, pd.errors.EmptyDataError, UnicodeDecodeError) as error:
        raise RecordError(f"{path} is no CSV table ({error}); a row a dip under a line of headers is needed") from None


def baths_with_dips(book):
    """Return the newest dips with a reading of each bath that is still in use, by the bath's label.

    Tables are as of `Book.frame`; the bath dipped last comes first.
    """
    gone = baths_out_of_use(book)
    groups = {}
    for (dye, bath), dips in book.frame(newest=MOST_DIPS).groupby(["dye", "bath"], dropna=False):
        bath = bath if isinstance(bath, str) else None
        if (dye, bath) not in gone:
            groups[bath_label(dye, bath)] = dips.reset_index(drop=True)
    return dict(sorted(groups.items(), key=lambda item: -item[1]["batch"].max()))


def baths_named(book, name: str):
    """Return {label: dips with a reading} of a bath in use by its label, name or dye; else of all that has the name."""
    frames = baths_with_dips(book)
    if name in frames:
        return {name: frames[name]}
    named = {label: dips for label, dips in frames.items() if name in (dips["bath"].iloc[0], dips["dye"].iloc[0])}
    if len(named) == 1:
        return named
    table = book.frame(bath=name)
    table = book.frame(dye=name) if table.empty else table
    read = table[table["L"].notna()]
    if read.empty:
        raise RecordError(
            f"the book has {len(table)} batches of a bath or dye called {name!r} and none has a reading; "
            "photograph some, or check the name with `dyebook list`"
        )
    return {name: read}


def learned_baths(frames, stands, learn=learn_dips):
    """Return the `LearnedBaths` of dips by label, and of how each stands by label."""
    models, left_out = {}, {}
    for label, dips in frames.items():
        try:
            models[label] = learn(label, dips)
        except ModelError as error:
            left_out[label] = str(error)
    return LearnedBaths(models, stands, left_out)


def learn_book(book) -> "LearnedBaths":
    """Return the `LearnedBaths` of a book, those out of use left aside; RecordError if no bath has a reading."""
    frames = baths_with_dips(book)
    if not frames:
        raise RecordError("no bath in the book has a reading yet; photograph three to six dips of one bath first")
    return learned_baths(frames, stands_today(book, frames))


def learn_named(book, name: str, others=False):
    """Return the label of a bath as of `baths_named`, and `LearnedBaths` with it, alone or among all in use."""
    frames = baths_named(book, name)
    label = next(iter(frames))
    if others:
        frames = {**baths_with_dips(book), **frames}
    return label, learned_baths(frames, stands_today(book, frames))


@dataclass(frozen=True)
class BathAdvice:
    """Where to dip for a shade, over several baths."""

    suggestions: list  # list of (str, Suggestion): the best of each bath, the best bath first
    mixes: list  # of MixSuggestion: two dyes, best first; only when no bath alone reaches the target
    left_out: dict  # why a bath could not be asked, by name

    def to_dict(self):
        """Return plain values for JSON."""
        return {
            "baths": [{"bath": name, **one.to_dict()} for name, one in self.suggestions],
            "mixes": [mix.to_dict() for mix in self.mixes],
            "left_out": dict(self.left_out),
        }


@dataclass(frozen=True)
class LearnedBaths:
    """Baths as they are today; all that asks them takes `given`, settings that cannot move in any bath."""

    models: dict  # LearnedBath by the bath's label
    stands: dict  # `Stands` today, by label
    left_out: dict  # why a bath could not be learned, by label

    def the(self, label: str):
        """Return the model of a bath; ModelError with the reason where there is none."""
        if label not in self.models:
            raise ModelError(f"{label}: {self.left_out.get(label, 'no dip of it has a reading')}")
        return self.models[label]

    def fixed(self, label: str, given=None, free=False):
        """Return what cannot move in a bath: what it has of today unless it is `free`, and what is `given`."""
        today = {} if free else self.stands.get(label, Stands()).held()
        return {**today, **(given or {})}

    def as_it_stands(self, label: str, settings: dict, given=None) -> dict:
        """Return settings for people: a strength as the bath holds it, not as its dips were written down."""
        scale = self.stands.get(label, Stands()).scale
        if "dye_g_per_l" in (given or {}):
            return settings
        return {**settings, "dye_g_per_l": settings["dye_g_per_l"] * scale}

    def suggest_in(self, label: str, target, given=None, free=False, **asked):
        """Return suggestions for one bath, within its rules, see `dyebook.advice.suggest.suggest_settings`."""
        window = self.stands.get(label, Stands()).window_temp_c
        if free and window is not None:
            asked["bounds"] = {"bath_temp_c": tuple(window), **(asked.get("bounds") or {})}
        return self.the(label).suggest(target, fixed=self.fixed(label, given, free), **asked)

    def coupon(self, label: str, target, given=None, free=False, **asked):
        """Return the test dip in one bath that teaches most, see `dyebook.advice.coupon.plan_coupon`."""
        return self.the(label).coupon(target, fixed=self.fixed(label, given, free), **asked)

    def redip(self, label: str, settings, reading, target, dry=None, sealed=None, tolerance=None):
        """Return what to do with a part dyed in one of the baths, see `dyebook.advice.redip.advise_next`."""
        from dyebook.advice.redip import advise_next

        self.the(label)
        fixed = {name: self.fixed(name) for name in self.models}
        limit = {} if tolerance is None else {"tolerance": tolerance}
        return advise_next(self.models, label, settings, reading, target, dry, sealed, fixed, **limit)

    def suggest(
        self,
        target,
        given: dict | None = None,
        free: bool = False,
        film_um: float | None = None,
        most_mixes: int = 3,
        progress=say_nothing,
        **asked,
    ):
        """Return the best of each bath and mixes where none reaches the target, a `BathAdvice`.

        Parameters
        ----------
        target : sequence of 3 floats
        free
            True where strength and temperature of a bath may be changed.
        most_mixes
            How many of the nearest baths are tried in pairs.
        **asked
            ph, bounds: see `dyebook.advice.suggest.suggest_settings`.
        """
        if not self.models:
            why = "; ".join(f"{label}: {why}" for label, why in self.left_out.items())
            raise ModelError(f"no bath is known well enough yet: {why}")
        found = []
        for label in self.models:
            progress(f"Asking {label}")
            best = self.suggest_in(label, target, given, free, film_um=film_um, count=1, **asked)[0]
            found.append((label, best))
        found.sort(key=lambda pair: pair[1].delta_e00)
        if any(one.reachable for _, one in found):
            return BathAdvice(found, [], self.left_out)
        near = [label for label, _ in found[:most_mixes]]
        return BathAdvice(found, self.mixes(near, target, given, free, film_um, progress), self.left_out)

    def mixes(self, labels, target, given=None, free=False, film_um: float | None = None, progress=say_nothing):
        """Return every pair of some baths for a shade, both dyes in one bath and one after the other, best first.

        A bath of both dyes is made up anew, so there the strengths are free.
        """
        from dyebook.advice.mix import suggest_mix

        mixes = []
        for pair in combinations(labels, 2):
            models = {label: self.the(label) for label in pair}
            for kind in ("together", "after"):
                progress(f"Trying {pair[0]} and {pair[1]}")
                fixed = {label: self.fixed(label, given, free) for label in pair}
                if kind == "together":
                    fixed = {label: dict(given or {}) for label in pair}
                mixes.append(suggest_mix(models, target, film_um, kind, fixed=fixed))
        return sorted(mixes, key=lambda mix: mix.delta_e00)


@dataclass(frozen=True)
class KeptShade:
    """A shade in the book that is to be matched, as it was read or stated."""

    name: str
    shade: Shade
    tolerance_de00: float | None = None


def shades_to_match(book) -> list[KeptShade]:
    """Return the targets of the book, and its customers' samples that no target stands for; newest first."""
    targets = book.rows("targets")
    found = [KeptShade(row["name"], target_shade(book, row), row["tolerance_de00"]) for row in targets]
    stood_for = {row["sample_id"] for row in targets}
    for sample in book.rows("samples"):
        readings = [] if sample["id"] in stood_for else book.rows("readings", sample_id=sample["id"])
        if readings:
            found.append(KeptShade(sample["name"], reading_shades(book, readings[-1:])[0]))
    return found[::-1]
