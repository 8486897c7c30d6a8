"""Records and settings as arrays, with the checks and uncertainties that a fit needs."""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from dyebook.errors import ModelError
from dyebook.model.circumstances import Circumstances
from dyebook.model.coupons import coupon_groups, share_errors
from dyebook.record import FIELDS

__all__ = ["SETTINGS", "Scales", "Settings", "Training", "check_table", "read_records", "read_settings"]

SETTINGS = ("film_um", "dye_g_per_l", "bath_temp_c", "dwell_min", "ph")
COLOURS = ("L", "a", "b")
# standard uncertainties where the record does not say: thermometer and clock of a small shop, film by gauge or charge
TEMP_SD_C = 0.7
DWELL_SD_MIN = 0.05
DYE_SD_RELATIVE = 0.03
PH_SD = 0.1
FILM_GAUGE_SD_RELATIVE = 0.04
FILM_PLAN_SD_RELATIVE = 0.08
FILM_UNKNOWN_SD_RELATIVE = 0.3
LAB_SD = (0.6, 0.6, 0.6)
PH_UNKNOWN_SD = 0.4


@dataclass(frozen=True)
class Settings:
    """Settings of n dips: five arrays of shape (n,), without gaps.

    `around` and `hue` are the columns of `Circumstances`, None where all is as usual.
    """

    film_um: np.ndarray
    dye_g_per_l: np.ndarray
    bath_temp_c: np.ndarray
    dwell_min: np.ndarray
    ph: np.ndarray
    around: np.ndarray | None = None
    hue: np.ndarray | None = None

    def scaled(self):
        """Return (n, 5) coordinates in which one unit is a large, ordinary change of that setting."""
        return np.stack(
            [
                np.log(self.film_um / 12) / 0.4,
                np.log(self.dye_g_per_l / 2) / 0.7,
                (self.bath_temp_c - 40) / 12,
                np.log(self.dwell_min / 5) / 0.8,
                (self.ph - 5.5) / 0.6,
            ],
            axis=1,
        )

    def __len__(self):
        return len(self.film_um)

    def __getitem__(self, rows):
        around, hue = (None if block is None else block[rows] for block in (self.around, self.hue))
        return Settings(*(getattr(self, name)[rows] for name in SETTINGS), around, hue)

    def moved(self, **columns):
        """Return these settings with some of them replaced."""
        return replace(self, **columns)


@dataclass(frozen=True)
class Training:
    """Records ready to be learned from.

    Attributes
    ----------
    settings : Settings
    sd : dict of ndarray
        Standard uncertainty of each setting.
    lab, lab_sd : ndarray, shape (n, 3)
    circumstances : Circumstances
    notes : tuple of str
        What was missing and how it was treated.
    """

    settings: Settings
    sd: dict
    lab: np.ndarray
    lab_sd: np.ndarray
    circumstances: Circumstances
    notes: tuple = ()

    def __len__(self):
        return len(self.lab)

    def __getitem__(self, rows):
        sd = {name: np.broadcast_to(value, len(self))[rows] for name, value in self.sd.items()}
        return Training(self.settings[rows], sd, self.lab[rows], self.lab_sd[rows], self.circumstances, self.notes)

    @cached_property
    def relative_sd(self):
        """Uncertainties (n, 5) of log film, log dye, °C, log dwell and pH."""
        return _relative(self.sd, self.settings)


def _relative(sd, at):
    """Uncertainties (n, 5) of log film, log dye, °C, log dwell and pH of dips `at` settings."""
    columns = [
        sd["film_um"] / at.film_um,
        sd["dye_g_per_l"] / at.dye_g_per_l,
        sd["bath_temp_c"],
        sd["dwell_min"] / at.dwell_min,
        sd["ph"],
    ]
    return np.stack([np.broadcast_to(column, len(at)) for column in columns], axis=1)


@dataclass(frozen=True)
class Scales:
    """What stands in for settings that are not given: the shop's usual film and pH."""

    film_um: float
    ph: float


def _column(frame, name):
    """Column as floats, nan where empty, checked against the table of fields."""
    import pandas as pd

    if name not in frame.columns:
        return np.full(len(frame), np.nan)
    try:
        values = pd.to_numeric(frame[name]).to_numpy(dtype=float)
    except (TypeError, ValueError) as error:
        raise ModelError(
            f"column {name} holds something that is no number ({error}); give numbers or leave it empty"
        ) from None
    row = FIELDS.get(name)
    if row is not None:
        wrong = ~np.isnan(values) & ((values < row.lower) | (values > row.upper))
        if wrong.any():
            at = int(np.flatnonzero(wrong)[0])
            raise ModelError(
                f"{name} is {values[at]:g} in row {at + 1}; it must lie between {row.lower:g} and {row.upper:g} "
                f"{row.unit}; check the figure and its unit"
            )
    return values


def _needed(frame, names):
    missing = [name for name in names if name not in frame.columns]
    if missing:
        raise ModelError(f"columns {', '.join(missing)} are missing; a row needs {', '.join(names)}")


def check_table(name, table):
    """Raise a ModelError unless what was given as `name` is a DataFrame."""
    import pandas as pd

    if not isinstance(table, pd.DataFrame):
        raise ModelError(f"{name} are a {type(table).__name__}; a pandas DataFrame with a row a dip is needed")


def read_records(records):
    """Return checked records.

    Parameters
    ----------
    records : pandas.DataFrame
        A row a dip, with the columns of the contract.

    Returns
    -------
    Training

    Raises
    ------
    ModelError
        If columns are missing, values impossible, or fewer than two different dips are complete.
    """
    check_table("records", records)
    _needed(records, ("film_um", "dye_g_per_l", "bath_temp_c", "dwell_min", *COLOURS))
    values = {name: _column(records, name) for name in (*SETTINGS, "film_measured_um", *COLOURS)}
    core = np.stack([values[name] for name in ("dye_g_per_l", "bath_temp_c", "dwell_min", *COLOURS)])
    whole = np.isfinite(core).all(axis=0)
    if whole.sum() < 2:
        raise ModelError(
            f"{int(whole.sum())} of {len(records)} records have dye, temperature, dwell and a colour; at least 2 "
            "different dips are needed: dip and read a coupon with another dwell"
        )
    return _training(records[whole], {name: column[whole] for name, column in values.items()})


def _training(frame, values):
    notes = []
    film, film_sd = _film(frame, values, notes)
    ph, ph_sd = _ph(frame, values, notes)
    circumstances = Circumstances.learn(frame)
    core = (film, values["dye_g_per_l"], values["bath_temp_c"], values["dwell_min"], ph)
    settings = Settings(*core, *circumstances.encode(frame))
    lab = np.stack([values[name] for name in COLOURS], axis=1)
    if np.ptp(settings.scaled(), axis=0).max() < 1e-3:
        raise ModelError(
            f"all {len(frame)} records are the same dip; at least 2 different ones are needed: "
            "dip and read a coupon with another dwell"
        )
    sd = {
        "film_um": film_sd,
        "dye_g_per_l": _given_sd(frame, "dye_g_per_l_sd", DYE_SD_RELATIVE * settings.dye_g_per_l),
        "bath_temp_c": _given_sd(frame, "bath_temp_c_sd", TEMP_SD_C),
        "dwell_min": _given_sd(frame, "dwell_min_sd", np.minimum(DWELL_SD_MIN, 0.3 * settings.dwell_min)),
        "ph": ph_sd,
    }
    lab_sd = np.stack([_given_sd(frame, f"{n}_sd", d) for n, d in zip(COLOURS, LAB_SD, strict=True)], axis=1)
    shared, sd = share_errors(coupon_groups(frame), settings, sd, _relative(sd, settings))
    settings = settings.moved(around=np.hstack([settings.around, shared]))
    circumstances = replace(circumstances, shared=shared.shape[1])
    return Training(settings, sd, lab, np.maximum(lab_sd, 0.05), circumstances, tuple(notes))


def _given_sd(frame, name, default):
    given = _column(frame, name)
    return np.where(np.isfinite(given), given, default)


def _film(frame, values, notes):
    gauge = values["film_measured_um"]
    film = np.where(np.isfinite(gauge), gauge, values["film_um"])
    relative = np.where(np.isfinite(gauge), FILM_GAUGE_SD_RELATIVE, FILM_PLAN_SD_RELATIVE)
    missing = ~np.isfinite(film)
    if missing.any():
        notes.append(f"{int(missing.sum())} records have no film thickness; the usual film was taken, with doubt")
        film = np.where(missing, 12.0 if missing.all() else np.median(film[~missing]), film)
        relative = np.where(missing, FILM_UNKNOWN_SD_RELATIVE, relative)
    return film, _given_sd(frame, "film_sd_um", relative * film)


def _ph(frame, values, notes):
    ph = values["ph"]
    missing = ~np.isfinite(ph)
    if missing.any() and not missing.all():
        notes.append(f"{int(missing.sum())} records have no pH; the usual pH was taken, with doubt")
    usual = 5.5 if missing.all() else np.median(ph[~missing])
    # a bath whose pH was never read is what it is: its pH is part of the bath, not an error of each dip
    doubt = PH_SD if missing.all() else PH_UNKNOWN_SD
    return np.where(missing, usual, ph), np.where(missing, doubt, _given_sd(frame, "ph_sd", PH_SD))


def read_settings(settings, usual, circumstances):
    """Return checked settings for a prediction.

    Parameters
    ----------
    settings : pandas.DataFrame
        Columns dye_g_per_l, bath_temp_c, dwell_min; film_um and ph where known; a film_measured_um stands for the film.
    usual : Scales
        Stands in for films and pH that are not given.
    circumstances : Circumstances
        Of the records; what a row does not say is as usual.

    Returns
    -------
    Settings

    Raises
    ------
    ModelError
        If a column is missing or a value impossible.
    """
    _needed(settings, ("dye_g_per_l", "bath_temp_c", "dwell_min"))
    values = {name: _column(settings, name) for name in SETTINGS}
    gauge = _column(settings, "film_measured_um")
    values["film_um"] = np.where(np.isfinite(gauge), gauge, values["film_um"])
    for name in ("dye_g_per_l", "bath_temp_c", "dwell_min"):
        if not np.isfinite(values[name]).all():
            raise ModelError(f"{name} is empty in a row; every dip to be predicted needs it")
    values["film_um"] = np.where(np.isfinite(values["film_um"]), values["film_um"], usual.film_um)
    values["ph"] = np.where(np.isfinite(values["ph"]), values["ph"], usual.ph)
    around, hue = circumstances.encode(settings)
    return Settings(**values, around=around, hue=hue)
