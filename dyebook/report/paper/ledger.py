"""The log of a dye bath, and the summary of a month."""

from collections import Counter
from statistics import median

from dyebook.record import BATH_EVENTS, FIELDS
from dyebook.report.batches import verdict_text
from dyebook.report.baths import strength_words, wanted_text
from dyebook.report.paper.sheet import Pairs, Picture, Prose, Ribbon, Row, Sheet, Table
from dyebook.report.plots import strength_png
from dyebook.report.words import distance_text, figure_text, moment_day, moment_text, value_text

__all__ = ["bath_sheet", "month_sheet"]

_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip
_MOST_NOTE = 160
_BLANK = "\u00a0"
_LOG_HEAD = ("when", "what", "g/L", "pH", "°C", "dwell", "film", "dm²", "shade", "note")
_LOG_SHARES = (3.1, 1.9, 0.9, 0.9, 1.1, 1.3, 1.3, 1.1, 1.1, 3.6)
_LOG_RIGHT = frozenset({2, 3, 4, 5, 6, 7})


def bath_sheet(facts, blank_lines: int = 6) -> Sheet:
    """Return the log of a bath, with empty lines to write on at the bench."""
    life, read = facts.life, [row for row in facts.batches if row.lab is not None]
    start = f"made up {moment_text(life['made_up_at'])}" if life["made_up_at"] else "make-up not noted"
    blocks = [Row(((1.0, [_bath_now(facts)]), (1.0, [_bath_age(facts)])))]
    if len(facts.line.points) > 1:
        caption = "Strength: as noted, and worked out from area and film of each dip. Shaded: 95 in 100."
        blocks.append(Row(((1.0, [Picture(strength_png(facts.line.points), caption, 60.0)]),)))
    if read:
        ends = (_day(read[0]), _day(read[-1]))
        blocks.append(Row(((1.0, [Ribbon("Shades, in the order of the dips", tuple(r.lab for r in read), ends)]),)))
    rows = tuple(row for _, row in sorted([*_event_rows(life["events"]), *_dip_rows(facts.batches)], key=_by_time))
    blank = ((_BLANK,) * len(_LOG_HEAD),) * blank_lines
    blocks.append(Row(((1.0, [Table("Log", _LOG_HEAD, rows + blank, _LOG_SHARES, _LOG_RIGHT)]),)))
    return Sheet(
        title=f"Bath {facts.bath['name']}",
        lead=f"{facts.bath['dye']}, {start}",
        corner=facts.shop,
        rows=tuple(blocks),
        foot=f"dyebook, bath log: {facts.bath['dye']}, {facts.bath['name']}",
    )


def _by_time(pair):
    return pair[0]


def _bath_now(facts):
    volume = next((e["bath_volume_l"] for e in reversed(facts.life["events"]) if e["bath_volume_l"]), None)
    volume = volume or facts.bath["bath_volume_l"]
    rows = [("dips since then", str(facts.life["dips"]))]
    rows += [("area dyed", figure_text("area_dm2", facts.life["area_dm2"]))] if facts.life["area_dm2"] else []
    rows += [("volume", figure_text("bath_volume_l", volume))] if volume else []
    if facts.line.points:
        rows.append(("strength", strength_words(facts.line.points[-1])))
    if facts.line.wanted_g_per_l:
        rows.append(("", wanted_text(facts.line)))
    if facts.line.without_area:
        rows.append(("not worked out", f"{facts.line.without_area} dips without an area"))
    return Pairs("Now", tuple(rows))


def _bath_age(facts):
    if facts.age is None:
        return Prose(("Not known: volume or make-up of the bath are not noted.",), "Age")
    age = facts.age
    dyed = f", {figure_text('dm2_per_l', age.dm2_per_l)} dyed" if age.dm2_per_l else ""
    lines = [f"{figure_text('days', round(age.days))} old{dyed}."]
    lines.append("Worn out by the shop's own limits." if age.worn_out else f"In use ({age.basis}).")
    return Prose((*lines, *age.cautions), "Age", "small")


def _event_rows(events):
    for event in events:
        figures = [_figure(name, event[name]) for name in ("dye_g_per_l", "ph", "bath_temp_c")]
        what = BATH_EVENTS[event["kind"]]
        yield event["at"], (moment_text(event["at"]), what, *figures, "", "", "", "", _short(event["note"]))


def _dip_rows(batches):
    for row in batches:
        at = row.dyed_at or row.added_at
        figures = [_figure(name, getattr(row, name)) for name in ("dye_g_per_l", "ph", "bath_temp_c")]
        rest = [value_text("dwell_min", row.dwell_min), value_text("film_um", row.film_um)]
        area = _figure("area_dm2", row.area_dm2)
        shade = row.lab if row.lab is not None else ""
        yield at, (moment_text(at), f"batch {row.batch}", *figures, *rest, area, shade, _short(row.note))


def _figure(name, value):
    """A value without its unit, which the table's head gives."""
    return value_text(name, value).removesuffix(f" {FIELDS[name].unit}" if FIELDS[name].unit else "")


def _short(note):
    """A note in one piece that leaves the table a table."""
    text = " ".join((note or "").split())
    return text if len(text) <= _MOST_NOTE else f"{text[:_MOST_NOTE].rstrip()} …"


def _day(row):
    return moment_day(row.dyed_at or row.added_at)


def month_sheet(facts) -> Sheet:
    """Return the summary of a month."""
    blocks = [Row(((1.0, [_month_sums(facts)]), (1.0, [_month_verdicts(facts), *_month_orders(facts)])))]
    if facts.batches:
        ends = (_day(facts.batches[0]), _day(facts.batches[-1]))
        labs = tuple(row.lab for row in facts.batches)
        blocks.append(Row(((1.0, [Ribbon("Every batch, in the order of dyeing", labs, ends)]),)))
        blocks.append(Row(((1.0, [_by_bath(facts)]),)))
    off = [row for row in facts.batches if _is_off(facts.verdicts.get(row.batch))]
    if off:
        blocks.append(Row(((1.0, [_off_table(facts, off)]),)))
    if facts.events:
        blocks.append(Row(((1.0, [_event_table(facts.events)]),)))
    return Sheet(
        title=f"{_MONTHS[facts.month - 1]} {facts.year}",
        lead=_counted(len(facts.batches), "batch", "batches"),
        corner=facts.shop,
        rows=tuple(blocks),
        foot="Patches struck through: not read. Swatches are approximate.",
    )


def _counted(count, one, many):
    return {0: f"no {many}", 1: f"1 {one}"}.get(count, f"{count} {many}")


def _month_sums(facts):
    batches = facts.batches
    area = sum(row.area_dm2 for row in batches if row.area_dm2 == row.area_dm2)
    known = sum(row.area_dm2 == row.area_dm2 for row in batches)
    rows = [("batches", str(len(batches))), ("read", str(sum(row.lab is not None for row in batches)))]
    rows.append(("done again", str(sum(row.replaces is not None for row in batches))))
    if known:
        some = "" if known == len(batches) else f", of {known} batches whose area is noted"
        rows.append(("area", figure_text("area_dm2", area) + some))
    if facts.charge_ah:
        rows.append(("charge", figure_text("charge_ah", facts.charge_ah)))
    return Pairs("Done", tuple(rows))


def _month_verdicts(facts):
    counts = Counter(verdict["verdict"] for verdict in facts.verdicts.values())
    names = [verdict_text({"verdict": kind, "delta_e00": None}) for kind in counts]
    rows = [(name.lower(), str(count)) for name, count in zip(names, counts.values(), strict=True)]
    far = [verdict["delta_e00"] for verdict in facts.verdicts.values() if verdict["delta_e00"] is not None]
    if far:
        rows.append(("median difference", distance_text(median(far))))
    return Pairs("Verdicts", tuple(rows)) if rows else Prose(("None was given.",), "Verdicts")


def _month_orders(facts):
    rows = [("done", _order_words(order)) for order in facts.done]
    rows += [("due", f"{_order_words(order)}, {moment_day(order['due_on'])}") for order in facts.due]
    return [Pairs("Orders", tuple(rows))] if rows else []


def _order_words(order):
    return ", ".join(filter(None, [order["name"], order["customer"]]))


def _by_bath(facts):
    groups = {}
    for row in facts.batches:
        groups.setdefault((row.dye or "no dye noted", row.bath or ""), []).append(row)
    lines = [_bath_line(names, rows, facts.verdicts) for names, rows in sorted(groups.items())]
    head = ("dye", "bath", "batches", "read", "passed", "off", "first", "last")
    shares = (4.0, 2.0, 1.4, 1.2, 1.4, 1.0, 1.2, 1.2)
    return Table("Dyes and baths", head, tuple(lines), shares, frozenset({2, 3, 4, 5}))


def _bath_line(names, rows, verdicts):
    read = [row.lab for row in rows if row.lab is not None]
    judged = [verdicts[row.batch] for row in rows if row.batch in verdicts]
    off = sum(_is_off(verdict) for verdict in judged)
    first, last = (read[0], read[-1]) if read else ("", "")
    return (*names, str(len(rows)), str(len(read)), str(len(judged) - off), str(off), first, last)


def _is_off(verdict):
    return verdict is not None and verdict["verdict"] in ("fail", "redo", "redip")


def _off_table(facts, rows):
    lines = []
    for row in rows:
        verdict = facts.verdicts[row.batch]
        what = verdict_text(verdict, verdict["target"])
        lines.append((_day(row), f"batch {row.batch}", row.dye or "", row.lab or "", what, _short(row.note)))
    head = ("when", "batch", "dye", "shade", "verdict", "note")
    return Table("What was off", head, tuple(lines), (1.8, 1.5, 2.0, 1.0, 4.6, 4.0))


def _event_table(events):
    lines = []
    for event in events:
        strength = value_text("dye_g_per_l", event["dye_g_per_l"])
        what = BATH_EVENTS[event["kind"]]
        place = f"{event['dye']}, bath {event['bath']}"
        lines.append((moment_day(event["at"]), place, what, strength, _short(event["note"])))
    return Table("Baths", ("when", "bath", "what", "strength", "note"), tuple(lines), (1.8, 3.2, 1.6, 1.4, 6.0))
