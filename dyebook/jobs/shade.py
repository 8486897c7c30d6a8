"""Use cases about shades: learn a bath from a table of dips and ask it."""

from dataclasses import dataclass
from itertools import combinations
from pathlib import Path

from dyebook.errors import ModelError, RecordError
from dyebook.jobs.progress import say_nothing

__all__ = [
    "BathAdvice",
    "advise_from_models",
    "coupon_from_frame",
    "dips_in_book",
    "mixes_of",
    "read_records_file",
    "redip_from_frame",
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
