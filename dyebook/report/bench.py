"""The bench in words and figures: answers with basis, notes and cautions, runs, steps, and events of a log.

`SENTENCES` words every `Note` of `dyebook.physics`; `CAUTIONS` among them are general information that gives way to
data sheets, local codes and licensed practice. A figure's label and units follow from its name.
"""

import math

from dyebook.record import FIELDS
from dyebook.report.words import COVERAGE, PLUS_MINUS, clock_text, figure_text, minutes_text, moment_text
from dyebook.units import moment_of

__all__ = [
    "CAUTIONS", "EVENT_REMEDIES", "SENTENCES", "anodised_words", "answer_lines", "answer_page", "answer_rows",
    "detail_lines", "event_line", "events_count_text", "few_and_rest", "limit_text", "note_text", "now_words",
    "plan_words", "preparation_words", "ratio_text", "run_line", "run_title", "share_text", "steps_page",
    "wet_step_text",
]  # fmt: skip

SUPPLY_OFF = "Supply off before touching any contact, clamp or part: an arc can light the hydrogen over the tank."

CAUTIONS = {
    "general": (
        "General information, not a procedure. Follow the safety data sheets of your chemicals, local codes and "
        "permits, and a competent or licensed person. If in doubt, stop."
    ),
    "acid_into_water": (
        "Sulphuric acid slowly into water, never water into acid; stir, in a vessel that stands heat and acid, with "
        "the water already in it."
    ),
    "protection": (
        "Goggles and face shield, acid-proof gloves and apron; eyewash and running water within reach. "
        "Acid mist is harmful: ventilate."
    ),
    "cool_before_use": (
        "Let the mix cool to the working temperature before use: a hot electrolyte burns and pits the work."
    ),
    "cooled_portions": (
        "Begin with water of 20 °C or colder, add the acid in the portions given and let the mix cool back to that "
        "between them; stop adding when it passes 50 °C."
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
        "Nickel salts can cause cancer when breathed and sensitise skin and lungs: no mist or dust, local exhaust, "
        "gloves, no eating or drinking, as their safety data sheet says."
    ),
    "nickel_skin": (
        "Worn on the skin or used with food: a nickel seal can leave nickel on the surface. Choose a nickel-free seal, "
        "or have release tested against the rules where it is sold."
    ),
    "fluoride": (
        "Fluoride, as in cold seals and some titrations, is a poison when swallowed or through the skin; with acid it "
        "gives hydrogen fluoride. Gloves; keep acids away from a seal; its data sheet's first aid within reach."
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
    "trapped_acid": (
        "Blind bores, threads and folds hold air and carry acid out: flush them cold, neutralise (bicarbonate; it "
        "foams), rinse again, and expect acid to drip when handling."
    ),
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
    "supply_limit": "The supply gave all it has: plan the time for the current it really gives, or run fewer parts.",
    "power_break": (
        f"{SUPPLY_OFF} Then find why the current stopped; films run again after a break may blister, look "
        "before dyeing."
    ),
    "hot_electrolyte": (
        "Supply off; let the electrolyte cool to its working temperature and give it more cooling or a smaller load."
    ),
}


def _count(count, one, many=None):
    return f"{count} {one if count == 1 else many or one + 's'}"


def _film_model(where, outside):
    at = "for each run" if where is None else "at {:.1f} °C and {:.3g} A/dm²".format(*where)
    far = ", outside their 15 to 30 °C and 1 to 4 A/dm²" if outside else ""
    return f"720 rule corrected for temperature, density and time by published AA6063 films (2008), {at}{far}"


def _own_gauge(count, prior):
    if not count:
        return f"no gauge readings yet: {prior}"
    return f"worked out from your {_count(count, 'gauge reading')} and the {prior.removeprefix('the ')}"


def _own_checks(count, prior, per_day):
    alone = f"; on its own it loses {100 * per_day:.1g} % a day" if per_day > 1e-4 else ""
    return f"worked out from your {_count(count, 'strength check')} and {prior}{alone}"


def _off_window(name, value, lower, upper):
    row = FIELDS[name]
    unit, side = f" {row.unit}".rstrip(), "below" if value < lower else "above"
    return f"{row.label} {value:g}{unit} is {side} what this dye is kept at, {lower:g}–{upper:g}{unit}"


def _acid_mix(sg, sg_temp_c):
    source = "wt % as given" if sg is None else f"SG 20/20 of {sg:g} read at {sg_temp_c:g} °C"
    return (
        f"mass balance with contraction, handbook density at 20 °C (checked with Myhre 1998), {source}; "
        "rise from Thomsen's heat of dilution, good to about 4 °C"
    )


def _dissolved_aluminium(own_point):
    origin = "your own discard point" if own_point else "12 g/L of aluminium"
    return f"Faraday's law with about a third of the oxidised metal dissolving, drag-out neglected; {origin}"


def _tank_heat(loss_w_per_k):
    loss = f"{loss_w_per_k:g} W/K lost to the room" if loss_w_per_k else "no heat lost to the room"
    return (
        f"joule heat at the tank plus heat of reaction less the hydrogen's share (5.1 kJ per A·h), {loss}; growth by "
        "published films"
    )


def _change(dx, dv, span_min):
    speed = "at once" if span_min < 0.6 else f"over {span_min:.1f} min"
    volts = "" if dv is None else f", voltage {_percent(dv)}"
    return f"current {_percent(dx)}{volts} {speed}"


_FAR = math.log(1000)  # a larger change is a slip of the logger, and its size says nothing


def _percent(log_change):
    rounded = round(100 * math.expm1(min(log_change, _FAR)))
    return f"{rounded:+d} %" if rounded else "unchanged"


# what bench answers rest on, note, and saw in a log: the `Note`s of `dyebook.physics`
SENTENCES = CAUTIONS | {
    "plain_rule": "{rule} rule ({rate:.4f} µm per A·min/dm²), electrolyte temperature not known",
    "alloy_rate": "{rate}; alloy {alloy} taken as {factor:g} ({source})",
    "film_model": _film_model,
    "own_gauge": _own_gauge,
    "film_classes": (
        "ISO 7599: the average reaches the class, no place lies below four fifths of it; a yes or no is 95 in 100 sure"
    ),
    "one_place": "one place says nothing of the thinnest one: read several, recesses and the far side among them",
    "gauge_far": (
        "the gauge reads {film_measured_um:.3g} µm where {film_um:.3g} µm was expected: was it this run, was the gauge "
        "zeroed on bare metal of this alloy, did the part lose its contact?"
    ),
    "runs_left_out": lambda count: (
        f"{_count(count, 'run is', 'runs are')} left out: the film is far from what the charge makes; "
        "look for a lost contact"
    ),
    "unusual_density": "{a_per_dm2:.3g} A/dm² is outside the usual {low:g} to {high:g} A/dm² for films that are dyed",
    "beyond_films": (
        "{minutes:.3g} min at {a_per_dm2:.3g} A/dm² is far from the published films (1 to 4 A/dm², 12 to 60 min): a "
        "guess; run a test piece and gauge it"
    ),
    "long_run": "long runs grow soft, powdery film: watch the temperature",
    "alloy_note": "{alloy}: {note}",
    "water_broke": "the rinse water broke at the last water-break test: clean the parts again and test them again",
    "odd_minutes": "{minutes:.0f} min is far above the {usual_min:.0f} min that hardly any pass; check the figure",
    "odd_electrolyte": "the electrolyte is at {temp_c:g} °C, outside the usual {low:g} to {high:g} °C",
    "film_short": (
        "the film is {film_um:.2g} µm where {planned_film_um:.3g} µm was planned: let the run go on, or drop it if it "
        "was a mistake"
    ),
    "run_long": (
        "after {minutes:.0f} min the film would be {film_um:.3g} µm where {planned_film_um:.3g} µm was planned: was "
        "the run left on in the book? Give the minutes after which the current went off"
    ),
    "run_not_ended": "run {run} is still on in the book; end it first, so that its film is known",
    "seal_short": lambda minutes, planned_min: (
        f"the seal's clock says {minutes_text(minutes)}, and {minutes_text(planned_min)} were planned: a film sealed "
        "too short stains and fades. Seal it on, or give the true minutes under the seal's own time"
    ),
    "in_the_future": "{at} lies in the future; check the date and the clock of this device",
    "supply_too_small": "the supply stops at {limit_a:g} A: {wanted_a:.3g} A were wanted",
    "paused": (
        "paused: its end is worked out as if the current came back now; films run again after a break may blister"
    ),
    "tank_heat": _tank_heat,
    "too_warm": (
        "the tank would end at {end_temp_c:.1f} °C, above {allowed_temp_c:g} °C: cool it, or run a smaller load"
    ),
    "would_boil": (
        "the electrolyte would reach {boiling_c:g} °C and boil: never run it so; cool it, or run a smaller load"
    ),
    "plain_shapes": "closed formulas of plain shapes, roughness not counted",
    "deep_bore": lambda labels, diameters: (
        f"{', '.join(labels)}: deeper than {diameters:g} diameters hardly any current reaches in, so there is little "
        "film and the outside gets more; count on bare metal there, or give it an inner cathode"
    ),
    "blind_bore": lambda labels: f"blind bore in {', '.join(labels)}: air may stay in it, acid comes out of it later",
    "acid_mix": _acid_mix,
    "parts_by_volume": (
        "by volume, 1 part of 96 % acid to 10 of water is 164 g/L, while 1 part of battery acid (SG 1.280) to 1 of "
        "water is 239 g/L: different baths, so go by g/L. This bath is 1 : {water_parts:.1f}"
    ),
    "unusual_acid_strength": "{g_per_l:g} g/L is outside the usual {low:g} to {high:g} g/L for films that are dyed",
    "hydrometer": lambda aluminium_g_per_l: (
        "handbook density at 20 °C, reading brought to 20 °C with the slope of Myhre 1998; "
        + ("fresh acid assumed" if aluminium_g_per_l is None else "less about 10 g/L for each g/L of aluminium")
    ),
    "titration": (
        "two soda per molecule of acid, three per atom of aluminium: with fluoride the free acid alone, without it both"
    ),
    "dissolved_aluminium": _dissolved_aluminium,
    "make_up": "mass = strength × volume; dissolve in warm soft water first, then fill to the line",
    "unusual_dye_strength": "{dye_g_per_l:g} g/L is outside the usual 0.25 to 10 g/L (handbook)",
    "two_dyes_compete": (
        "two dyes compete for the same places, and spend unevenly: try a coupon, and check the hue as it ages"
    ),
    "estimated_strength": lambda by_rule_of_thumb: (
        "worked out from area dyed, uptake, evaporation and drag-out"
        + (" (uptake: rule of thumb)" if by_rule_of_thumb else "")
    ),
    "measured_strength": "measured strength, 5 % uncertain",
    "too_strong": "the bath is stronger than wanted: dip shorter, or store part of it and fill with water",
    "level": "volume over area, with {margin_mm:g} mm of cover",
    "stands_out": "a part that stands out gets a level line: fill up before dyeing",
    "own_limits": "your own limits",
    "no_limit": "no limit set: watch the check coupon",
    "off_window": _off_window,
    "own_checks": _own_checks,
    "seal_test": "ISO 2143: acid, then a drop of dye; the stain grades 0 to 5, {most} or less passes",
    "seal_test_thin": "a film of {film_um:.2g} µm is outside the test, which needs {least_um:g} µm: it cannot tell",
    "seal_test_alloy": "{alloy} holds more copper or silicon than the test allows: it cannot tell",
    "seal_test_nickel": "seals that hold nickel take little dye even where they are poor: a pass says less",
    "seal_test_deep": "not for deep shades, where a stain cannot be seen: test an undyed piece of the same load",
    "seal_rate": lambda min_per_um, source: f"{min_per_um:g} min per µm, {source or 'your own figure'}",
    "nickel_worn": "nickel on something worn on the skin or used with food",
    "nickel_confirm": lambda kind: (
        f"the order is worn on the skin or used with food, and a {kind.replace('_', ' ')} seal holds nickel unless its "
        "safety data sheet names none; choose hot water"
    ),
    "log_charge": "charge by the trapezoid rule; {film}",
    "no_area": "no film without an area",
    "never_on": "no current flowed",
    "gap": "nothing logged from {start_min:.1f} to {end_min:.1f} min: charge by a straight line",
    "films_apart": (
        "a contact was lost: parts that kept it have more film than those that lost it; measure each, and strip and "
        "run again what is too thin"
    ),
    "hidden_contact": (
        "at constant current one lost contact among n parts does not show in the total: the others get n/(n - m) of "
        "the film; measure every part"
    ),
    "rows_left_out": "{count} rows without a number were left out",
    "sign_turned": "the current was logged negative; its sign was turned round",
    "no_headers": "the file names no columns: taken as time, current, voltage, temperature in that order",
    "taken_as": "the {column} column names no unit: taken as {unit}",
    "by_hand": "from hand notes, straight lines between them",
    "remedy": lambda kind: EVENT_REMEDIES[kind],
    "dropouts": "{count} dropouts of the current",
    "no_current": "no current for {minutes:.1f} min",
    "no_current_with_voltage": "no current for {minutes:.1f} min with voltage on",
    "voltage_leaps": "{count} leaps of the voltage",
    "brief_leap": "{factor:.1f}-fold leap that came back",
    "change": _change,
    "climb": lambda dx, span_min: f"current {100 * math.expm1(dx):+.0f} % over {span_min:.0f} min",
    "hot": "electrolyte above {limit_temp_c:g} °C, up to {highest_temp_c:.1f} °C",
    "trickle": "hardly any current until the end of the log, supply still on",
    "at_limit": "current held at the supply's {supply_max_a:g} A",
}


# what each figure is called; figures without a row here are not shown to people
_LABELS = {
    "acid_ml": "sulphuric acid",
    "water_ml": "water",
    "volume_l": "bath at 20 °C",
    "g_per_l": "strength",
    "wt_percent": "strength by weight",
    "acid_wt_percent": "acid at hand",
    "sg": "hydrometer should read (20/20 °C)",
    "contraction_ml": "shrinks by",
    "rise_c": "warms by",
    "portions": "portions",
    "portion_acid_ml": "acid per portion",
    "portion_rise_c": "each portion warms by",
    "ah_per_l": "used so far",
    "aluminium_g_per_l": "dissolved aluminium",
    "discard_ah_per_l": "discard at",
    "left_ah": "left in the bath",
    "worn_out": "worn out",
    "planned_film_um": "film wanted",
    "planned_minutes": "time planned",
    "film_um": "film",
    "film_kept_um": "film where the contact held",
    "film_lost_um": "film where it was lost",
    "film_measured_um": "film by gauge",
    "minutes": "time",
    "elapsed_min": "since the start",
    "left_min": "still to go",
    "ends_at": "ends at",
    "current_density_a_per_dm2": "current density",
    "current_a": "current",
    "charge_ah": "charge",
    "area_dm2": "area",
    "film_least_um": "least of the places",
    "places": "places read",
    "stain": "stain, 0 none to 5",
    "passes": "the seal passes",
    "film_class": "film class (ISO 7599, by the average)",
    "met_class": "film class met (ISO 7599)",
    "asked_class": "class asked for",
    "conforms": "conforms",
    "rule_film_um": "720 rule alone: film",
    "rule_minutes": "720 rule alone: time",
    "diameter_growth_um": "outside diameter grows by",
    "pitch_diameter_growth_um": "pitch diameter of a 60° thread grows by",
    "metal_lost_um": "metal lost per face when stripped",
    "end_temp_c": "electrolyte at the end",
    "heat_kj": "heat",
    "growth_at_end": "the film grows at the end",
    "largest_current_a": "largest current without more cooling",
    "cooling_w": "cooling needed",
    "ice_kg": "or ice in closed bottles",
    "um_per_a_min_dm2": "growth rate",
    "film_sd_fraction": "give or take for the next film",
    "readings": "gauge readings",
    "factor": "your films against the published ones",
    "dye_g": "dye",
    "dye_g_per_l": "wanted strength",
    "second_dye_g": "second dye",
    "second_dye_g_per_l": "its wanted strength",
    "bath_volume_l": "bath",
    "present_volume_l": "bath now",
    "strength_g_per_l": "strength now",
    "wanted_g_per_l": "strength wanted",
    "water_l": "water",
    "dilute_l": "take out and replace by water",
    "minutes_low": "at least",
    "minutes_high": "at most",
    "temp_c": "bath between",
    "ph": "pH between",
    "charge_in_gaps_ah": "charge across gaps",
    "wanted_a": "current wanted",
    "largest_area_dm2": "largest load that takes it",
    "depth_mm": "depth of the dye",
    "covers": "covers the part",
    "missing_l": "fill up by",
    "rise_mm": "the part lifts the level by",
    "prepared": "ticked before",
    "not_prepared": "not ticked",
    "batch": "batch",
    "uptake_mg_per_dm2": "dye taken up by a film",
    "lost_per_day": "lost on its own, a day",
    "dm2_per_l": "dyed so far",
    "days": "age",
}


def answer_rows(answer: dict, names=None) -> list[tuple[str, str]]:
    """Figures of a bench answer as (label, text) pairs.

    `answer`: `to_dict()` of a bench result. `names` (sequence of str, optional): only these figures, in this order; all
    of them in the usual order without.
    """
    rows = []
    for name in names or _LABELS:
        label = _LABELS[name]
        value = answer.get(name)
        if (
            value is None
            or (name.startswith("portion") and answer["portions"] == 1)
            or (name == "charge_in_gaps_ah" and not value)
            or value == []
        ):
            continue
        value = COVERAGE * value if name == "film_sd_fraction" else value
        rows.append((label, figure_text(name, value, answer.get(f"{name}_sd"))))
    return rows


_MOST_CAUTIONS = 3


def few_and_rest(cautions) -> tuple[list[str], list[str]]:
    """Return the cautions to show at once, and those to fold away; the general one is the page's own close."""
    special = [text for text in cautions if text != CAUTIONS["general"]]
    return special[:_MOST_CAUTIONS], special[_MOST_CAUTIONS:]


def answer_lines(answer, whole: bool = False) -> list[str]:
    """A bench answer as lines of text: figures, basis, notes, cautions.

    `whole`: with every caution; the first few and where the others stand without.
    """
    rows = answer_rows(answer)
    width = max((len(label) for label, _ in rows), default=0)
    lines = [f"{label:<{width}}  {text}" for label, text in rows]
    told = f" {PLUS_MINUS}" if any("±" in text for _, text in rows) else ""
    lines += ["", f"Basis: {answer['basis']}.{told}"]
    lines += [f"Note: {note}." for note in answer.get("notes", ())]
    first, rest = few_and_rest(answer["cautions"])
    lines += [f"Caution: {text}" for text in (*first, *(rest if whole else ()))]
    if rest and not whole:
        lines.append(f"Caution: {len(rest)} more with --page and --json.")
    return [*lines, f"Caution: {CAUTIONS['general']}"]


def answer_page(title: str, answer: dict, paper="a4") -> bytes:
    """A bench answer as one printed page, a PDF.

    `answer`: `to_dict()` of a bench result. `paper` is "a4" or "letter".
    """
    from dyebook.report.paper.pdf import pdf_bytes
    from dyebook.report.paper.sheet import Pairs, Prose, Row, Sheet

    tail = [line for line in answer_lines(answer, whole=True) if line.startswith(("Basis:", "Note:", "Caution:"))]
    parts = [[Pairs("", tuple(answer_rows(answer)))], [Prose(tuple(tail), size="small")]]
    details = detail_lines(answer)
    if details:
        parts.insert(1, [Prose(tuple(details))])
    return pdf_bytes(Sheet(title, "", "", tuple(Row(((1.0, part),)) for part in parts)), paper)


# as many as leave room for the rest of the page
_MOST_LINES = 24


def detail_lines(answer):
    """What an answer holds besides its figures, a line each: the shapes of a load, events of a log, strengths."""
    lines = [
        f"{line['count']} × {line['label']}: {figure_text('area_dm2', line['area_dm2'])}"
        for line in answer.get("lines", ())
    ]
    lines += [
        f"{minutes_text(event['time_min'])}: {event['kind'].replace('_', ' ')} ({event['because']}). {event['remedy']}"
        for event in answer.get("events", ())[:8]
    ]
    lines += [
        f"{moment_of(point['at']).date()}: {figure_text('g_per_l', point['dye_g_per_l'], point['dye_g_per_l_sd'])}, "
        + point["kind"].replace("_", " ")
        for point in answer.get("points", ())[-16:]
    ]
    left = len(lines) - _MOST_LINES
    return lines if left <= 0 else [*lines[:_MOST_LINES], f"and {left} more"]


def steps_page(title: str, steps, cautions, paper="a4", pairs=()) -> bytes:
    """Steps to tick as one printed page, a PDF, with what was planned above them.

    Parameters
    ----------
    steps : sequence of Step
        As in `dyebook.physics.sealing`.
    cautions : sequence of str
    paper : {"a4", "letter"}
    pairs : sequence of (str, str)
        Label and text.
    """
    from dyebook.report.paper.pdf import pdf_bytes
    from dyebook.report.paper.sheet import Pairs, Prose, Row, Sheet

    ticks = [(f"[   ]  {step.name}", f"{_for_minutes(step)}{step.what} ({step.source})") for step in steps]
    tail = [f"Caution: {text}" for text in cautions]
    parts = [[Pairs("", tuple(rows))] for rows in (pairs, ticks) if rows] + [[Prose(tuple(tail), size="small")]]
    return pdf_bytes(Sheet(title, "", "", tuple(Row(((1.0, part),)) for part in parts)), paper)


def _for_minutes(step):
    return "" if step.minutes is None else f"{figure_text('minutes', step.minutes)}: "


def run_title(row) -> str:
    """Return a run as "Run 12: 12 µm, 28 Mar 2026, 09:24"."""
    film = figure_text("film_um", row["film_um"], row["film_sd_um"]) if row["film_um"] else "film not known"
    film = film.partition(" (")[0]
    part = (row["trace"] or {}).get("part_of")
    if part is not None:
        return (
            f"Batch {part['after']} again: {film}" if part["after"] else f"Part {row['id']}, anodised elsewhere: {film}"
        )
    when = moment_text(row["started_at"]) if row["started_at"] else "not started"
    return f"Run {row['id']}: {film}, {when}"


def run_line(state: dict) -> str:
    """Return a run in one line for the shell: number, state, when, film, batch.

    `state`: as `RunState.to_dict`.
    """
    when = moment_text(state["started_at"]) if state["started_at"] else "not started"
    film = f"{figure_text('planned_film_um', state['planned_film_um'])} wanted"
    if state["film_um"] is not None:
        film = figure_text("film_um", state["film_um"], state["film_um_sd"])
    if state["film_measured_um"] is not None:
        film += f", {figure_text('film_measured_um', state['film_measured_um'])} by gauge"
    tail = f", until {clock_text(state['ends_at'])}" if state["state"] == "on" else ""
    batch = f", batch {state['batch']}" if state["batch"] else ""
    return f"run {state['run']:>4}  {state['state']:<7}  {when}, {film}{tail}{batch}"


def now_words(stand) -> list[tuple[str, str]]:
    """Return where a run stands as pairs of label and text."""
    return [
        ("film now about", f"{stand.film_um:.1f} ± {COVERAGE * stand.film_um_sd:.1f} µm"),
        ("ends at", "now" if stand.done else "paused" if stand.paused else clock_text(stand.ends_at)),
        ("charge so far", figure_text("charge_ah", stand.charge_ah)),
        ("current, as last noted", figure_text("current_a", stand.current_a)),
    ]


def limit_text(plan, wanted, instead) -> str:
    """Return what a supply that is too small still does.

    `plan` (SupplyPlan): held back by the supply. `wanted`, `instead` (FilmPlan): the run as it was meant, and the run
    of the same time that the supply allows.
    """
    meant = minutes_text(wanted.minutes)
    film = figure_text("film_um", instead.film_um, instead.film_um_sd)
    return (
        f"The supply stops at {figure_text('current_a', plan.current_a)}; {figure_text('wanted_a', plan.wanted_a)} "
        f"were wanted. The film takes {minutes_text(plan.run.minutes)} instead of {meant}; in {meant} it gets to "
        f"{film}. At your density the supply carries {figure_text('area_dm2', plan.largest_area_dm2)}."
    )


def plan_words(row):
    """Return what a run was planned as: pairs of label and text."""
    plan = row["trace"]["plan"]
    pairs = [
        ("film wanted", figure_text("film_um", plan["film_um"])),
        ("time planned", minutes_text(plan["minutes"])),
        ("area", figure_text("area_dm2", row["area_dm2"])),
        ("set the supply to", figure_text("current_a", plan["current_a"])),
        ("alloy", row["alloy"]),
        ("electrolyte", row["electrolyte_temp_c"] and figure_text("electrolyte_temp_c", row["electrolyte_temp_c"])),
    ]
    return [(label, text) for label, text in pairs if text]


def anodised_words(row, electrolyte=None):
    """Return how a run truly was: pairs of label and text, of a row of the book."""
    gauge = (row["trace"] or {}).get("gauge_um", ())
    measured = row["film_measured_um"] and figure_text("film_measured_um", row["film_measured_um"])
    read = f"{measured}, {len(gauge)} readings" if measured and len(gauge) > 1 else measured
    names = ("area_dm2", "current_density_a_per_dm2", "charge_ah", "electrolyte_temp_c")
    known = {name: figure_text(name, row[name]) for name in names if row[name] is not None}
    by_charge = row["film_from_charge_um"]
    pairs = [
        ("started", row["started_at"] and moment_text(row["started_at"])),
        ("time", row["anodise_min"] and minutes_text(row["anodise_min"])),
        ("area", known.get("area_dm2")),
        ("current density", known.get("current_density_a_per_dm2")),
        ("charge", known.get("charge_ah")),
        ("film from charge", by_charge and figure_text("film_um", by_charge, row["film_sd_um"])),
        ("film by gauge", read),
        ("electrolyte", ", ".join(filter(None, [electrolyte, known.get("electrolyte_temp_c")]))),
        ("went on because", "; ".join(reason["why"] for reason in (row["trace"] or {}).get("reasons", ()))),
        ("seal test", (row["trace"] or {}).get("seal_test") and _seal_test_text(row["trace"]["seal_test"])),
    ]
    return [(label, text) for label, text in pairs if text]


def _seal_test_text(test):
    verdict = {True: "passes", False: "fails", None: "outside the test"}[test["passes"]]
    return f"stain {test['stain']} of 5, {verdict} (ISO 2143)"


def preparation_words(ticks):
    """Return the steps ticked before a run, in order, such as "water break test: holds"."""
    lines = []
    for tick in ticks:
        state = {None: "", True: ": holds", False: ": did not pass"}[tick["passed"]]
        took = f", {minutes_text(tick['dwell_min'])}" if tick["dwell_min"] else ""
        note = f" – {tick['note']}" if tick["note"] else ""
        lines.append(f"{tick['kind'].replace('_', ' ')}{state}{took}{note}")
    return lines


def wet_step_text(step) -> str:
    """Return a rinse or seal of a batch in words, such as "hot water, 97.0 °C (207 °F), 30 min"."""
    temp = step.get("rinse_temp_c") if "rinse_temp_c" in step else step["seal_temp_c"]
    parts = [
        (step["kind"] or "kind not noted").replace("_", " "),
        temp is not None and figure_text("bath_temp_c", temp),
        step["dwell_min"] and minutes_text(step["dwell_min"]),
    ]
    return ", ".join(part for part in parts if part)


def event_line(event):
    """Return an event of a log as (head, remedy): "contact lost at 12.4 min: current fell …" and what to do."""
    head = f"{event['kind'].replace('_', ' ').capitalize()} at {minutes_text(event['time_min'])}"
    return f"{head}: {event['because']}", event["remedy"]


def events_count_text(count):
    """Return how many events a log shows, in words."""
    return {0: "Nothing unusual was found in this log.", 1: "One thing happened."}.get(
        count, f"{count} things happened."
    )


def ratio_text(film_measured_um, film_um) -> str:
    """Return a gauged film over the one worked out as "0.94 of the film worked out"."""
    return f"{film_measured_um / film_um:.2f} of the film worked out"


def share_text(factor) -> str:
    """Return a factor as "1.20 times"."""
    return f"{factor:.2f} times"


def note_text(note) -> str:
    """Return one note of a run as "09:34: 2.90 A, 21.0 °C (70 °F)"."""
    seen = [figure_text(name, note[name]) for name in ("current_a", "electrolyte_temp_c") if name in note]
    if "voltage_v" in note:
        seen.insert(1, f"{note['voltage_v']:.3g} V")
    return f"{clock_text(note['at'])}: {', '.join(seen)}"
