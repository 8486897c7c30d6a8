"""What each cause is called, what to do about it, and the caution that goes with it."""

from dataclasses import dataclass

from dyebook.physics.cautions import CAUTIONS

__all__ = ["WORDS", "CauseWords"]

_OFF = CAUTIONS["supply_off"]
_GENERAL = CAUTIONS["general"]


@dataclass(frozen=True)
class CauseWords:
    """Name, remedy and caution of one cause."""

    name: str
    remedy: str
    caution: str


def _of(name, remedy, *cautions):
    return CauseWords(name, remedy, " ".join((*(CAUTIONS[key] for key in cautions), _GENERAL)))


WORDS = {
    "sound": _of("nothing wrong", "Nothing to do; if the shade is off all the same, ask for new settings."),
    "thin_film": _of(
        "thin film",
        "Measure the area again and reckon charge and time anew; run longer next time. A dyed part with too little "
        "film is accepted as it is, or stripped by a specialist and run again.",
        "supply_off", "strip",
    ),
    "contact_loss": _of(
        "contact lost in the run",
        f"{_OFF} Then clean the contact and clamp down to bright metal, clamp firmly, and never move a part once the "
        "current is on. The part is best stripped by a specialist and run again.",
        "hydrogen", "strip",
    ),
    "burn": _of(
        "burnt in the run",
        f"{_OFF} Let the tank cool. Run again with a slower ramp, less current density, more agitation and a firm "
        "contact.",
        "hot_electrolyte", "hydrogen", "strip",
    ),
    "pitting": _of(
        "pitting, as chloride gives",
        "Have chloride in the electrolyte and the rinse measured; make up with deionised water; keep rinses short and "
        "titanium racks insulated. Pits stay after stripping.",
        "protection", "waste",
    ),
    "weak_bath": _of(
        "weak or spent dye bath",
        "Dip a check coupon of known film; top the bath up by what its strength chart says, stir until dissolved.",
        "dye", "waste",
    ),
    "cold_bath": _of(
        "dye bath colder than set",
        "Check the bath with a second thermometer, stirred, at the depth of the part; wait until it is warm through.",
        "hot_bath",
    ),
    "short_dwell": _of(
        "too short in the dye",
        "If the part is wet, unsealed and was never dry: dip again for the rest of the time. Use a clock.",
        "hot_bath",
    ),
    "over_dyed": _of(
        "over-dyed",
        "Dip shorter or in a weaker bath and filter it; wipe wet, never rub dry. Taking dye out again is specialist "
        "work.",
        "dye",
    ),
    "ph_off": _of(
        "pH of the dye bath off",
        "Calibrate the meter, read the pH, and bring it back in small steps with what the dye's data sheet names.",
        "dye", "protection",
    ),
    "contaminated_bath": _of(
        "dirt or another dye in the bath",
        "Dip a check coupon and compare with the bath's line; filter; if the shade stays off, make up a new bath and "
        "keep the old one as waste. Rinse racks between baths.",
        "dye", "waste",
    ),
    "surface_contamination": _of(
        "grease, fingerprints or wax before the run",
        "Degrease again, look for water breaks, handle with clean gloves only. The part is stripped by a specialist "
        "and run again.",
        "caustic", "strip",
    ),
    "smut": _of(
        "smut left from etching",
        "Desmut until a white cloth wiped over the wet part stays clean; give difficult alloys longer.",
        "desmut", "strip",
    ),
    "wrong_dye": _of(
        "wrong dye",
        "Check the label of the bath and the batch card. The part is stripped by a specialist and run again.",
        "strip", "dye",
    ),
    "early_seal": _of(
        "pores closed before the dye",
        "Rinse cold, below 30 °C, and dye at once; never let parts stand in the rinse or dry.",
    ),
    "seal_bleed": _of(
        "dye bled out in the seal",
        "Rinse well before sealing; bring the seal to its temperature and pH; expect more bleed from lukewarm seals.",
        "hot_bath", "nickel",
    ),
    "seal_bloom": _of(
        "bloom from the seal",
        "Wipe gently with a soft wet cloth; then bring the seal's pH, water and time back to its data sheet.",
        "nickel", "hot_bath",
    ),
    "acid_bleed_out": _of(
        "acid bled out of a hole or seam",
        "Rinse holes and seams long and warm, turn the part while rinsing, plug holes before the run. Acid may still "
        "come out while handling.",
        "trapped_acid", "protection",
    ),
    "gas_pocket": _of(
        "gas or air trapped on the part",
        f"Hang it so that gas can leave: hollows upward, a little tilt, more agitation. {_OFF}",
        "hydrogen",
    ),
    "level_line": _of(
        "part stood out of the bath",
        "Fill up the bath and hang the part lower; the line stays, so the part is stripped by a specialist.",
        "strip",
    ),
    "alloy_mismatch": _of(
        "another alloy or temper",
        "Ask what the metal is; note it; keep alloys apart on the jig and teach the bath each of them.",
    ),
    "uneven_run": _of(
        "current spread unevenly over the load",
        f"Hang parts at even distance from the cathodes, shield edges, run slower. {_OFF}",
        "hydrogen",
    ),
}  # fmt: skip
