"""What is done with a dye bath: notes, topping up, level, making up anew, and the shop's rules for its dye."""

import streamlit as st

from dyebook.jobs import baths
from dyebook.jobs.bath_state import bath_line, bath_state
from dyebook.jobs.baths import dye_rules, outside_window, set_dye_rules
from dyebook.jobs.strength import top_up_of
from dyebook.physics.bathcare import check_level, make_up_bath
from dyebook.record import BATH_EVENTS
from dyebook.report import baths as report_baths
from dyebook.report.plots import plot_strength
from dyebook.report.words import plain
from dyebook.screens.answers import deed, offer_page, show_answer, show_plot
from dyebook.screens.fields import (
    RefusedError,
    ask,
    ask_text,
    ask_word,
    check_fields,
    choose,
    follow,
    keeping,
    key_of,
    mark_wrong,
    warn,
)
from dyebook.screens.navigation import go_on
from dyebook.screens.session import as_told, friendly_errors
from dyebook.screens.shade.baths import learn_here

__all__ = ["WAYS", "ask_second_dye", "show_care"]

# what can be seen and done on the page of a bath
WAYS = {"line": "Strength", "top": "Top up", "level": "Level", "make": "Make up anew", "rules": "Your rules"}
# what can be noted beside making up and topping up
_EVENTS = ("measured", "ph_moved", "filtered", "thrown_out")
_HEADS = ("uptake_mg_per_dm2", "dm2_per_l", "days")
_LEAVE = ("bath", "points", "worn_out", "bath_volume_l", "strength_g_per_l", "wanted_g_per_l")


def show_care(book, row: dict, way: str, left, right):
    """Draw one of the `WAYS` of a bath, `row` as of `dyebook.jobs.baths.all_baths`, in two columns."""
    draw = {"line": _show_line, "make": _show_make, "top": _show_top, "level": _show_level, "rules": _show_rules}[way]
    name = baths.bath_label(row["dye"], row["name"])
    check = as_told(f"bath {name}", baths.events_of_bath(book, row["id"]), report_baths.event_text)
    draw(book, name, row, left, right, check)


def _show_line(book, name, row, left, right, check):
    """Draw how strong a bath is and was, with what can be noted of it."""
    with left, friendly_errors():
        state = bath_state(book, row, learn_here)
        if state.line.points:
            wanted = report_baths.wanted_text(state.line)
            st.markdown(f"**{report_baths.strength_words(state.line.now)}**" + f"; {wanted}" * bool(wanted))
            # what was noted today alone is a sentence, not a line
            if len({one.at[:10] for one in state.line.points}) > 1:
                show_plot(plot_strength(state.line.points))
        else:
            st.markdown("Its strength is not noted yet: note one, and the line goes on from there with each dip.")
        show_answer(state, _HEADS, leave=_LEAVE)
        st.caption(_LINE_BASIS)
    with right:
        _note(book, row, check)


_LINE_BASIS = (
    "Between notes the line is worked out: what the films took, what drops carried out, what the bath loses on its own "
    "where your checks show it, and water lost to the air where a level was noted or your rules say so. Shaded: what "
    "± covers, about 95 in 100."
)


def _note(book, row, check):
    st.subheader("Note what happened", anchor=False)
    kind = choose("dyebath_event", "What", _EVENTS, BATH_EVENTS.get)
    found = {
        "dye_g_per_l": ask("event_dye_g_per_l", "Strength, g/L"),
        "ph": ask("event_ph", "pH", quantity="ph_a"),
        "bath_temp_c": ask("event_bath_temp_c", "Bath, °C"),
        "bath_volume_l": ask("event_bath_volume_l", "Volume, L", explain="Tells the level too."),
        "note": ask_text("event_note", "Note") or None,
    }
    for problem in outside_window(book, row["dye"], ph=found["ph"], bath_temp_c=found["bath_temp_c"]):
        warn(problem)
    with deed():
        done = st.button("Note it", key="note_dyebath", type="primary")
    if done:
        check_fields()
        check()
        if kind == "measured" and not any(value is not None for value in found.values()):
            raise RefusedError("nothing is written that was measured; give the strength, the pH, °C or litres")
        baths.note_bath(book, row["id"], kind, **found)
        go_on(**{f"event_{name}": "" for name in found})


def _volume(row):
    known = f"{row['bath_volume_l']:g}" if row["bath_volume_l"] else ""
    return ask(f"{row['id']}_bath_volume_l", "Bath at its line, L", known, "2 or 0.5 gal")


def _show_make(book, name, row, left, right, check):
    """Draw the making up of a bath anew, of one dye or two."""
    with left:
        strength = ask("make_dye_g_per_l", "Wanted, g/L", "3", "3 or 0.4 oz/gal")
        volume = _volume(row)
        ph, temp = ask("make_ph", "pH", quantity="ph_a"), ask("make_bath_temp_c", "Bath, °C", hint="50 or 122 °F")
        second, second_g_per_l = ask_second_dye(book)
        lot = ask_text("make_lot", "Lot number of the dye, where a tin was opened")
    with right, friendly_errors():
        if strength is None or volume is None:
            st.markdown("Strength and volume are needed.")
            return
        answer = make_up_bath(strength, volume, second_g_per_l=second_g_per_l)
        show_answer(answer, ("dye_g", "second_dye_g"))
        offer_page(f"New dye bath {name}", answer, "dyebath")
        with deed():
            done = st.button("Made up: into the book", key="keep_dyebath", type="primary")
        if done:
            check_fields()
            check()
            for one, grams in ((row["dye"], strength), (second, second_g_per_l)):
                if one and grams:
                    made = {"dye_g_per_l": grams, "bath_volume_l": volume, "ph": ph, "bath_temp_c": temp}
                    with keeping(key_of(f"{row['id']}_bath_volume_l")):
                        number = baths.find_bath(book, one, row["name"], volume)
                    baths.note_bath(book, number, "made_up", **made)
            if lot:
                baths.open_lot(book, row["dye"], lot)
            go_on(dyebath_way="line")


def ask_second_dye(book):
    """Ask for a second dye in the same tank; return its name and strength, each None without one."""
    with st.expander("A second dye in it"):
        dyes = [row["name"] for row in book.rows("dyes")]
        second = ask_word("make_second_dye", "Second dye", dyes)
        return second, ask("make_second_dye_g_per_l", "Its strength, g/L", hint="1") if second else None


def _show_top(book, name, row, left, right, check):
    """Draw the topping up of a bath, from a measured strength or from all that went through it."""
    line, mark = bath_line(book, row["id"], learn_here), f"{row['id']}_"
    with left:
        wanted = f"{line.wanted_g_per_l:g}" if line.wanted_g_per_l else "3"
        target = ask(f"{mark}top_dye_g_per_l", "Wanted, g/L", wanted, "3 or 0.4 oz/gal")
        full = _volume(row)
        measured = ask("top_measured_g_per_l", "Measured now, g/L", hint="leave empty to work it out")
        present = ask("top_present_l", "Volume now, L", hint="where you looked at the level")
        dyed = ask(f"{mark}top_dyed_dm2", "Dyed since it stood at strength, dm²", f"{line.dyed_dm2:g}")
        lot = ask_text("top_lot", "Lot number of the dye, where a tin was opened")
        lost = ask("top_evaporated_l", "Water lost to the air besides, L", "0")
    with right, friendly_errors():
        if target is None or full is None:
            st.markdown("Wanted strength and volume are needed.")
            return
        use = {"measured_g_per_l": measured, "present_l": present, "dyed_dm2": dyed, "evaporated_l": lost or 0.0}
        _, answer = top_up_of(line, full, target_g_per_l=target, **use)
        show_answer(answer, ("dye_g", "water_l", "strength_g_per_l", "dilute_l"))
        for other in _same_tank(book, row):
            st.caption(f"The same tank holds {plain(other)}: top that up too; the water goes in once.")
        offer_page(f"Top up {name}", answer, "top_up")
        with deed():
            done = st.button("Topped up: into the book", key="keep_top_up", type="primary")
        if done:
            check_fields()
            check()
            baths.note_bath(book, row["id"], "topped_up", dye_g_per_l=target, bath_volume_l=full)
            if lot:
                baths.open_lot(book, row["dye"], lot)
            go_on(dyebath_way="line", top_measured_g_per_l="", top_present_l="", top_evaporated_l="0")


def _same_tank(book, row):
    """Other dyes kept in a tank of the same name that batches met together with this one."""
    shared = baths.dyes_met_together(book, row["id"])
    return [name for name, other in baths.baths_by_name(book).items() if other["id"] in shared]


def _show_level(book, name, row, left, right, _):
    """Draw whether the dye covers a hanging load."""
    floor_known = dye_rules(book, row["dye"]).get("tank_area_dm2")
    with left:
        volume = _volume(row)
        default = f"{floor_known:g}" if floor_known else ""
        floor = ask(f"{row['id']}_tank_area_dm2", "Tank from above, inside, dm²", default, "1.2 or 18 in²")
        height = ask("part_height_mm", "Height of the hanging load, mm", hint="80 or 3 in")
        displaced = ask("part_volume_l", "Volume of the load, L", "0")
    with right, friendly_errors():
        if None in (volume, floor, height):
            st.markdown("Volume, tank and height are needed to see whether the dye covers the load.")
            return
        level = check_level(volume, floor, height, displaced or 0.0)
        show_answer(level, ("covers", "depth_mm", "missing_l", "rise_mm"))
        offer_page(f"Level of {name}", level, "level")
        if floor != floor_known and st.button("Keep this tank", key="keep_tank"):
            check_fields()
            with keeping(key_of(f"{row['id']}_tank_area_dm2")):
                set_dye_rules(book, row["dye"], tank_area_dm2=floor)
            st.rerun()


def _show_rules(book, name, row, left, right, _):
    """Draw the shop's own windows, figures and limits for a dye."""
    rules, mark = dye_rules(book, row["dye"]), row["dye"]
    with left:
        wanted = _ask_wanted(book, row)
        st.subheader(plain(f"For {row['dye']}"), anchor=False)
        asked = {
            "ph": _window(mark, rules, "ph", "pH", "ph_a"),
            "bath_temp_c": _window(mark, rules, "bath_temp_c", "Kept, °C", "bath_temp_c"),
            "dye_g_per_l": _rule(mark, rules, "dye_g_per_l", "Recipe, g/L"),
            "uptake_mg_per_dm2": _rule(mark, rules, "uptake_mg_per_dm2", "Dye taken up, mg/dm²"),
            "limit_dm2_per_l": _rule(mark, rules, "limit_dm2_per_l", "Spent after, dm²/L"),
            "limit_days": _rule(mark, rules, "limit_days", "Spent after, days"),
            "evaporation_l_per_day": _rule(mark, rules, "evaporation_l_per_day", "Water lost to the air, L a day"),
        }
        with deed():
            done = st.button("Keep these rules", key="keep_rules", type="primary")
        if done:
            with friendly_errors(), keeping(key_of(f"{mark}_"), key_of(f"{row['id']}_wanted")):
                check_fields()
                set_dye_rules(book, row["dye"], **asked)
                if wanted not in (None, baths.wanted_of_bath(book, row["id"])):
                    baths.want_strength(book, row["id"], wanted)
                st.success(plain(f"The rules for {row['dye']} are kept."), icon=":material/check:")
    with right:
        st.markdown(
            "Windows and limits are yours: take them from the dye's own data sheet and from your check coupons. What "
            "leaves a window is said where a dip is planned and where a bath is noted. Empty fields set no rule.\n\n"
            "Dye taken up: for a usual dip, where you know it; else the learned bath shares it out and your strength "
            "checks weigh it. Water lost to the air: leave it empty where you keep the bath at its line."
        )


_WANTED = {"made": "As made or topped up", "recipe": "The recipe", "measured": "As last measured", "set": "A figure"}


def _ask_wanted(book, row):
    """What the strength is to be: a word of `dyebook.jobs.baths.wanted_of_bath` or a figure; None while it has none."""
    st.subheader(plain(f"Strength wanted of {baths.bath_label(row['dye'], row['name'])}"), anchor=False)
    now, name = baths.wanted_of_bath(book, row["id"]), f"{row['id']}_wanted"
    is_figure = not isinstance(now, str)
    follow(key_of(name), "Strength wanted", "set" if is_figure else now)
    word = choose(name, "Wanted", list(_WANTED), _WANTED.get, hidden=True)
    if word != "set":
        return word
    known = f"{now:g}" if is_figure else ""
    return ask(f"{name}_dye_g_per_l", "Wanted, g/L", known, "3 or 0.4 oz/gal", quantity="dye_g_per_l")


def _window(mark, rules, name, label, quantity):
    low, high = rules.get(name, (None, None))
    left, right = st.columns(2)
    with left:
        low = ask(f"{mark}_{name}_low", f"{label} from", "" if low is None else f"{low:g}", quantity=quantity)
    with right:
        high = ask(f"{mark}_{name}_high", f"{label} to", "" if high is None else f"{high:g}", quantity=quantity)
    if (low is None) != (high is None):
        mark_wrong(f"{mark}_{name}", label, f"{label.partition(',')[0]}: both ends are needed, or neither")
    return None if None in (low, high) else (low, high)


def _rule(mark, rules, name, label):
    return ask(f"{mark}_{name}", label, f"{rules[name]:g}" if name in rules else "", quantity=f"{name}_a")
