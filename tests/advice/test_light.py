"""What lamps do to a shade."""

import numpy as np
import pandas as pd

from dyebook import delta_e_00, learn_bath
from dyebook.advice.suggest import lamp_shifts, sample_caution
from dyebook.model.inputs import read_settings
from dyebook.physics.optics import BANDS_NM, film_reflectance, reflectance_to_lab


def test_a_blue_moves_in_lamp_light_as_its_spectrum_says():
    """Dips of a simulated blue whose spectrum is known; the shift under illuminant A is found to a third of itself."""
    bands = np.exp(-0.5 * ((BANDS_NM - 615) / 40) ** 2) + 0.4 * np.exp(-0.5 * ((BANDS_NM - 580) / 35) ** 2)
    dwell = np.array([1.0, 2.0, 4.0, 8.0, 12.0])
    spectra = film_reflectance(0.2 * np.sqrt(dwell)[:, None] * bands)
    table = pd.DataFrame({"film_um": 12, "dye_g_per_l": 3, "bath_temp_c": 40, "dwell_min": dwell, "ph": 5.5})
    table[["L", "a", "b"]] = reflectance_to_lab(spectra)
    model = learn_bath(table)
    asked = read_settings(table, model.usual, model.training.circumstances)
    truth = delta_e_00(reflectance_to_lab(spectra), reflectance_to_lab(spectra, "a"))
    found = lamp_shifts(model, asked)["a"]
    assert truth[2] > 2
    assert np.abs(found[2] - truth[2]) < truth[2] / 3


def test_other_surfaces_are_warned_of():
    assert "plastic" in sample_caution("plastic")
    assert sample_caution("metal") == ""
    assert sample_caution(None) == ""
