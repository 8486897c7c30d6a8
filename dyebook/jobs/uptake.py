"""How much dye the dips of a bath took: shared out by the learned bath, weighed by the best link there is."""

from dyebook.physics.bathcare import GIVEN_SD_FRACTION, UPTAKE_MG_PER_DM2_UM, UPTAKE_SD_FRACTION
from dyebook.physics.dye_loss import UptakeLink, mg_per_dm2_of_absorbance

__all__ = ["LEAST_DIPS", "loads_of_dips"]

_USUAL_FILM_UM = 10.0
# fewer dips than this say little about how loads differ
LEAST_DIPS = 8
_TEXTBOOK_SD = 0.7
_SETTINGS = ("film_um", "dye_g_per_l", "bath_temp_c", "dwell_min", "ph", "alloy", "finish")


def loads_of_dips(dips, own_mg_per_dm2=None, model=None):
    """Return the load of each dip, and what one unit of load weighs.

    Parameters
    ----------
    dips : list of dict
        As `dyebook.book.life.dips_in_bath`.
    own_mg_per_dm2 : float, optional
        The shop's own figure for the dye, at a usual dip.
    model : dyebook.model.predict.BathModel, optional

    Returns
    -------
    loads : list of float
        In a bath of two dyes the load that the dip would have had alone is split by their strengths: both compete for
        the same places (Langmuir, like affinities).
    link : dyebook.physics.dye_loss.UptakeLink
    """
    loads, link = _loads_alone(dips, own_mg_per_dm2, model)
    return [load * dip["share"] for load, dip in zip(loads, dips, strict=True)], link


def _loads_alone(dips, own_mg_per_dm2, model):
    """Loads and link as if each dye had been alone in its bath."""
    own = None if own_mg_per_dm2 is None else f"your figure of {own_mg_per_dm2:g} mg/dm²"
    loads = None if model is None else _absorbances(dips, model)
    if loads and own:
        usual = sorted(loads)[len(loads) // 2]
        return loads, UptakeLink(own_mg_per_dm2 / usual, GIVEN_SD_FRACTION, f"{own}, shared out by the learned bath")
    if loads:
        each = float(mg_per_dm2_of_absorbance(1.0))
        source = f"the learned bath's absorbance and a textbook dye, {each:.3g} mg/dm² for an absorbance of 1"
        return loads, UptakeLink(each, _TEXTBOOK_SD, source)
    if own:
        return [1.0] * len(dips), UptakeLink(own_mg_per_dm2, GIVEN_SD_FRACTION, own)
    films = [dip["film_um"] or _USUAL_FILM_UM for dip in dips]
    source = f"rule of thumb, {UPTAKE_MG_PER_DM2_UM:g} mg/dm² per µm of film"
    return films, UptakeLink(UPTAKE_MG_PER_DM2_UM, UPTAKE_SD_FRACTION, source)


def _absorbances(dips, model):
    """Peak absorbance of each dip as the learned bath has it; the middle one where a setting was not noted."""
    import numpy as np
    import pandas as pd

    from dyebook.model.inputs import read_settings

    table = pd.DataFrame(dips, columns=list(_SETTINGS))
    numbers = list(_SETTINGS[:5])
    table[numbers] = table[numbers].astype(float)
    whole = table[["dye_g_per_l", "bath_temp_c", "dwell_min"]].notna().all(axis=1).to_numpy()
    if not whole.any():
        return None
    settings = read_settings(table[whole], model.usual, model.training.circumstances)
    peaks = model.absorbance(settings)[0].max(axis=1)
    loads = np.full(len(table), float(np.median(peaks)))
    loads[whole] = peaks
    return loads.tolist()
