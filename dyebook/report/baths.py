"""Dye baths, electrolytes, orders and the steps of the work in words and figures, for shell and screens."""

from dyebook.record import BATH_EVENTS
from dyebook.report.trouble import verdict_line
from dyebook.report.words import COVERAGE, due_text, figure_text, moment_day, moment_text, value_text

__all__ = [
    "POINTS", "bath_line", "care_pairs", "event_pair", "event_text", "order_lines", "piece_text", "plan_text",
    "rule_lines", "rule_pairs", "stand_text", "strength_table", "strength_words", "tank_line", "waiting_text",
    "wanted_text",
]  # fmt: skip

# what a point of a bath's strength over time stands for
POINTS = BATH_EVENTS | {"dip": "worked out after a dip", "now": "worked out for now"}


def strength_words(point) -> str:
    """Return one point of a bath's strength: "2.8 ± 0.2 g/L (0.37 oz/gal), worked out after a dip, 3 Mar 2026"."""
    text = figure_text("dye_g_per_l", point.dye_g_per_l, point.dye_g_per_l_sd)
    return f"{text}, {POINTS[point.kind]}, {moment_text(point.at)}"


def bath_line(state) -> str:
    """Return a dye bath, a `BathState`, in one line for the shell."""
    figures = [figure_text(name, getattr(state, name)) for name in ("dm2_per_l", "days") if getattr(state, name)]
    top_up = top_up_text(state)
    words = [_strength_text(state), *figures, *([f"top-up {top_up}"] if top_up else []), *state.notes]
    return f"{state.bath:<24} {'; '.join(words)}"


# whose word the strength wanted of a bath is
_WANTED = BATH_EVENTS | {"set": "set", "recipe": "in the recipe"}


def wanted_text(line) -> str:
    """Return what a bath is to hold, of its `StrengthLine`, such as "wanted 3 g/L, as made up"; empty for unknown."""
    if not line.wanted_g_per_l:
        return ""
    return f"wanted {line.wanted_g_per_l:.3g} g/L, as {_WANTED[line.wanted_as]}"


_BAR = 30


def strength_table(points):
    """Return a bath's strength over time as lines: when, g/L with its uncertainty, a bar, what happened."""
    top = max((point.dye_g_per_l for point in points), default=0.0) or 1.0
    lines = []
    for point in points:
        bar = "█" * round(_BAR * point.dye_g_per_l / top)
        figure = f"{point.dye_g_per_l:4.1f} ± {COVERAGE * point.dye_g_per_l_sd:3.1f} g/L"
        lines.append(f"{moment_text(point.at):<19} {figure}  {bar:<{_BAR}}  {POINTS[point.kind]}")
    return lines


_RULE_WORDS = {
    "ph": ("pH", ""),
    "bath_temp_c": ("kept at", "°C"),
    "dye_g_per_l": ("recipe", "g/L"),
    "uptake_mg_per_dm2": ("dye taken up", "mg/dm²"),
    "limit_dm2_per_l": ("spent after", "dm²/L"),
    "limit_days": ("at most", "days"),
    "evaporation_l_per_day": ("water lost to the air", "L a day"),
    "tank_area_dm2": ("tank from above", "dm²"),
}


def rule_lines(rules):
    """Return the shop's rules for a dye as lines."""
    lines = []
    for name, (label, unit) in _RULE_WORDS.items():
        if name in rules:
            value = rules[name]
            text = "–".join(f"{part:g}" for part in value) if isinstance(value, (list, tuple)) else f"{value:g}"
            lines.append(f"{label} {text} {unit}".rstrip())
    return lines or ["none yet"]


def tank_line(tank: dict) -> str:
    """Return an electrolyte, by its name and life as plain values, in one line: charge carried, what is left."""
    if "ah_per_l" not in tank:
        return f"{tank['electrolyte']:<24} volume not known"
    worn = ", worn out" if tank["worn_out"] else ""
    used, left = figure_text("ah_per_l", tank["ah_per_l"]), figure_text("left_ah", tank["left_ah"])
    return f"{tank['electrolyte']:<24} {used} used, {left} left{worn}"


_WAITING = {"shade": "to agree", "run": "to run", "dye": "to dye", "photo": "to look at"}


def waiting_text(step, count) -> str:
    """Return what waits at a step, such as "1 to dye"; empty when nothing does."""
    return f"{count} {_WAITING[step]}" if count else ""


def care_pairs(care, brief: bool = False) -> list[tuple[str, str]]:
    """Return what a bath is asked to be and wants, as pairs of label and text.

    `brief`: only what matters at a glance.
    """
    pairs = [
        ("kept at", _kept_text(care)),
        ("strength", _strength_text(care, brief)),
        ("age", "" if brief and not (care.age and care.age.worn_out) else _age_text(care.age)),
        ("top-up", top_up_text(care)),
    ]
    return [(label, text) for label, text in pairs if text]


def _kept_text(care):
    if not care.window_temp_c:
        return f"{value_text('bath_temp_c', care.last.bath_temp_c)}, as last dipped" if care.last else ""
    low, high = care.window_temp_c
    return f"{low:g}–{value_text('bath_temp_c', high)}"


def _strength_text(care, brief=False):
    if not care.line.points:
        return "; ".join(filter(None, ["not noted", wanted_text(care.line)]))
    last = care.line.points[-1]
    how = "worked out" if last.kind in ("dip", "now") else f"noted {moment_day(last.at)}"
    now = f"{last.dye_g_per_l:.2g} ± {COVERAGE * last.dye_g_per_l_sd:.1g} g/L"
    if not brief:
        now = figure_text("dye_g_per_l", last.dye_g_per_l, last.dye_g_per_l_sd)
    return "; ".join(filter(None, [f"{now}, {how}", wanted_text(care.line)]))


def _age_text(age):
    if age is None:
        return ""
    worn = ", worn out by your limits" if age.worn_out else ""
    dyed = f", {age.dm2_per_l:.3g} dm² dyed per litre" if age.dm2_per_l else ""
    return f"{age.days:.0f} days{dyed}{worn}"


def top_up_text(care) -> str:
    """Return when a bath wants topping up, in words; empty when that is not known."""
    if care.due_in_dm2 is None:
        return ""
    if care.due_in_dm2 > 0:
        return f"after about {_roughly(care.due_in_dm2)} dm² more"
    if care.top_up is None:
        return "due; measure its strength first, the estimate is at its end"
    return f"due: {figure_text('dye_g', care.top_up.dye_g)} of dye"


def event_text(event) -> str:
    """Return what happened to a bath, such as "3 Mar 2026: topped up: 3 g/L, pH 5.5 – knobs had gone pale"."""
    return ": ".join(event_pair(event))


def event_pair(event) -> tuple[str, str]:
    """Return the day of what happened to a bath, and what it was."""
    texts = [value_text(name, event[name]) for name in ("dye_g_per_l", "bath_temp_c")]
    texts += [f"pH {value_text('ph', event['ph'])}"] if event["ph"] is not None else []
    texts += [f"{event['bath_volume_l']:g} L"] if event["bath_volume_l"] else []
    figures = ", ".join(text for text in texts if text)
    note = f" – {event['note']}" if event["note"] else ""
    return moment_day(event["at"]), BATH_EVENTS[event["kind"]] + (f": {figures}" if figures else "") + note


def rule_pairs(rules):
    """Return what the shop has set for a dye as pairs of label and text."""
    pairs = [
        ("pH", "–".join(f"{end:g}" for end in rules.get("ph", ()))),
        ("kept at", "–".join(f"{end:g}" for end in rules["bath_temp_c"]) + " °C" if "bath_temp_c" in rules else ""),
        ("recipe", f"{rules['dye_g_per_l']:g} g/L" if "dye_g_per_l" in rules else ""),
        ("dye taken up", f"{rules['uptake_mg_per_dm2']:g} mg/dm²" if "uptake_mg_per_dm2" in rules else ""),
        ("spent after", f"{rules['limit_dm2_per_l']:g} dm² per litre" if "limit_dm2_per_l" in rules else ""),
        ("at most", f"{rules['limit_days']:g} days" if "limit_days" in rules else ""),
    ]
    return [(label, text) for label, text in pairs if text]


def _roughly(value):
    """Two leading figures, never with an exponent."""
    return f"{float(f'{value:.2g}'):g}"


def order_lines(stand, now) -> list[str]:
    """Return an order as lines of words: for whom and when, the customer's words, where it stands."""
    order = stand.order
    head = [f"for {order['customer']}"] if order["customer"] else []
    if order["done_at"]:
        head.append(f"delivered {moment_day(order['done_at'])}")
    elif order["due_on"]:
        head.append(due_text(order["due_on"], now))
    if order["skin_contact"]:
        head.append("skin or food")
    wish = [f"“{order['words']}”"] if order["words"] else []
    return [line for line in [", ".join(head), *wish, stand_text(stand)] if line]


def stand_text(stand) -> str:
    """Return where an order stands, in one line."""
    if stand.target is None:
        return "No shade agreed yet."
    if not stand.batches:
        return "Shade agreed; nothing dyed for it yet."
    if stand.best is None:
        return f"Batch {stand.batches[0].batch} was dyed for it and is not read yet."
    return f"Batch {stand.best.batch}: {verdict_line(stand.verdict)}."


def piece_text(piece, with_step: bool = True) -> str:
    """Return a piece of work in one line: job, number and next step: "Lamp knobs · Run 91 · Dye"."""
    order = piece.order
    job = [order["name"]] if order else []
    number = f"Batch {piece.batch.batch}" if piece.batch else f"Run {piece.run['id']}" if piece.run else ""
    step = [piece.step.capitalize()] if with_step or not (job or number) else []
    return " · ".join([*job, *([number] if number else []), *step])


def plan_text(plan: dict) -> str:
    """Return a plan that waits at the bench, texts by field, as one line: "Ember, bath E1: 50 °C, 5:12 min, 3 g/L"."""
    bath = f"{plan['dye']}, bath {plan['bath']}" if plan.get("bath") else plan.get("dye", "")
    dwell = plan.get("dwell_min", "")
    minutes = f"{dwell.removesuffix(' min')} min" if dwell else ""
    film = f"film {plan['film_um']}" if plan.get("film_um") else ""
    texts = (plan.get("bath_temp_c"), minutes, plan.get("dye_g_per_l"), film)
    return f"{bath}: {', '.join(text for text in texts if text)}"
