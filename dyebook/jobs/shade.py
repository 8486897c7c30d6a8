"""Shades asked of a book: its baths learned, each as strong as it is today, and as unsure as its last dip is old.

Use cases about shades: learn a bath from a table of dips and ask it.

Use cases of the shade page: which baths and shades the book offers, and the dips behind each bath.
"""

from dataclasses import dataclass
from datetime import datetime
from itertools import combinations
from pathlib import Path

from dyebook.errors import ModelError, RecordError
from dyebook.jobs.bath_state import MOST_DIPS
from dyebook.jobs.baths import bath_label
from dyebook.jobs.progress import say_nothing
from dyebook.jobs.strength import strengths_today
from dyebook.jobs.today import thrown_out_baths
from dyebook.lab import Lab

__all__ = [
    "BathAdvice",
    "KeptShade",
    "LearnedBaths",
    "advise_from_models",
    "baths_named",
    "baths_with_dips",
    "coupon_from_frame",
    "dips_in_book",
    "learn_book",
    "learn_frames",
    "mixes_of",
    "now_text",
    "read_records_file",
    "redip_from_frame",
    "redip_in_book",
    "shades_to_match",
    "suggest_from_baths",
    "suggest_from_frame",
]


def read_records_file(path):
    """Return the table of dips in a CSV file with the contract's headers.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    pandas.DataFrame

    Raises
    ------
    RecordError
        If the file is missing or is no table.
    """
    import pandas as pd

    if not Path(path).is_file():
        raise RecordError(f"{path} is not a file; give a CSV file with a row a dip")
    try:
        return pd.read_csv(path, comment="#", skipinitialspace=True)
    except (pd.errors.ParserError, pd.errors.EmptyDataError, UnicodeDecodeError) as error:
        raise RecordError(f"{path} is no CSV table ({error}); a row a dip under a line of headers is needed") from None


def dips_in_book(book, name):
    """Return the table of dips of one bath (or of one dye) in a book that have a reading.

    Parameters
    ----------
    book : dyebook.book.store.Book
    name : str
        Name of a bath; of a dye where no bath is called so.

    Returns
    -------
    pandas.DataFrame

    Raises
    ------
    RecordError
        If no batch with a reading carries that name.
    """
    table = book.frame(bath=name)
    if table.empty:
        table = book.frame(dye=name)
    read = table[table["L"].notna()]
    if read.empty:
        raise RecordError(
            f"the book has {len(table)} batches of a bath or dye called {name!r} and none has a reading; "
            "photograph some, or check the name with `dyebook list`"
        )
    return read


def suggest_from_frame(records, target, **asked):
    """Return suggestions for a target from a table of dips.

    Parameters
    ----------
    records : pandas.DataFrame
        As for `dyebook.learn_bath`; the book's own table has this form.
    target : sequence of 3 floats
        L*, a*, b*.
    **asked
        film_um, ph, bounds, fixed, count: see `dyebook.advice.suggest.suggest_settings`.

    Returns
    -------
    list of Suggestion
    """
    from dyebook.advice.learn import learn_bath

    return learn_bath(records).suggest(target, **asked)


def redip_from_frame(records, settings, reading, target, dry=None, sealed=None):
    """Return a `Redip` for a part dipped at `settings`, from a table of dips; see `dyebook.advice.redip`."""
    from dyebook.advice.learn import learn_bath

    return learn_bath(records).redip(settings, reading, target, dry, sealed)


def coupon_from_frame(records, target, **asked):
    """Return the `Coupon` that teaches most about a target, from a table of dips; see `dyebook.advice.coupon`."""
    from dyebook.advice.learn import learn_bath

    return learn_bath(records).coupon(target, **asked)


@dataclass(frozen=True)
class BathAdvice:
    """Where to dip for a shade, over several baths.

    Attributes
    ----------
    suggestions : list of (str, Suggestion)
        The best of each bath, the best bath first.
    mixes : list of MixSuggestion
        Two dyes, best first; only when no bath alone reaches the target.
    left_out : dict
        Why a bath could not be asked, by name.
    """

    suggestions: list
    mixes: list
    left_out: dict

    def to_dict(self):
        """Return plain values for JSON."""
        return {
            "baths": [{"bath": name, **one.to_dict()} for name, one in self.suggestions],
            "mixes": [mix.to_dict() for mix in self.mixes],
            "left_out": dict(self.left_out),
        }


def suggest_from_baths(frames, target, film_um=None, most_mixes=3, **asked):
    """Return which bath to try first for a target, and mixes where no bath alone reaches it.

    Parameters
    ----------
    frames : dict of DataFrame by bath or dye
    target : sequence of 3 floats
    film_um : float, optional
    most_mixes : int
        How many of the nearest baths are tried in pairs.
    **asked
        ph, bounds, fixed: see `dyebook.advice.suggest.suggest_settings`.

    Returns
    -------
    BathAdvice

    Raises
    ------
    ModelError
        If no bath has enough dips to be learned.
    """
    from dyebook.advice.learn import learn_bath

    models, left_out = {}, {}
    for name, frame in frames.items():
        try:
            models[name] = learn_bath(frame)
        except ModelError as error:
            left_out[name] = str(error)
    return advise_from_models(models, left_out, target, film_um, most_mixes, **asked)


def advise_from_models(models, left_out, target, film_um=None, most_mixes=3, fixed_of=None, progress=None, **asked):
    """Return what `suggest_from_baths` does, for baths that are learned already.

    Parameters
    ----------
    models : dict of LearnedBath by bath or dye
    left_out : dict of str
        Why a bath could not be learned, by name.
    target, film_um, most_mixes, **asked
        As there.
    fixed_of : dict of dict, optional
        By bath, settings that cannot move in it, such as its strength; in place of `fixed`, which is the same in all.
    progress : callable, optional
        Called with words where a stage begins.

    Returns
    -------
    BathAdvice

    Raises
    ------
    ModelError
        If there is no model.
    """
    if not models:
        raise ModelError("no bath can be asked: " + "; ".join(f"{name}: {why}" for name, why in left_out.items()))
    same = asked.pop("fixed", None) or {}
    fixed_of = dict.fromkeys(models, same) if fixed_of is None else fixed_of
    found, tell = [], progress or say_nothing
    for name, model in models.items():
        tell(f"Asking {name}")
        found.append((name, model.suggest(target, film_um=film_um, count=1, fixed=fixed_of[name], **asked)[0]))
    found.sort(key=lambda pair: pair[1].delta_e00)
    if any(one.reachable for _, one in found):
        return BathAdvice(found, [], left_out)
    near = [name for name, _ in found[:most_mixes]]
    return BathAdvice(found, mixes_of(models, near, target, film_um, fixed_of, progress=progress), left_out)


def mixes_of(models, names, target, film_um=None, fixed_of=None, kinds=("together", "after"), progress=None):
    """Return every pair of baths for a shade, best first.

    Parameters
    ----------
    models : dict of LearnedBath
    names : sequence of str
        Baths to pair.
    target : sequence of 3 floats
    film_um : float, optional
    fixed_of : dict of dict, optional
        By bath, settings that cannot move. A bath of both dyes is made up anew, so there the strengths are free.
    kinds : sequence of {"together", "after"}
    progress : callable, optional
        Called with words where a pair begins.

    Returns
    -------
    list of MixSuggestion
    """
    from dyebook.advice.mix import suggest_mix

    mixes, tell = [], progress or say_nothing
    for pair in combinations(names, 2):
        for kind in kinds:
            tell(f"Trying {pair[0]} and {pair[1]}")
            fixed = {name: dict((fixed_of or {}).get(name, {})) for name in pair}
            if kind == "together":
                fixed = {name: {k: v for k, v in one.items() if k != "dye_g_per_l"} for name, one in fixed.items()}
            mixes.append(suggest_mix({name: models[name] for name in pair}, target, film_um, kind, fixed=fixed))
    return sorted(mixes, key=lambda mix: mix.delta_e00)


@dataclass(frozen=True)
class KeptShade:
    """A shade in the book that somebody wants matched.

    Attributes
    ----------
    name : str
    lab : Lab
    tolerance_de00 : float or None
    """

    name: str
    lab: Lab
    tolerance_de00: float | None = None


def baths_with_dips(book):
    """Return the newest dips with a reading of each bath that is still on the bench, by the bath's label.

    Parameters
    ----------
    book : dyebook.book.store.Book

    Returns
    -------
    dict of DataFrame
        As `Book.frame`; the bath dipped last comes first.
    """
    table = book.frame(newest=MOST_DIPS)
    gone = thrown_out_baths(book)
    groups = {}
    for (dye, bath), dips in table.groupby(["dye", "bath"], dropna=False):
        bath = bath if isinstance(bath, str) else None
        if (dye, bath) not in gone:
            groups[bath_label(dye, bath)] = dips.reset_index(drop=True)
    return dict(sorted(groups.items(), key=lambda item: -item[1]["batch"].max()))


def shades_to_match(book):
    """Return the targets of the book, and its customers' samples that no target stands for; newest first.

    Parameters
    ----------
    book : dyebook.book.store.Book

    Returns
    -------
    list of KeptShade
    """
    targets = book.rows("targets")
    found = [KeptShade(row["name"], Lab(row["L"], row["a"], row["b"]), row["tolerance_de00"]) for row in targets]
    stood_for = {row["sample_id"] for row in targets}
    for sample in book.rows("samples"):
        readings = [] if sample["id"] in stood_for else book.rows("readings", sample_id=sample["id"])
        if readings:
            last = readings[-1]
            found.append(KeptShade(sample["name"], Lab(last["L"], last["a"], last["b"])))
    return found[::-1]


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
        """Return what to do with a part dyed in one of the baths, see `dyebook.advice.redip.advise_next`."""
        from dyebook.advice.redip import advise_next

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
