"""Use cases about shades: learn a bath from a table of dips and ask it."""

from pathlib import Path

from dyebook.errors import RecordError

__all__ = ["coupon_from_frame", "read_records_file", "redip_from_frame", "suggest_from_frame"]


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
