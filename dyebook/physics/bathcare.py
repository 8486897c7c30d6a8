"""Care of a dye bath: making up, topping up, the level line, how used it is, and what it loses.

Between noted strengths a bath is a mass balance: what films take up, what drops carry out, what evaporates, and what is
lost by itself. A load is how much dye a dip puts into a film, on any scale proportional to it; what one unit of it
weighs per area begins with a textbook dye (or the shop's figure, or a rule of thumb) and is learned from strengths that
were measured later; so is a loss a day, which most baths are taken not to have.
"""

import math
from dataclasses import dataclass

import numpy as np

from dyebook.errors import RecordError
from dyebook.notebook import Note
from dyebook.physics.answer import Answer, cautions_for, check_figure, positive_field
from dyebook.record import check_value

__all__ = [
    "BathAge", "LevelLine", "LossCheck", "LossRate", "MakeUp", "TopUp", "UptakeLink", "bath_age", "check_level",
    "check_window", "estimate_strength", "learn_loss", "make_up_bath", "mg_per_dm2_of_absorbance", "top_up_bath",
]  # fmt: skip

# dye held by a film at full shade; wide because it differs between dyes and shades. Rule of thumb, no source: let the
# uptake model of the bath replace it
UPTAKE_MG_PER_DM2_UM = 0.2
UPTAKE_SD_FRACTION = 0.7
GIVEN_SD_FRACTION = 0.2  # of a figure that the shop has set itself
DRAG_OUT_ML_PER_DM2 = 1.5  # plain parts with a short drip, common practice 0.5 to 3
MEASURED_SD_FRACTION = 0.05  # of a strength read by comparison, common practice
_COVER_MM = 20.0  # dye above and below a part together; judgement, no source
_MAX_L = 1e5


@dataclass(frozen=True, kw_only=True)
class MakeUp(Answer):
    """Dye to weigh in for a new bath; a second dye where it is a bath of two."""

    dye_g: float
    dye_g_per_l: float
    bath_volume_l: float
    second_dye_g: float | None = None
    second_dye_g_per_l: float | None = None


def make_up_bath(dye_g_per_l: float, bath_volume_l: float, second_g_per_l: float | None = None) -> MakeUp:
    """Dye for a new bath.

    `second_g_per_l`: of a second dye in the same bath.
    """
    strength = positive_field("dye_g_per_l", dye_g_per_l)
    volume = check_figure("bath_volume_l", bath_volume_l, "L", 0, _MAX_L)
    second = None if second_g_per_l is None else positive_field("dye_g_per_l", second_g_per_l)
    everything = strength + (second or 0.0)
    notes = ()
    if not 0.25 <= everything <= 10:
        notes = (Note("bench.unusual_dye_strength", dye_g_per_l=everything),)
    if second is not None:
        notes += (Note("bench.two_dyes_compete"),)
    return MakeUp(
        dye_g=strength * volume,
        dye_g_per_l=strength,
        bath_volume_l=volume,
        second_dye_g=None if second is None else second * volume,
        second_dye_g_per_l=second,
        basis=Note("bench.make_up"),
        cautions=cautions_for("dye", "hot_bath", "waste"),
        notes=notes,
    )


def estimate_strength(
    dye_g_per_l: float,
    bath_volume_l: float,
    *,
    dyed_dm2: float = 0.0,
    film_um: float = 10.0,
    uptake_mg_per_dm2: float | None = None,
    evaporated_l: float = 0.0,
    present_volume_l: float | None = None,
    lost_g: float = 0.0,
    lost_g_sd: float = 0.0,
    drag_out_ml_per_dm2: float = DRAG_OUT_ML_PER_DM2,
):
    """Strength of a bath after work, evaporation and drag-out.

    Parameters
    ----------
    dye_g_per_l, bath_volume_l
        When it was last known.
    dyed_dm2
        Area dyed since.
    film_um
        Its film.
    uptake_mg_per_dm2
        Dye taken up, from the bath's uptake model; a rule of thumb without it.
    present_volume_l
        Volume now where it was seen; water went in or out until it is that.
    lost_g, lost_g_sd
        Dye lost otherwise, or worked out apart.

    Returns
    -------
    strength_g_per_l, strength_g_per_l_sd, volume_l : float
    """
    strength = positive_field("dye_g_per_l", dye_g_per_l)
    volume = check_figure("bath_volume_l", bath_volume_l, "L", 0, _MAX_L)
    guessed = uptake_mg_per_dm2 is None
    uptake_mg = UPTAKE_MG_PER_DM2_UM * film_um if guessed else uptake_mg_per_dm2
    taken_g = uptake_mg * dyed_dm2 / 1000
    dragged_l = drag_out_ml_per_dm2 * dyed_dm2 / 1000
    left_l = volume - evaporated_l - dragged_l if present_volume_l is None else present_volume_l
    left_g = strength * (volume - dragged_l) - taken_g - lost_g
    if min(left_l, left_g) <= 0:
        raise RecordError(
            f"the use worked out leaves {left_l:.3g} L with {left_g:.3g} g of dye; check area, uptake and evaporation, "
            "or measure the strength"
        )
    uptake_sd = UPTAKE_SD_FRACTION if guessed else GIVEN_SD_FRACTION
    sd_g = math.hypot(uptake_sd * taken_g, 0.5 * strength * dragged_l, lost_g_sd)
    return left_g / left_l, sd_g / left_l, left_l


@dataclass(frozen=True, kw_only=True)
class TopUp(Answer):
    """What brings a bath back: grams of dye and litres of water, and the strength it was thought to have."""

    dye_g: float
    dye_g_sd: float
    water_l: float
    strength_g_per_l: float
    strength_g_per_l_sd: float
    dilute_l: float


def top_up_bath(
    target_g_per_l: float,
    full_volume_l: float,
    *,
    measured_g_per_l: float | None = None,
    present_volume_l: float | None = None,
    **use,
) -> TopUp:
    """Dye and water to bring a bath back to strength and level.

    `dilute_l` is the bath to take out and replace by water when it is too strong. `measured_g_per_l`, as measured now,
    needs the volume now beside it; else `use` are the arguments of `estimate_strength` since the bath stood at target
    and level.
    """
    target = positive_field("dye_g_per_l", target_g_per_l)
    full = check_figure("bath_volume_l", full_volume_l, "L", 0, _MAX_L)
    if measured_g_per_l is None:
        strength, sd, present = estimate_strength(target, full, **use)
        present = present if present_volume_l is None else present_volume_l
        basis = Note("bench.estimated_strength", by_rule_of_thumb=use.get("uptake_mg_per_dm2") is None)
    else:
        strength, present = positive_field("dye_g_per_l", measured_g_per_l), present_volume_l or full
        sd, basis = MEASURED_SD_FRACTION * strength, Note("bench.measured_strength")
    if present > full * (1 + 1e-9):
        raise RecordError(f"the bath holds {present:g} L, above its line at {full:g} L; check the level")
    missing_g = target * full - strength * present
    return TopUp(
        dye_g=max(missing_g, 0.0),
        dye_g_sd=sd * present,
        water_l=full - present,
        strength_g_per_l=strength,
        strength_g_per_l_sd=sd,
        dilute_l=max(-missing_g, 0.0) / strength,
        basis=basis,
        cautions=cautions_for("dye", "hot_bath", "waste"),
        notes=(Note("bench.too_strong"),) if missing_g < 0 else (),
    )


@dataclass(frozen=True, kw_only=True)
class LevelLine(Answer):
    """Whether the dye covers a part: depth with the part in, what is missing, and where the line would stand."""

    depth_mm: float
    covers: bool
    missing_l: float
    rise_mm: float


def check_level(
    bath_volume_l: float, tank_area_dm2: float, part_height_mm: float, part_volume_l: float = 0.0
) -> LevelLine:
    """Whether a bath covers a hanging part, in a tank of so much area inside as seen from above."""
    volume = check_figure("bath_volume_l", bath_volume_l, "L", 0, _MAX_L)
    floor = check_figure("the tank's area", tank_area_dm2, "dm²", 0, 1e5)
    height = check_figure("the part's height", part_height_mm, "mm", 0, 1e4)
    depth = (volume + part_volume_l) / floor * 100
    missing = max(height + _COVER_MM - depth, 0.0)
    return LevelLine(
        depth_mm=depth,
        covers=missing == 0,
        missing_l=missing * floor / 100,
        rise_mm=part_volume_l / floor * 100,
        basis=Note("bench.level", margin_mm=_COVER_MM),
        cautions=cautions_for("hot_bath"),
        notes=(Note("bench.stands_out"),) if missing else (),
    )


@dataclass(frozen=True, kw_only=True)
class BathAge(Answer):
    """How used a bath is, in area per litre and in days, and whether it has passed the shop's own limits."""

    dm2_per_l: float
    days: float
    worn_out: bool


def bath_age(dyed_dm2, bath_volume_l, days, *, limit_dm2_per_l=None, limit_days=None):
    """Age of a bath against the shop's own limits; without limits it is never called worn out."""
    volume = check_figure("bath_volume_l", bath_volume_l, "L", 0, _MAX_L)
    used = check_figure("the area dyed", dyed_dm2, "dm²", -1e-9, 1e9) / volume
    old = check_figure("the age", days, "days", -1e-9, 1e5)
    worn = (limit_dm2_per_l is not None and used >= limit_dm2_per_l) or (limit_days is not None and old >= limit_days)
    return BathAge(
        dm2_per_l=used,
        days=old,
        worn_out=worn,
        basis=Note("bench.own_limits" if limit_dm2_per_l or limit_days else "bench.no_limit"),
        cautions=cautions_for("waste"),
    )


def check_window(name: str, value: float, lower: float, upper: float) -> Note | None:
    """Return a note where a figure of the bath, ``ph`` or ``bath_temp_c``, is outside the shop's window, else None."""
    number = check_value(name, value)
    if lower <= number <= upper:
        return None
    return Note("bench.off_window", name=name, value=number, lower=lower, upper=upper)


# 350 g/mol and 20 000 L/(mol·cm) at the peak: textbook order of size of dyes, a factor two either way
_MOLAR_MASS_G_PER_MOL = 350.0
_EXTINCTION_L_PER_MOL_CM = 2.0e4
_CM2_PER_DM2 = 100.0
# a warm bath kept for months may lose some of its colour by itself, most do not; judgement, no source
_AGEING_SHARE = 0.2
_AGEING_SD_PER_DAY = 0.002
_AGEING_MOST_PER_DAY = 0.02
_GRID = 121
_WIDE = 4.0


def mg_per_dm2_of_absorbance(absorbance):
    """Return the dye per area, mg/dm², that absorbs so much at its peak in one pass (decadic).

    Notes
    -----
    Beer-Lambert: amount per area = A / ε, with ε = 20 000 L/(mol·cm) and 350 g/mol, 1.75 mg/dm² for A = 1. Azo and
    anthraquinone dyes lie within a factor two or so.
    """
    mol_per_cm2 = np.asarray(absorbance, float) / (_EXTINCTION_L_PER_MOL_CM * 1000)
    return mol_per_cm2 * _CM2_PER_DM2 * _MOLAR_MASS_G_PER_MOL * 1000


@dataclass(frozen=True)
class UptakeLink:
    """What one unit of load weighs before any check: mg/dm², relative standard uncertainty, and where it is from."""

    mg_per_dm2: float
    sd_fraction: float
    source: str


@dataclass(frozen=True)
class LossCheck:
    """Two strengths of one filling, and what happened between them."""

    # lost_g, lost_g_sd: dye gone from the first to the second, less what drops carried out
    lost_g: float
    lost_g_sd: float
    load_dm2: float  # sum of area times load of the dips between
    gram_days: float  # mean dye in the bath times days


@dataclass(frozen=True)
class LossRate:
    """What a unit of load takes, mg/dm², and what a bath loses a day on its own, with their covariance."""

    mg_per_dm2: float
    per_day: float
    covariance: tuple[float, float, float]  # variance of `mg_per_dm2`, covariance, variance of `per_day`
    checks: int  # how many checks taught it
    basis: str

    def lost_g(self, load_dm2, gram_days):
        """Return the dye lost, g, and its standard uncertainty."""
        grams = load_dm2 / 1000
        taken, shared, aged = self.covariance
        variance = grams**2 * taken + 2 * grams * gram_days * shared + gram_days**2 * aged
        return self.mg_per_dm2 * grams + self.per_day * gram_days, math.sqrt(max(variance, 0.0))


def learn_loss(link: UptakeLink, checks=()) -> LossRate:
    """Learn what a bath loses from checks of its strength.

    Without checks it is the link as it is, and nothing lost on its own. `link`: what is believed beforehand. `checks`:
    sequence of LossCheck.

    Notes
    -----
    Posterior on a grid: log-normal prior on the weight of a load; nothing lost on its own, or else a half-normal share
    a day; normal errors of the checks.
    """
    checks = [check for check in checks if check.load_dm2 > 0 or check.gram_days > 0]
    if not checks:
        variance = (link.mg_per_dm2 * link.sd_fraction) ** 2
        return LossRate(link.mg_per_dm2, 0.0, (variance, 0.0, 0.0), 0, link.source)
    spread = math.sqrt(math.log1p(link.sd_fraction**2))
    steps = np.linspace(-_WIDE, _WIDE, _GRID)
    weight = link.mg_per_dm2 * np.exp(spread * steps)[:, None]
    per_day = np.linspace(0, _AGEING_MOST_PER_DAY, 4 * _GRID)[None, :]
    log = -0.5 * steps[:, None] ** 2 + _log_prior_of_ageing(per_day)
    for check in checks:
        expected = weight * check.load_dm2 / 1000 + per_day * check.gram_days
        log = log - 0.5 * ((check.lost_g - expected) / check.lost_g_sd) ** 2
    share = np.exp(log - log.max())
    share /= share.sum()
    mean, daily = float((share * weight).sum()), float((share * per_day).sum())
    covariance = tuple(
        float((share * left * right).sum())
        for left, right in ((weight - mean, weight - mean), (weight - mean, per_day - daily), (per_day - daily,) * 2)
    )
    basis = Note("bench.own_checks", count=len(checks), prior=link.source, per_day=daily)
    return LossRate(mean, daily, covariance, len(checks), basis)


def _log_prior_of_ageing(per_day):
    """Log prior of each step of the grid: the first, 0, has the share of baths that do not age."""
    slab = np.exp(-0.5 * (per_day / _AGEING_SD_PER_DAY) ** 2)
    slab[..., 0] = 0
    prior = _AGEING_SHARE * slab / slab.sum()
    prior[..., 0] = 1 - _AGEING_SHARE
    return np.log(prior)
