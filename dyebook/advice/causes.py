"""The one table of causes: what each predicts for every kind of evidence.

A row says how often a batch with that cause shows each state of each kind of evidence; what a row does not say is as in
a sound batch (`USUAL`). The figures are shares among batches, rounded judgements that follow the trade's defect tables
(metal-finishing handbooks and published defect lists where `source` is "S", common practice without a source where it
is "P"); no figure was fitted to a single shop. Whatever is not at hand says nothing.
"""

from dataclasses import dataclass

__all__ = ["CAUSES", "FLAW_KINDS", "IDS", "STATES", "USUAL", "Row", "shares"]

STATES = {
    # along the bath's own line of depth, from what the settings should give (limits in `evidence`)
    "depth": ("far paler", "paler", "as expected", "deeper", "far deeper"),
    # beside that line
    "beside": ("on the line", "hue a little off", "hue off", "hue far off", "greyer", "whiter"),
    "film": ("far too thin", "thin", "as planned", "thick"),
    "charge": ("far short", "short", "as planned", "over"),
    "event": ("none", "contact", "surge", "break", "hot"),
    "parts": ("alike", "one pale", "spread"),
    "rinse": ("cool", "warm", "hot"),
    "ph": ("usual", "off"),
    "alloy": ("usual", "other", "difficult"),
    "dwell": ("short", "usual", "long"),
    "even": ("even", "uneven"),
}
FLAW_KINDS = ("spot", "streak", "pale_zone", "gradient", "pit", "two_tone")
USUAL = {
    "depth": (0.01, 0.07, 0.84, 0.07, 0.01),
    "beside": (0.88, 0.06, 0.007, 0.003, 0.03, 0.02),
    "film": (0.01, 0.12, 0.80, 0.07),
    "charge": (0.02, 0.10, 0.78, 0.10),
    "event": (0.92, 0.02, 0.02, 0.02, 0.02),
    "parts": (0.93, 0.03, 0.04),
    "rinse": (0.90, 0.08, 0.02),
    "ph": (0.95, 0.05),
    "alloy": (0.88, 0.08, 0.04),
    "dwell": (0.06, 0.88, 0.06),
    "even": (0.94, 0.06),
    # flaws reported on a part that has none of that kind
    "spot": 0.04, "streak": 0.04, "pale_zone": 0.04, "gradient": 0.04, "pit": 0.03, "two_tone": 0.03,
}  # fmt: skip


@dataclass(frozen=True)
class Row:
    """One cause.

    Attributes
    ----------
    prior : float
        How often it is met, relative to the others, before anything is known.
    predicts : dict
        Kind of evidence -> shares of its states (or, for a kind of flaw, the share that shows it).
    source : {"S", "P"}
    sealed_only : bool
        Can only happen in the seal.
    """

    prior: float
    predicts: dict
    source: str = "P"
    sealed_only: bool = False


_PALE = (0.36, 0.52, 0.10, 0.015, 0.005)
_THIN = (0.58, 0.32, 0.09, 0.01)
_SHORT = (0.50, 0.18, 0.28, 0.04)


CAUSES = {
    "sound": Row(3.5, {}),
    # E-01: whole part pale, hue about right; charge short unless the area was wrong
    "thin_film": Row(1.0, {"depth": (0.25, 0.50, 0.22, 0.02, 0.01), "film": _THIN, "charge": _SHORT,
                           "event": (0.80, 0.03, 0.02, 0.13, 0.02)}),
    # E-02, E-03: pale at the clamp, one place on the jig pale, current down or voltage up
    "contact_loss": Row(1.0, {"depth": (0.35, 0.40, 0.22, 0.02, 0.01), "film": (0.55, 0.28, 0.15, 0.02),
                              "charge": (0.35, 0.25, 0.38, 0.02), "event": (0.16, 0.76, 0.02, 0.04, 0.02),
                              "pale_zone": 0.48, "gradient": 0.10, "spot": 0.08, "even": (0.65, 0.35),
                              "parts": (0.40, 0.50, 0.10)}, "S"),
    # E-04: bare or powdery, ringed dark; current runs away
    "burn": Row(1.0, {"depth": (0.12, 0.28, 0.38, 0.18, 0.04), "beside": (0.58, 0.09, 0.02, 0.01, 0.22, 0.08),
                      "film": (0.20, 0.24, 0.46, 0.10), "charge": (0.05, 0.10, 0.50, 0.35),
                      "event": (0.14, 0.03, 0.76, 0.02, 0.05), "spot": 0.40, "pit": 0.35, "pale_zone": 0.22,
                      "two_tone": 0.12, "even": (0.40, 0.60)}, "S"),
    # E-05: pits all over, the rest as it should be
    "pitting": Row(1.0, {"depth": (0.02, 0.15, 0.74, 0.07, 0.02), "beside": (0.78, 0.05, 0.01, 0.01, 0.08, 0.07),
                         "pit": 0.75, "spot": 0.28, "even": (0.65, 0.35)}, "S"),
    # E-14: film right, paler along the bath's own line
    "weak_bath": Row(1.0, {"depth": _PALE, "beside": (0.85, 0.10, 0.01, 0.01, 0.02, 0.01)}, "S"),
    "cold_bath": Row(1.0, {"depth": _PALE, "beside": (0.86, 0.09, 0.01, 0.01, 0.02, 0.01)}),
    "short_dwell": Row(1.0, {"depth": _PALE, "dwell": (0.14, 0.83, 0.03), "parts": (0.88, 0.04, 0.08)}),
    # E-11: deeper than asked, a metallic sheen that greys or turns the hue
    "over_dyed": Row(1.0, {"depth": (0.005, 0.015, 0.14, 0.42, 0.42), "beside": (0.60, 0.19, 0.04, 0.01, 0.11, 0.05),
                           "dwell": (0.02, 0.70, 0.28)}),
    # E-15: hue and depth shift on a normal film
    "ph_off": Row(1.0, {"depth": (0.20, 0.42, 0.20, 0.12, 0.06), "beside": (0.50, 0.33, 0.07, 0.02, 0.05, 0.03),
                        "ph": (0.55, 0.45)}, "S"),
    # D-12, D-17: dirt or foreign dye leaves the line, mostly greyer
    "contaminated_bath": Row(1.0, {"depth": (0.05, 0.18, 0.36, 0.28, 0.13),
                                   "beside": (0.12, 0.26, 0.19, 0.13, 0.27, 0.03),
                                   "spot": 0.08}),
    # E-06: pale prints and smears with sharp edges
    "surface_contamination": Row(1.0, {"depth": (0.03, 0.35, 0.58, 0.03, 0.01),
                                       "beside": (0.76, 0.05, 0.01, 0.01, 0.09, 0.08), "spot": 0.72, "streak": 0.16,
                                       "pale_zone": 0.12, "even": (0.45, 0.55)}, "S"),
    # E-07: grey cast, mottled
    "smut": Row(1.0, {"depth": (0.03, 0.16, 0.46, 0.28, 0.07), "beside": (0.20, 0.09, 0.02, 0.01, 0.57, 0.11),
                      "alloy": (0.48, 0.14, 0.38), "spot": 0.20, "even": (0.42, 0.58)}, "S"),
    # E-13: hue far off, film right
    "wrong_dye": Row(1.0, {"depth": (0.20, 0.22, 0.22, 0.20, 0.16), "beside": (0.02, 0.04, 0.12, 0.70, 0.08, 0.04)}),
    # E-16: film thick enough, takes up little; blotchy where hot
    "early_seal": Row(1.0, {"depth": (0.40, 0.48, 0.10, 0.015, 0.005), "rinse": (0.22, 0.30, 0.48),
                            "spot": 0.14, "two_tone": 0.06, "gradient": 0.10, "even": (0.58, 0.42)}, "S"),
    # E-18
    "seal_bleed": Row(1.0, {"depth": (0.20, 0.56, 0.21, 0.02, 0.01), "beside": (0.73, 0.19, 0.02, 0.01, 0.03, 0.02),
                            "streak": 0.10}, "S", sealed_only=True),
    # E-17: whitish veil
    "seal_bloom": Row(1.0, {"depth": (0.20, 0.44, 0.31, 0.04, 0.01), "beside": (0.36, 0.15, 0.01, 0.01, 0.35, 0.12),
                            "spot": 0.12, "even": (0.60, 0.40)}, "S", sealed_only=True),
    # E-09, E-10: streaks and halos from holes and seams
    "acid_bleed_out": Row(1.0, {"depth": (0.02, 0.12, 0.82, 0.03, 0.01), "streak": 0.66, "spot": 0.34,
                                "even": (0.60, 0.40)}, "S"),
    # E-08: round or crescent, pale
    "gas_pocket": Row(1.0, {"depth": (0.02, 0.12, 0.82, 0.03, 0.01), "pale_zone": 0.44, "spot": 0.48,
                            "charge": (0.02, 0.14, 0.76, 0.08), "even": (0.65, 0.35)}),
    # half out of the bath: two halves with a level edge
    "level_line": Row(1.0, {"depth": (0.04, 0.24, 0.68, 0.03, 0.01), "two_tone": 0.75, "gradient": 0.12,
                            "streak": 0.08, "even": (0.55, 0.45)}),
    # E-19: lots differ in L* and b*; the hue of the metal shows
    "alloy_mismatch": Row(1.0, {"depth": (0.06, 0.28, 0.34, 0.24, 0.08), "beside": (0.38, 0.27, 0.06, 0.01, 0.23, 0.05),
                                "film": (0.20, 0.35, 0.42, 0.03), "alloy": (0.35, 0.40, 0.25),
                                "parts": (0.54, 0.10, 0.36)}, "S"),
    # E-12: gradient with distance from the cathode
    "uneven_run": Row(1.0, {"depth": (0.02, 0.14, 0.70, 0.12, 0.02), "gradient": 0.72, "pale_zone": 0.12,
                            "film": (0.03, 0.16, 0.66, 0.15), "parts": (0.48, 0.14, 0.38), "even": (0.50, 0.50)}),
}  # fmt: skip

IDS = tuple(CAUSES)


def shares(cause, kind):
    """Return what a cause predicts for one kind of evidence: shares of its states, or of parts with such a flaw."""
    return CAUSES[cause].predicts.get(kind, USUAL[kind])
