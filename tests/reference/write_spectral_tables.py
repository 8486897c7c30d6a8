"""Write dyebook/physics/spectral.csv: weights that turn 31 bands into tristimulus values, and aluminium's index.

A weight is the integral, at 1 nm, of illuminant times colour matching function times the hat function of its band,
so a spectrum that is straight between bands is integrated exactly; what lies beyond 400..700 nm is added to the end
bands (ASTM E308 treats a measured range that ends early in the same way). Colour matching functions (CIE 1931,
2 degrees) and illuminants (CIE D65, A, LED-B3) come from colour-science; n and k of aluminium from
tests/reference/al_index.csv (Rakic 1995).

Run from the top of the project: python tests/reference/write_spectral_tables.py
"""

from pathlib import Path

import colour
import numpy as np

HERE = Path(__file__).parent
OUT = HERE.parents[1] / "dyebook" / "physics" / "spectral.csv"
BANDS_NM = np.arange(400.0, 701.0, 10.0)
FINE_NM = np.arange(380.0, 781.0, 1.0)
LIGHTS = {"d65": "D65", "a": "A", "led": "LED-B3"}


def weights(light):
    """Return weights of shape (31, 3); Y of a perfect white is 1."""
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(colour.SpectralShape(380, 780, 1))
    power = colour.SDS_ILLUMINANTS[light]
    power = np.interp(FINE_NM, power.wavelengths, power.values)
    hats = np.stack([np.interp(FINE_NM, BANDS_NM, row) for row in np.eye(BANDS_NM.size)])
    raw = hats @ (power[:, None] * cmfs.values)
    return raw / raw[:, 1].sum()


def main():
    """Write the table."""
    names = ["nm"] + [f"{axis}_{light}" for light in LIGHTS for axis in "xyz"] + ["al_n", "al_k"]
    index = np.loadtxt(HERE / "al_index.csv", delimiter=",", comments="#", skiprows=3)
    columns = [BANDS_NM[:, None], *(weights(name) for name in LIGHTS.values()), index[:, 1:]]
    head = [
        "# CIE 1931 2-degree weights under CIE D65, A and LED-B3, and n, k of aluminium (Rakic 1995);",
        "# written by tests/reference/write_spectral_tables.py, which says how",
        ",".join(names),
    ]
    rows = [f"{row[0]:.0f}," + ",".join(f"{value:.7g}" for value in row[1:]) for row in np.hstack(columns)]
    OUT.write_text("\n".join(head + rows) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
