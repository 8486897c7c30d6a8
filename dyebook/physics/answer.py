"""What every bench sum hands back: numbers with their basis and cautions, and the one check of typed figures.

The one table of cautions: general information that gives way to data sheets, local codes and licensed practice.
"""

import math
from dataclasses import dataclass, fields
from datetime import datetime

from dyebook.errors import RecordError
from dyebook.record import FIELDS, check_value

__all__ = ["CAUTIONS", "EVENT_REMEDIES", "Answer", "cautions_for", "check_figure", "positive_field"]

SUPPLY_OFF = "Supply off before touching any contact, clamp or part: an arc can light the hydrogen over the tank."

CAUTIONS = {
    "general": (
        "General information, not a procedure. Follow the safety data sheets of your chemicals, local codes and "
        "permits, and a competent or licensed person. If in doubt, stop."
    ),
    "acid_into_water": (
        "Acid slowly into water, never water into acid; stir, in a vessel that stands heat and acid, with water "
        "already in it."
    ),
    "protection": (
        "Goggles and face shield, acid-proof gloves and apron; eyewash and running water within reach. "
        "Acid mist is harmful: ventilate."
    ),
    "cool_before_use": (
        "Let the mix cool to the working temperature before use: a hot electrolyte burns and pits the work."
    ),
    "cooled_portions": (
        "Add the acid in the portions given and let the mix cool between them; stop adding when it passes 50 °C."
    ),
    "hydrogen": (
        "The run gives off hydrogen, flammable from 4 % in air. Ventilate well, no flame, spark or smoking "
        "near the tank."
    ),
    "supply_off": SUPPLY_OFF,
    "mains": (
        "Mains and supply wiring: suitably qualified person only; residual-current protection, fused leads, dry hands."
    ),
    "aluminium_reads_as_acid": (
        "In a used bath dissolved aluminium raises the hydrometer as acid does: the true acid is lower. "
        "Titrate to know."
    ),
    "waste": (
        "Disposal by local rules: used acid, dye, seal and rinse hold acid and metals. Keep them in labelled "
        "containers and hand them to a licensed carrier, or act on "
        "the local authority's written permission; never release them to sewer, soil or water."
    ),
    "hot_bath": (
        "Hot bath: scald and steam. Lower parts slowly, cover the tank, never reach over it without protection."
    ),
    "nickel": (
        "Nickel salts sensitise the skin and are harmful to breathe; gloves, no eating or drinking, local exhaust."
    ),
    "nickel_skin": (
        "Worn on the skin or used with food: a nickel seal can leave nickel on the surface. Choose a nickel-free seal, "
        "or have release tested against the rules where it is sold."
    ),
    "dye": (
        "Treat dyes as hazardous as their safety data sheets say; some hold chromium, cobalt or copper. "
        "Avoid dust; not for contact with food."
    ),
    "caustic": (
        "Caustic burns eyes and skin and gives hydrogen with aluminium; gloves, face shield, ventilation, small loads."
    ),
    "desmut": "Desmutting acids may be oxidising or contain fluoride: specialist practice and their own data sheets.",
    "strip": "Stripping baths are for trained people with the right permits; no recipe is given here.",
    "trapped_acid": "Blind bores hold air and carry acid out: rinse them long, and expect acid to drip when handling.",
    "hot_electrolyte": "Hot acid and mist: keep back, supply off, let the tank cool before anything is moved.",
}

# what to do when a trace shows the event; every remedy at a contact begins with the supply
EVENT_REMEDIES = {
    "contact_lost": (
        f"{SUPPLY_OFF} Then lift the load, look for the pale part, clean the contact and clamp it firmly; "
        "a part whose film was interrupted is best stripped and run again."
    ),
    "intermittent_contact": (
        f"{SUPPLY_OFF} Then clean every contact and clamp, tighten the leads, and keep agitation from moving the parts."
    ),
    "short": f"{SUPPLY_OFF} Then look for a part or clamp that touches a cathode, and for a damaged lead.",
    "runaway": (
        f"{SUPPLY_OFF} Then let the tank cool; look for burnt edges and a poor contact; "
        "run again with less current density, a slower ramp and more agitation."
    ),
    "supply_limit": "The supply gave all it has: reckon the time for the current it really gives, or run fewer parts.",
    "power_break": (
        f"{SUPPLY_OFF} Then find why the current stopped; films run again after a break may blister, look "
        "before dyeing."
    ),
    "hot_electrolyte": (
        "Supply off; let the electrolyte cool to its working temperature and give it more cooling or a smaller load."
    ),
}


def cautions_for(*names):
    """Return the texts of the cautions called `names`, the general one last.

    Parameters
    ----------
    *names : str
        Keys of `CAUTIONS`.

    Returns
    -------
    tuple of str

    Raises
    ------
    ValueError
        If a caution is unknown.
    """
    unknown = [name for name in names if name not in CAUTIONS]
    if unknown:
        raise ValueError(f"unknown cautions {unknown}; known: {', '.join(CAUTIONS)}")
    return tuple(CAUTIONS[name] for name in dict.fromkeys((*names, "general")))


_DIGITS = 6


@dataclass(frozen=True, kw_only=True)
class Answer:
    """Ground of all bench results; a field with ``repr=False`` is for Python only.

    Attributes
    ----------
    basis : str
        The rule or the data the figures rest on.
    cautions : tuple of str
        What to take care of when acting on them.
    notes : tuple of str
        What else should be known about these figures.
    """

    basis: str
    cautions: tuple = ()
    notes: tuple = ()

    def to_dict(self):
        """Return the answer as plain numbers, texts and lists; None where nothing is known."""
        return {item.name: _plain(getattr(self, item.name)) for item in fields(self) if item.repr}


def _plain(value):
    if hasattr(value, "to_dict"):
        return value.to_dict()
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, dict):
        return {key: _plain(entry) for key, entry in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(entry) for entry in value]
    if value is None or isinstance(value, (str, bool, int)):
        return value
    number = float(value)
    return float(f"{number:.{_DIGITS}g}") if math.isfinite(number) else None


def check_figure(name, value, unit, lower, upper, hint=""):
    """Return `value` as a float if it is a possible figure.

    Parameters
    ----------
    name : str
        What the figure is, in the user's words.
    value : float
    unit : str
        As printed.
    lower, upper : float
        The figure must be above `lower` and not above `upper`.
    hint : str
        What to do otherwise.

    Returns
    -------
    float

    Raises
    ------
    RecordError
        If the figure is not a number or out of range.
    """
    try:
        number = float(value)
    except (TypeError, ValueError):
        raise RecordError(f"{name} is {value!r}; a number in {unit} is needed") from None
    if not lower < number <= upper:
        advice = hint or "check the figure and its unit"
        raise RecordError(f"{name} is {number:g} {unit}; it must be above {lower:g} and at most {upper:g}; {advice}")
    return number


def positive_field(name, value):
    """Return `value` of the field `name` in `dyebook.record.FIELDS` as a float above 0.

    Raises
    ------
    RecordError
        If it is not above 0, or outside the field's range.
    """
    number = check_value(name, value)
    if not number > 0:
        raise RecordError(f"{FIELDS[name].label} is {value!r}; a number above 0 is needed")
    return number
