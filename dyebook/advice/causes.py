"""The one table of causes: what each predicts for every kind of evidence.

A row says how often a batch with that cause shows each state of each kind of evidence; what a row does not say is as in
a sound batch (`USUAL`). The figures are shares among batches, rounded judgements that follow the trade's defect tables
(metal-finishing handbooks and published defect lists where `source` is "S", common practice without a source where it
is "P"); no figure was fitted to a single shop. What is not at hand says nothing. What a cause is called and what to do
about it stands in `dyebook.report.trouble`.
"""

from dataclasses import dataclass

from dyebook.notebook import Note

__all__ = ["CAUSES", "FLAW_KINDS", "IDS", "STATES", "USUAL", "Row", "Seen", "shares", "sure"]


@dataclass(frozen=True)
class Seen:
    """One kind of evidence."""

    kind: str  # key of the table of causes
    # how likely what was seen is under each state, in the table's order, up to a factor. For a kind of flaw: on how
    # many parts it was seen, of how many looked at, and the largest ΔE00.
    likelihoods: tuple
    note: Note  # what was seen


def sure(kind: str, state: str, note: Note) -> Seen:
    """Return evidence whose state is beyond doubt."""
    return Seen(kind, tuple(float(name == state) for name in STATES[kind]), note)


STATES = {
    # what happened to the colour that the settings should give: the names of `changes.CHANGES`
    "colour": ("as set", "thinner film", "weaker bath", "colder bath", "shorter dip", "less taken up", "a little bled",
               "more dye", "pH moved", "hue shifted", "foreign dye", "another dye", "greyed", "other metal", "veiled",
               "bare in places"),
    "film": ("far too thin", "thin", "as planned", "thick"),
    "charge": ("far short", "short", "as planned", "over"),
    "event": ("none", "contact", "surge", "break", "hot"),
    # part to part in one photo
    "parts": ("alike", "one pale", "graded", "spread"),
    # the local flaws: how many, how large, where and of what form the clearest is
    "count": ("one", "few", "many"),
    "extent": ("small", "middle", "large"),
    "place": ("end", "edge", "inside"),
    "form": ("round", "long", "crescent"),
    # of several kinds of local flaw, the one there is most of
    "leads": ("spot", "streak", "pale_zone", "pit"),
    "rinse": ("cool", "warm", "hot"),
    "wait": ("short", "long", "very long"),
    "temp": ("colder", "usual", "warmer"),
    "ph": ("usual", "off"),
    "alloy": ("usual", "other", "difficult"),
    "dwell": ("short", "usual", "long"),
    "even": ("even", "a little uneven", "uneven", "very uneven"),
    # the bath's dips just before this one, against what they should have given
    "before": ("as usual", "weaker", "stronger", "off too"),
}  # fmt: skip
FLAW_KINDS = ("spot", "streak", "pale_zone", "gradient", "pit", "two_tone")
USUAL = {
    "colour": {"as set": 0.97, "a little bled": 0.01, "more dye": 0.01, "other metal": 0.01},
    "film": (0.01, 0.09, 0.84, 0.06),
    "charge": (0.02, 0.10, 0.78, 0.10),
    "event": (0.94, 0.02, 0.01, 0.02, 0.01),
    "parts": (0.97, 0.01, 0.01, 0.01),
    "count": (0.70, 0.25, 0.05),
    "extent": (0.60, 0.30, 0.10),
    "place": (0.25, 0.30, 0.45),
    "form": (0.60, 0.30, 0.10),
    "leads": (0.35, 0.25, 0.20, 0.20),
    "rinse": (0.90, 0.08, 0.02),
    "wait": (0.86, 0.11, 0.03),
    "temp": (0.04, 0.92, 0.04),
    "ph": (0.97, 0.03),
    "alloy": (0.88, 0.08, 0.04),
    "dwell": (0.06, 0.88, 0.06),
    "even": (0.84, 0.13, 0.028, 0.002),
    "before": (0.88, 0.06, 0.03, 0.03),
    # flaws reported on a part that has none of that kind
    "spot": 0.04, "streak": 0.03, "pale_zone": 0.03, "gradient": 0.03, "pit": 0.03, "two_tone": 0.02,
}  # fmt: skip


@dataclass(frozen=True)
class Row:
    """One cause."""

    prior: float  # how often it is met, relative to the others, before anything is known
    # kind of evidence -> shares of its states (of the colour's changes only those that happen), or, for a kind of flaw,
    # the share that shows it
    predicts: dict
    source: str = "P"  # {"S", "P"}
    sealed_only: bool = False  # can only happen in the seal
    several: float = 0.4  # how often its flaws are on several parts of a batch, not on one alone


_THIN = (0.55, 0.33, 0.11, 0.01)
_SHORT = (0.48, 0.20, 0.28, 0.04)
_UNEVEN = (0.45, 0.32, 0.17, 0.06)
_PALE_BEFORE = (0.35, 0.57, 0.02, 0.06)


CAUSES = {
    "sound": Row(6.0, {}),
    # E-01: whole part pale, hue about right; charge short unless the area was wrong
    "thin_film": Row(1.0, {"colour": {"thinner film": 0.85, "as set": 0.15}, "film": _THIN, "charge": _SHORT,
                           "event": (0.80, 0.03, 0.02, 0.13, 0.02)}),
    # E-02, E-03: pale at the clamp, one place on the jig pale, current down or voltage up
    "contact_loss": Row(1.0, {"colour": {"thinner film": 0.70, "less taken up": 0.05, "as set": 0.20,
                                         "bare in places": 0.05},
                              "film": (0.50, 0.28, 0.20, 0.02), "charge": (0.35, 0.25, 0.38, 0.02),
                              "event": (0.14, 0.78, 0.02, 0.04, 0.02), "pale_zone": 0.54, "gradient": 0.10,
                              "spot": 0.08, "even": (0.62, 0.26, 0.09, 0.03), "parts": (0.34, 0.55, 0.04, 0.07),
                              "count": (0.82, 0.15, 0.03), "extent": (0.12, 0.48, 0.40), "place": (0.55, 0.27, 0.18),
                              "form": (0.62, 0.30, 0.08), "leads": (0.20, 0.15, 0.55, 0.10)}, "S",
                        several=0.1),
    # E-04: bare or powdery, ringed dark; current runs away
    "burn": Row(1.0, {"colour": {"as set": 0.38, "thinner film": 0.12, "greyed": 0.28, "bare in places": 0.10,
                                 "more dye": 0.08, "other metal": 0.04},
                      "film": (0.16, 0.22, 0.48, 0.14), "charge": (0.05, 0.10, 0.50, 0.35),
                      "event": (0.14, 0.03, 0.76, 0.02, 0.05), "spot": 0.50, "pit": 0.40, "pale_zone": 0.24,
                      "two_tone": 0.08, "even": (0.36, 0.34, 0.23, 0.07), "count": (0.36, 0.42, 0.22),
                      "extent": (0.30, 0.50, 0.20), "place": (0.36, 0.40, 0.24), "form": (0.62, 0.24, 0.14),
                      "leads": (0.40, 0.08, 0.12, 0.40), "parts": (0.76, 0.08, 0.03, 0.13)},
                "S", several=0.3),
    # E-05: pits all over, the rest as it should be
    "pitting": Row(1.0, {"colour": {"as set": 0.70, "bare in places": 0.17, "greyed": 0.10, "thinner film": 0.03},
                         "pit": 0.82, "spot": 0.26, "even": (0.62, 0.26, 0.09, 0.03), "count": (0.22, 0.26, 0.52),
                         "extent": (0.68, 0.26, 0.06), "leads": (0.10, 0.03, 0.03, 0.84)}, "S", several=0.75),
    # E-14: film right, paler along the bath's own line
    "weak_bath": Row(1.0, {"colour": {"weaker bath": 0.88, "less taken up": 0.06, "as set": 0.06},
                           "before": _PALE_BEFORE}, "S"),
    "cold_bath": Row(1.0, {"colour": {"colder bath": 0.88, "less taken up": 0.06, "as set": 0.06},
                           "temp": (0.18, 0.80, 0.02), "before": (0.78, 0.16, 0.02, 0.04)}),
    "short_dwell": Row(1.0, {"colour": {"shorter dip": 0.90, "less taken up": 0.05, "as set": 0.05},
                             "dwell": (0.14, 0.83, 0.03), "parts": (0.88, 0.04, 0.04, 0.04)}),
    # E-11: deeper than asked, a metallic sheen that greys or turns the hue
    "over_dyed": Row(1.0, {"colour": {"more dye": 0.84, "hue shifted": 0.04, "other metal": 0.04, "as set": 0.08},
                           "dwell": (0.02, 0.70, 0.28), "before": (0.70, 0.02, 0.24, 0.04)}),
    # E-15: hue and depth shift on a normal film
    "ph_off": Row(1.0, {"colour": {"pH moved": 0.46, "hue shifted": 0.40, "less taken up": 0.06, "as set": 0.08},
                        "ph": (0.52, 0.48), "before": (0.52, 0.22, 0.06, 0.20)}, "S"),
    # D-12, D-17: dirt or foreign dye leaves the line, mostly greyer
    "contaminated_bath": Row(1.0, {"colour": {"foreign dye": 0.86, "greyed": 0.05, "less taken up": 0.04,
                                              "hue shifted": 0.03, "as set": 0.02},
                                   "spot": 0.06, "before": (0.35, 0.05, 0.05, 0.55)}),
    # E-06: pale prints with sharp edges, and smears, which are long
    "surface_contamination": Row(1.0, {"colour": {"as set": 0.60, "bare in places": 0.22, "less taken up": 0.08,
                                                  "greyed": 0.10},
                                       "spot": 0.74, "streak": 0.25, "pale_zone": 0.14, "even": _UNEVEN,
                                       "leads": (0.70, 0.19, 0.08, 0.03),
                                       "count": (0.32, 0.48, 0.20), "extent": (0.34, 0.48, 0.18),
                                       "place": (0.20, 0.34, 0.46)}, "S", several=0.45),
    # E-07: grey cast, mottled
    "smut": Row(1.0, {"colour": {"greyed": 0.82, "other metal": 0.06, "foreign dye": 0.02, "as set": 0.10},
                      "alloy": (0.48, 0.14, 0.38), "spot": 0.20, "streak": 0.06, "even": (0.36, 0.34, 0.23, 0.07),
                      "count": (0.34, 0.38, 0.28), "leads": (0.50, 0.30, 0.10, 0.10)}, "S", several=0.65),
    # E-13: hue far off, film right
    "wrong_dye": Row(1.0, {"colour": {"another dye": 0.98, "as set": 0.02}, "before": (0.80, 0.06, 0.04, 0.10)}),
    # E-16, D-14: film thick enough, takes up little; blotchy where hot. Pores close in a hot rinse, or by standing:
    # that dyeing weakens with the time in water is published (Kuroda and Uji 1967), how fast for a shop's film is not
    "early_seal": Row(1.0, {"colour": {"less taken up": 0.92, "as set": 0.06, "other metal": 0.02},
                            "rinse": (0.22, 0.28, 0.50), "wait": (0.45, 0.22, 0.33), "spot": 0.14,
                            "two_tone": 0.05, "gradient": 0.08, "pale_zone": 0.08,
                            "even": (0.62, 0.25, 0.10, 0.03)}, "S"),
    # E-18
    "seal_bleed": Row(1.0, {"colour": {"a little bled": 0.62, "less taken up": 0.16, "hue shifted": 0.16,
                                       "as set": 0.06},
                            "streak": 0.08}, "S", sealed_only=True),
    # E-17: whitish veil
    "seal_bloom": Row(1.0, {"colour": {"veiled": 0.88, "as set": 0.06, "greyed": 0.04, "a little bled": 0.02},
                            "spot": 0.10, "pale_zone": 0.08, "even": (0.62, 0.26, 0.09, 0.03)}, "S", sealed_only=True),
    # E-09, E-10: streaks and halos from holes and seams
    "acid_bleed_out": Row(1.0, {"colour": {"as set": 0.88, "bare in places": 0.09, "a little bled": 0.03},
                                "streak": 0.70, "spot": 0.36, "pale_zone": 0.10, "even": _UNEVEN,
                                "count": (0.46, 0.44, 0.10), "place": (0.14, 0.28, 0.58),
                                "form": (0.34, 0.60, 0.06), "leads": (0.30, 0.58, 0.08, 0.04)}, "S", several=0.35),
    # E-08: round or crescent, pale
    "gas_pocket": Row(1.0, {"colour": {"as set": 0.86, "bare in places": 0.11, "less taken up": 0.03},
                            "pale_zone": 0.48, "spot": 0.52, "charge": (0.02, 0.14, 0.76, 0.08), "even": _UNEVEN,
                            "count": (0.66, 0.29, 0.05), "extent": (0.28, 0.56, 0.16), "place": (0.14, 0.34, 0.52),
                            "form": (0.60, 0.07, 0.33), "leads": (0.42, 0.08, 0.46, 0.04)}, several=0.3),
    # half out of the bath: two halves with a level edge
    "level_line": Row(1.0, {"colour": {"as set": 0.74, "less taken up": 0.16, "bare in places": 0.10},
                            "two_tone": 0.80, "gradient": 0.14, "pale_zone": 0.10, "streak": 0.05,
                            "even": (0.40, 0.34, 0.19, 0.07), "extent": (0.15, 0.30, 0.55),
                            "place": (0.66, 0.20, 0.14)}, several=0.7),
    # E-19: lots differ in L* and b*; the hue of the metal shows
    "alloy_mismatch": Row(1.0, {"colour": {"other metal": 0.66, "greyed": 0.14, "thinner film": 0.10, "as set": 0.10},
                                "film": (0.15, 0.35, 0.46, 0.04), "alloy": (0.30, 0.42, 0.28),
                                "parts": (0.52, 0.07, 0.03, 0.38)}, "S"),
    # E-12: gradient with distance from the cathode, along a part or from part to part
    "uneven_run": Row(1.0, {"colour": {"as set": 0.76, "thinner film": 0.08, "less taken up": 0.08, "more dye": 0.08},
                            "gradient": 0.68, "pale_zone": 0.14, "two_tone": 0.08, "film": (0.03, 0.16, 0.70, 0.11),
                            "parts": (0.38, 0.08, 0.38, 0.16), "even": (0.48, 0.31, 0.13, 0.08)}),
}  # fmt: skip

IDS = tuple(CAUSES)


def shares(cause: str, kind: str) -> tuple[float, ...] | float:
    """Return what a cause predicts for one kind of evidence: shares of its states, or of parts with such a flaw."""
    predicted = CAUSES[cause].predicts.get(kind, USUAL[kind])
    return tuple(predicted.get(state, 0.0) for state in STATES[kind]) if isinstance(predicted, dict) else predicted
