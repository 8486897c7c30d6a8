"""The one table of cautions: general information that gives way to data sheets, local codes and licensed practice."""

__all__ = ["CAUTIONS", "EVENT_REMEDIES", "cautions_for"]

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
