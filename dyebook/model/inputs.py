"""Records and settings as arrays, with the checks and uncertainties that a fit needs.

What else differs from dip to dip (alloy, finish, electrolyte temperature, seal, wetness, date) becomes a few columns
whose coefficients are standard normal beforehand. Alloys and finishes get partially pooled offsets of log load: a level
with few records stays near the others. The date lets the bath's strength walk, on from the latest dip too. A seal or a
wet surface may also change the hue.

The bands of one stepped coupon share one film and one bath, and so also what is wrong about these: six dwells off one
strip show the shape of the uptake well, and its height no better than one dip does. What they share becomes two
unknowns a strip, and its records keep only the error of their own clock.

Colours are learned as the set-up of most records sees them: what its readings share moves all of them alike, and
cancels against a target that was read there. Another set-up, and the one photo of a strip, see the same colours
shifted, by unknowns of their own.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from dyebook.errors import ModelError
from dyebook.model.forward import Load, SettingLogs
from dyebook.model.parameters import UPTAKE
from dyebook.record import FIELDS, is_empty

__all__ = [
    "SETTINGS", "Circumstances", "Scales", "Seen", "Settings", "Training", "check_table", "coupon_groups",
    "read_records", "read_settings", "rounded",
]  # fmt: skip

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


def rounded(values, digits: int | None = None):
    """Return settings, a colour or a figure with so many digits, for JSON; None for nan and None, words as they are."""
    if isinstance(values, (str, bool)):
        return values
    if isinstance(values, dict):
        return {name: rounded(value, digits) for name, value in values.items()}
    if isinstance(values, (list, tuple)):
        return [rounded(value, digits) for value in values]
    return None if values is None or values != values else round(float(values), digits)


@dataclass(frozen=True)
class Settings:
    """Settings of n dips: five arrays of shape (n,), without gaps.

    `around` and `hue` are the columns of `Circumstances`, None where all is as usual; `seen` are those of `Seen`, of
    records alone.
    """

    film_um: np.ndarray
    dye_g_per_l: np.ndarray
    bath_temp_c: np.ndarray
    dwell_min: np.ndarray
    ph: np.ndarray
    around: np.ndarray | None = None
    hue: np.ndarray | None = None
    seen: np.ndarray | None = None

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
        more = (None if block is None else block[rows] for block in (self.around, self.hue, self.seen))
        return Settings(*(getattr(self, name)[rows] for name in SETTINGS), *more)

    def moved(self, **columns):
        """Return these settings with some of them replaced."""
        return replace(self, **columns)


@dataclass(frozen=True)
class Training:
    """Records ready to be learned from."""

    settings: Settings
    sd: dict  # standard uncertainty of each setting
    # lab, lab_sd: (n, 3)
    lab: np.ndarray
    lab_sd: np.ndarray
    circumstances: "Circumstances"
    seen: "Seen"  # what readings share
    film_relative_sd: float  # of a film of the usual source, as a share of it
    notes: tuple = ()  # what was missing and how it was treated

    def __len__(self):
        return len(self.lab)

    def __getitem__(self, rows):
        sd = {name: np.broadcast_to(value, len(self))[rows] for name, value in self.sd.items()}
        return replace(self, settings=self.settings[rows], sd=sd, lab=self.lab[rows], lab_sd=self.lab_sd[rows])

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


def read_records(records) -> Training:
    """Return checked records.

    `records` (pandas.DataFrame): a row a dip, with the columns of the contract.
    """
    check_table("records", records)
    _needed(records, ("film_um", "dye_g_per_l", "bath_temp_c", "dwell_min", *COLOURS))
    values = {name: _column(records, name) for name in (*SETTINGS, "film_measured_um", *COLOURS)}
    core = np.stack([values[name] for name in ("dye_g_per_l", "bath_temp_c", "dwell_min", *COLOURS)])
    whole = np.isfinite(core).all(axis=0)
    if not whole.any():
        raise ModelError(
            f"0 of {len(records)} records have dye, temperature, dwell and a colour; one dip at least is needed: "
            "dip and read a coupon"
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
    sd = {
        "film_um": film_sd,
        "dye_g_per_l": _given_sd(frame, "dye_g_per_l_sd", DYE_SD_RELATIVE * settings.dye_g_per_l),
        "bath_temp_c": _given_sd(frame, "bath_temp_c_sd", TEMP_SD_C),
        "dwell_min": _given_sd(frame, "dwell_min_sd", np.minimum(DWELL_SD_MIN, 0.3 * settings.dwell_min)),
        "ph": ph_sd,
    }
    relative = _relative(sd, settings)
    groups = coupon_groups(frame)
    shared, sd = share_errors(groups, settings, sd, relative)
    seen, columns, lab_sd = Seen.learn(frame, lab, groups)
    settings = settings.moved(around=np.hstack([settings.around, shared]), seen=columns)
    circumstances = replace(circumstances, shared=shared.shape[1])
    film_relative_sd = float(np.median(relative[:, _PLACES["film_um"]]))
    return Training(settings, sd, lab, lab_sd, circumstances, seen, film_relative_sd, tuple(notes))


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


def read_settings(settings, usual: Scales, circumstances: "Circumstances") -> Settings:
    """Return checked settings for a prediction.

    Columns of `settings`: dye_g_per_l, bath_temp_c, dwell_min; film_um and ph where known; a film_measured_um stands
    for the film. `usual` stands in for films and pH that are not given, `circumstances` of the records for what a row
    omits.
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


_WORDS = ("alloy", "finish")
_STATES = ("sealed", "wet")
# standard deviations of log load
_LEVEL_SD = 0.15
_STATE_SD = 0.15
_FILM_HEAT_SD_PER_C = 0.03
_WALK_SD_PER_ROOT_DAY = 0.015
# a seal may move the hue about as much as three ordinary changes of a setting
_STATE_HUE = 3.0
_MOST_KNOTS = 8
_YES = ("true", "1", "1.0", "yes")
_NO = ("false", "0", "0.0", "no")


@dataclass(frozen=True)
class Circumstances:
    """The circumstances that vary among records, and what is usual."""

    levels: dict  # alloys and finishes seen, where there are several
    usual: dict  # the most common state or level, or the median, of every circumstance that varies
    # days since 1970 between which the bath's strength walks; the last is the latest dip. Empty without dates.
    knots_day: np.ndarray
    shared: int = 0  # columns that stepped coupons add to the records; no other dip has a share in them

    @classmethod
    def learn(cls, frame):
        """Return the circumstances that vary among the rows of a DataFrame."""
        levels, usual = {}, {}
        for name in _WORDS:
            seen = [text for text in _texts(frame, name) if text]
            if len(set(seen)) > 1:
                levels[name] = tuple(sorted(set(seen)))
                usual[name] = max(levels[name], key=seen.count)
        for name in _STATES:
            seen = _states(frame, name)
            seen = seen[np.isfinite(seen)]
            if seen.size and np.ptp(seen) > 0:
                usual[name] = float(np.mean(seen) > 0.5)
        heat = _numbers(frame, "electrolyte_temp_c")
        if np.isfinite(heat).sum() > 1 and np.nanmax(heat) - np.nanmin(heat) > 0.5:
            usual["electrolyte_temp_c"] = float(np.nanmedian(heat))
        return cls(levels, usual, _knots(_days(frame)))

    def encode(self, frame):
        """Return columns for log load (n, q) and columns that may also move the hue (n, r)."""
        load, hue = [np.zeros((len(frame), 0))], [np.zeros((len(frame), 0))]
        for name, levels in self.levels.items():
            texts = [text or self.usual[name] for text in _texts(frame, name)]
            load.append(_LEVEL_SD * np.array([[text == level for level in levels] for text in texts], dtype=float))
        if "electrolyte_temp_c" in self.usual:
            heat = _numbers(frame, "electrolyte_temp_c") - self.usual["electrolyte_temp_c"]
            load.append(_FILM_HEAT_SD_PER_C * np.nan_to_num(heat)[:, None])
        for name in _STATES:
            if name in self.usual:
                state = _states(frame, name)
                state = np.where(np.isfinite(state), state, self.usual[name])[:, None]
                load.append(_STATE_SD * state)
                hue.append(_STATE_HUE * state)
        load.append(self._walk(_days(frame)))
        load.append(np.zeros((len(frame), self.shared)))
        return np.hstack(load), np.hstack(hue)

    def _walk(self, days):
        """Steps of a random walk counted back from the latest dip, and the one that goes on from there.

        No record has a share in the last step, so that it stays as unsure as it was: a dip long after the latest one
        on record is less sure, and one without a date is as of that latest one.
        """
        if not self.knots_day.size:
            return np.zeros((len(days), 0))
        days = np.where(np.isfinite(days), days, self.knots_day[-1])[:, None]
        early, late = self.knots_day[:-1], self.knots_day[1:]
        back = np.sqrt(late - early) * np.clip((late - days) / np.maximum(late - early, 1e-9), 0, 1)
        onwards = np.sqrt(np.maximum(days - self.knots_day[-1], 0))
        return _WALK_SD_PER_ROOT_DAY * np.hstack([back, onwards])


def _texts(frame, name):
    if name not in frame.columns:
        return [""] * len(frame)
    return ["" if is_empty(value) else str(value).strip() for value in frame[name]]


def _states(frame, name):
    """1, 0, or nan where the state was not noted."""
    texts = [text.lower() for text in _texts(frame, name)]
    return np.array([1.0 if text in _YES else 0.0 if text in _NO else np.nan for text in texts])


def _numbers(frame, name):
    import pandas as pd

    if name not in frame.columns:
        return np.full(len(frame), np.nan)
    return pd.to_numeric(frame[name], errors="coerce").to_numpy(dtype=float)


def _days(frame):
    import pandas as pd

    if "dyed_at" not in frame.columns:
        return np.full(len(frame), np.nan)
    times = pd.to_datetime(frame["dyed_at"], errors="coerce", utc=True, format="ISO8601")
    return ((times - pd.Timestamp(0, tz="UTC")) / pd.Timedelta(days=1)).to_numpy(dtype=float)


def _knots(days):
    days = np.unique(days[np.isfinite(days)])
    if days.size < 2 or np.ptp(days) < 1:
        return days[-1:]
    return np.unique(np.quantile(days, np.linspace(0, 1, min(_MOST_KNOTS, days.size))))


# settings whose error the bands have in common; each band has its own time by the clock
_OF_FILM, _OF_BATH = ("film_um",), ("dye_g_per_l", "bath_temp_c", "ph")
_PLACES = {"film_um": 0, "dye_g_per_l": 1, "bath_temp_c": 2, "ph": 4}
# log load by which one strip differs from the next at equal settings: the middle of the prior of a dip's own scatter
_STRIP_SD = 0.03
# unknowns cost time: strips beyond so many, the oldest, are weighted down instead
_MOST_STRIPS = 60


def coupon_groups(frame):
    """Return the rows of each stepped coupon, strips of one row left out.

    They are in the order of their first rows. `frame` (pandas.DataFrame): column ``coupon`` names the strip a row is a
    band of; empty for a dip of its own.
    """
    if "coupon" not in frame.columns:
        return []
    rows = {}
    for place, value in enumerate(frame["coupon"]):
        name = "" if value is None or value != value else str(value).strip()
        if name:
            rows.setdefault(name, []).append(place)
    return [np.array(places) for places in rows.values() if len(places) > 1]


def share_errors(groups, settings, sd, relative_sd):
    """Return the columns of what strips share, and the uncertainties left to each record.

    Parameters
    ----------
    groups : list of ndarray of int
        Rows of each strip.
    settings : Settings of n dips
    sd : dict of ndarray, shape (n,)
        Standard uncertainty of each setting.
    relative_sd : ndarray, shape (n, 5)
        The same, of log film, log dye, °C, log dwell and pH.

    Returns
    -------
    columns : ndarray, shape (n, 2 * strips)
        Shifts of log load per unit of a standard-normal unknown.
    sd : dict of ndarray, shape (n,)

    Notes
    -----
    How log load answers to a setting is taken from the usual bath, z = 0: bands of one strip differ in dwell alone, so
    it is the course along the strip that matters here, and not its exact height.
    """
    if not groups:
        return np.zeros((len(settings), 0)), sd
    answer = Load(np.zeros(len(UPTAKE)), SettingLogs.of(settings)).by_setting() * relative_sd
    left = {name: np.array(np.broadcast_to(value, len(settings)), dtype=float) for name, value in sd.items()}
    columns = []
    for rows in groups[-_MOST_STRIPS:]:
        film = _coupon_column(answer, rows, _OF_FILM)
        bath = np.hypot(
            _coupon_column(answer, rows, _OF_BATH), np.where(np.isin(np.arange(len(answer)), rows), _STRIP_SD, 0)
        )
        columns += [film, bath]
        for name in _PLACES:
            left[name][rows] = 0.0
    for rows in groups[:-_MOST_STRIPS]:
        for name in _PLACES:
            # the mean of k bands is then as unsure as one dip
            left[name][rows] *= np.sqrt(len(rows))
    return np.stack(columns, axis=1), left


def _coupon_column(answer, rows, names):
    """Shift (n,) of log load by one standard error of some settings, on the rows of one strip."""
    out = np.zeros(len(answer))
    part = answer[rows][:, [_PLACES[name] for name in names]]
    sign = np.sign(part[:, 0]) if len(names) == 1 else 1.0
    out[rows] = sign * np.linalg.norm(part, axis=1)
    return out


# standard uncertainty that readings of one set-up share, where records do not tell their total: a photo's lightness,
# and a* and b* at grey and per unit of chroma, of a usual camera and shape; judgement, no fit
_SHARED_L, _SHARED_GREY, _SHARED_CHROMA = 2.5, 1.5, 0.1
# share of the variance from photo to photo that the bands of one strip have in common; common practice, no source
_OF_THE_PHOTO = 0.9
_LEAST_LAB_SD = 0.05
# unknowns cost time: of further set-ups and strips the oldest are weighted down instead
_MOST_SETUPS, _MOST_SEEN_STRIPS = 6, 20


@dataclass(frozen=True)
class Seen:
    """What readings share, and by which set-up colours are learned."""

    setup: str | None  # key of the set-up of most records; None where records do not tell theirs
    shared_sd: np.ndarray  # (3,): standard uncertainty of L*, a*, b* that its readings share; 0 without a set-up
    # dict of (slice, ndarray): columns of the shift of every other set-up against it, and its standard uncertainty
    # (3,), by its key
    shifts: dict

    @classmethod
    def learn(cls, frame, lab, groups):
        """Return what is shared, columns (n, 3, k) of shifts of the colours seen, and what is left to each record."""
        sd = np.stack([_given_sd(frame, f"{n}_sd", d) for n, d in zip(COLOURS, LAB_SD, strict=True)], axis=1)
        setups = np.array(_texts(frame, "setup"), dtype=object)
        known = [name for name in setups[::-1] if name]
        main = max(known, key=known.count, default=None)
        shared = _shared_sd(frame, lab, sd)
        here = _root_mean_square(shared[setups == main]) if known else np.zeros(3)
        steps = {name: np.hypot(_root_mean_square(shared[setups == name]), here) for name in dict.fromkeys(known)}
        # a record that does not tell its set-up may be of any
        steps = {name: step for name, step in steps.items() if name != main} | ({"": here} if known else {})
        blocks, shifts, left = [np.zeros((len(lab), 3, 0))], {}, sd.copy()
        for name, step in steps.items():
            rows = setups == name
            if name and len(shifts) < _MOST_SETUPS:
                shifts[name] = slice(3 * len(shifts), 3 * len(shifts) + 3), step
                blocks.append(rows[:, None, None] * np.diag(step))
            else:
                left[rows] = np.hypot(left[rows], step)
        for rows in groups[-_MOST_SEEN_STRIPS:]:
            of_photo = np.isin(np.arange(len(lab)), rows)[:, None] * np.sqrt(_OF_THE_PHOTO) * sd
            blocks.append(of_photo[:, :, None] * np.eye(3))
            left[rows] *= np.sqrt(1 - _OF_THE_PHOTO)
        for rows in groups[:-_MOST_SEEN_STRIPS]:
            left[rows] *= np.sqrt(len(rows))
        return cls(main, here, shifts), np.concatenate(blocks, axis=2), np.maximum(left, _LEAST_LAB_SD)


def _root_mean_square(rows):
    return np.sqrt(np.mean(np.square(rows), axis=0))


def _shared_sd(frame, lab, sd):
    """Standard uncertainty (n, 3) that readings share within their set-up: the total less what moves between photos."""
    chroma = _SHARED_GREY + _SHARED_CHROMA * np.hypot(lab[:, 1], lab[:, 2])
    usual = np.stack([np.full(len(lab), _SHARED_L), chroma, chroma], axis=1)
    total = np.stack([_column(frame, f"{name}_u") for name in COLOURS], axis=1)
    return np.where(np.isfinite(total), np.sqrt(np.maximum(total**2 - sd**2, 0)), usual)
