"""Dye bath: made up, topped up, its level, its window, and its strength over time."""

import streamlit as st

from dyebook import report_run as words
from dyebook.jobs import baths
from dyebook.physics.bathcare import check_level, make_up_bath, top_up_bath
from dyebook.plots_run import plot_strength
from dyebook.screens.bench_pieces import ask, ask_word, choose, go_on, offer_page, show_answer
from dyebook.screens.shelf import friendly_errors

__all__ = ["show"]

_WAYS = {"line": "Strength", "make": "Make up", "top": "Top up", "level": "Level", "rules": "Your rules"}
_KINDS = {"measured": "measured", "ph_moved": "pH moved", "filtered": "filtered", "thrown_out": "taken out of use"}


def show(book):
    """Draw the step."""
    known = baths.baths_by_name(book)
    name = ask_word("bath", "Dye bath", list(known), hint="choose, or write: dye, bath") or ""
    way = choose("dyebath_way", "What", list(_WAYS), _WAYS.get, hidden=True)
    left, right = st.columns([2, 3], gap="large")
    row = known.get(name)
    if row is None and way in ("line", "rules"):
        st.markdown("Choose a bath of the book, or write a new one as dye, bath, and make it up.")
        return
    draw = {"line": _line, "make": _make, "top": _top, "level": _level, "rules": _rules}[way]
    draw(book, name, row, left, right)


def _mark(row):
    return f"{row['id']}_" if row else ""


def _volume(row, name="bath_volume_l", label="Bath at its line, L"):
    known = f"{row['bath_volume_l']:g}" if row and row["bath_volume_l"] else ""
    return ask(f"{_mark(row)}{name}", label, known, "2 or 0.5 gal")


def _make(book, name, row, left, right):
    with left:
        strength = ask("make_dye_g_per_l", "Wanted, g/L", "3", "3 or 0.4 oz/gal")
        volume = _volume(row)
        ph, temp = ask("make_ph", "pH", quantity="ph_a"), ask("make_bath_temp_c", "Bath, °C", hint="50 or 122 °F")
    with right, friendly_errors():
        if strength is None or volume is None:
            st.markdown("Strength and volume are needed.")
            return
        made = make_up_bath(strength, volume)
        show_answer(made, ("dye_g",))
        offer_page(f"New dye bath {name}", made, "dyebath")
        dye, _, bath = name.partition(", ")
        if st.button("Made up: into the book", key="keep_dyebath", type="primary", disabled=not bath.strip()):
            bath_id = baths.find_bath(book, dye, bath, volume)
            told = {"dye_g_per_l": strength, "bath_volume_l": volume, "ph": ph, "bath_temp_c": temp}
            baths.note_bath(book, bath_id, "made_up", **told)
            go_on("dyebath", dyebath_way="line")


def _top(book, name, row, left, right):
    line = baths.strength_line(book, row["id"]) if row else baths.StrengthLine(())
    noted = [point for point in line.points if point.kind != "dip"]
    with left:
        wanted = f"{noted[0].dye_g_per_l:g}" if noted else "3"
        target = ask(f"{_mark(row)}top_dye_g_per_l", "Wanted, g/L", wanted, "3 or 0.4 oz/gal")
        full = _volume(row)
        measured = ask("top_measured_g_per_l", "Measured now, g/L", hint="leave empty to reckon")
        present = ask("top_present_l", "Volume now, L", hint="with a measured strength")
        dyed = ask(f"{_mark(row)}top_dyed_dm2", "Dyed since it stood at strength, dm²", f"{line.dyed_dm2:g}")
        lost = ask("top_evaporated_l", "Water lost to the air since, L", "0")
    with right, friendly_errors():
        if target is None or full is None:
            st.markdown("Wanted strength and volume are needed.")
            return
        rules = baths.dye_rules(book, row["dye"]) if row else {}
        if measured is not None:
            answer = top_up_bath(target, full, measured_g_per_l=measured, present_volume_l=present)
        else:
            use = {"dyed_dm2": dyed or 0.0, "evaporated_l": lost or 0.0}
            answer = baths.plan_top_up(line, target, full, uptake_mg_per_dm2=rules.get("uptake_mg_per_dm2"), **use)
        show_answer(answer, ("dye_g", "water_l", "strength_g_per_l", "dilute_l"))
        offer_page(f"Top up {name}", answer, "top_up")
        if row and st.button("Topped up: into the book", key="keep_top_up", type="primary"):
            baths.note_bath(book, row["id"], "topped_up", dye_g_per_l=target, bath_volume_l=full)
            go_on("dyebath", dyebath_way="line", top_measured_g_per_l="", top_present_l="", top_evaporated_l="0")


def _line(book, name, row, left, right):
    line = baths.strength_line(book, row["id"])
    with right, friendly_errors():
        if not line.points:
            st.markdown("Nobody has noted its strength yet; make it up, or note a measured one.")
        else:
            st.markdown(f"**{words.strength_words(line.points[-1])}**")
            st.plotly_chart(plot_strength(line.points), config={"displayModeBar": False})
            st.caption(_LINE_BASIS)
        if line.without_area:
            st.caption(f"{line.without_area} dips since then have no area noted; what they took is not in the line.")
        age = baths.age_of_bath(book, row["id"])
        if age is not None:
            st.markdown("**Worn out by your limits.**" if age.worn_out else "**In use.**")
            show_answer(age, ("dm2_per_l", "days"))
    with left:
        _note(book, row)


_LINE_BASIS = (
    "Between notes the line is reckoned from the area and film of each dip: dye taken up by your figure for this dye "
    "or by a rule of thumb, and drag-out. Evaporation is not in it. Shaded: one standard uncertainty."
)


def _note(book, row):
    st.subheader("Note what happened", anchor=False)
    kind = choose("dyebath_event", "What", list(_KINDS), _KINDS.get)
    told = {
        "dye_g_per_l": ask("event_dye_g_per_l", "Strength, g/L"),
        "ph": ask("event_ph", "pH", quantity="ph_a"),
        "bath_temp_c": ask("event_bath_temp_c", "Bath, °C"),
        "bath_volume_l": ask("event_bath_volume_l", "Volume, L"),
    }
    for problem in baths.outside_window(book, row["dye"], ph=told["ph"], bath_temp_c=told["bath_temp_c"]):
        st.caption(f":material/priority_high: {problem}.")
    if st.button("Note it", key="note_dyebath", type="primary"):
        baths.note_bath(book, row["id"], kind, **told)
        go_on("dyebath", event_dye_g_per_l="", event_ph="", event_bath_temp_c="", event_bath_volume_l="")


def _level(book, name, row, left, right):
    with left:
        volume = _volume(row)
        floor = ask("tank_area_dm2", "Tank from above, inside, dm²", hint="1.2 or 18 in²")
        height = ask("part_height_mm", "Height of the hanging load, mm", hint="80 or 3 in")
        displaced = ask("part_volume_l", "Volume of the load, L", "0")
    with right, friendly_errors():
        if None in (volume, floor, height):
            st.markdown("Volume, tank and height are needed to see whether the dye covers the load.")
            return
        show_answer(
            check_level(volume, floor, height, displaced or 0.0), ("covers", "depth_mm", "missing_l", "rise_mm")
        )


def _rules(book, name, row, left, right):
    rules, mark = baths.dye_rules(book, row["dye"]), row["dye"]
    with left:
        st.subheader(f"For {row['dye']}", anchor=False)
        ph = _window(mark, rules, "ph", "pH", "ph_a")
        temp = _window(mark, rules, "bath_temp_c", "Bath, °C", "bath_temp_c")
        uptake = _rule(mark, rules, "uptake_mg_per_dm2", "Dye taken up, mg/dm²")
        area, days = (
            _rule(mark, rules, "limit_dm2_per_l", "Spent after, dm²/L"),
            _rule(mark, rules, "limit_days", "or days"),
        )
        if st.button("Keep these rules", key="keep_rules", type="primary"):
            limits = {"limit_dm2_per_l": area, "limit_days": days}
            baths.set_dye_rules(book, row["dye"], ph=ph, bath_temp_c=temp, uptake_mg_per_dm2=uptake, **limits)
            st.success(f"The rules for {row['dye']} are kept.", icon=":material/check:")
    with right:
        st.markdown(
            "Windows and limits are yours: take them from the dye's own data sheet and from your check coupons. What "
            "leaves a window is told where a dip is planned and where a bath is noted. Empty fields set no rule."
        )


def _window(mark, rules, name, label, quantity):
    low, high = rules.get(name, (None, None))
    left, right = st.columns(2)
    with left:
        low = ask(f"{mark}_{name}_low", f"{label} from", "" if low is None else f"{low:g}", quantity=quantity)
    with right:
        high = ask(f"{mark}_{name}_high", "to", "" if high is None else f"{high:g}", quantity=quantity)
    return None if None in (low, high) else (low, high)


def _rule(mark, rules, name, label):
    return ask(f"{mark}_{name}", label, f"{rules[name]:g}" if name in rules else "", quantity=f"{name}_a")
