"""What to set for a shade: which bath, its settings, what to expect, and the bath along its depth as a ribbon."""

from dataclasses import replace
from html import escape

import streamlit as st

from dyebook.errors import ModelError
from dyebook.lab import describe_colour
from dyebook.report import shade as report_shade
from dyebook.report import words as report_words
from dyebook.report.plots import plot_uptake
from dyebook.report.shade import depth_text
from dyebook.report.words import dwell_text
from dyebook.screens.answers import deed, show_figures, show_plot
from dyebook.screens.fields import choose_from, switch
from dyebook.screens.piece import take_to_bench
from dyebook.screens.shade.baths import advise, as_it_stands, depth_of, learn, mixes, plan_of, second_way, suggestions
from dyebook.screens.swatch import OUTSIDE, hex_of, show_pair

__all__ = ["show"]

# CIEDE2000 that a second way must gain to be named; common practice, no source
_NEARER = 0.5
# under every so many swatches stands a dwell
_LABEL_EVERY = 6


_APPROXIMATE = (
    "Swatches are approximate: a screen is not a light booth. Compare a dyed coupon in daylight and lamp light."
)


def show(book, asked):
    """Draw the answer to a `Question`."""
    if not asked.baths:
        raise ModelError("no bath in the book has a reading yet; photograph three to six dips of one bath first")
    answer, others = st.container(), st.container()
    with others:
        bath = asked.bath or _best_bath(asked)
    with answer:
        one = _show_answer(book, asked, bath)
    if asked.bath and not one.reachable and len(asked.baths) > 1:
        _offer_mixes(asked, _with_nearest(asked, bath), one.delta_e00)
    _show_depth(learn(asked, bath), one, asked.target)


def _show_answer(book, asked, bath):
    """The answer of one bath, with its button right below its figures; returns it."""
    found = suggestions(asked, bath)
    one = _choose_answer(found, f"{bath}_{_mark(asked)}")
    st.subheader(report_words.plain(bath), anchor=False)
    show_pair([(asked.name, asked.target), ("To expect", one.lab)])
    st.markdown(f"**{report_shade.outlook_text(one, asked.tolerance)}**")
    if line := report_shade.likely_text(asked.target, one):
        st.caption(line)
    show_figures(report_shade.setting_rows(as_it_stands(asked, bath, one.settings)))
    _offer_settings(book, asked, bath, one)
    _show_reasons(book, asked, bath, one)
    return one


def _best_bath(asked):
    """Ask all baths, show them, and return the one chosen; the best where nothing was chosen."""
    advice = advise(asked)
    st.subheader("Which bath first", anchor=False)
    tiles = "".join(
        _tile(number, name, one, asked.tolerance) for number, (name, one) in enumerate(advice.suggestions, start=1)
    )
    st.html(f"<div class='shade-baths'>{tiles}</div>")
    for line in report_shade.left_out_text(advice.left_out):
        st.caption(line)
    if len(advice.suggestions) > 1 and not any(one.reachable for _, one in advice.suggestions):
        _offer_mixes(asked, [name for name, _ in advice.suggestions[:3]], advice.suggestions[0][1].delta_e00)
    # a new target begins with its own best bath
    return choose_from(f"shade_look_at_{_mark(asked)}", "Look at", [name for name, _ in advice.suggestions])


def _tile(number, name, one, tolerance):
    colour, outside = hex_of(one.lab)
    lines = [
        f"<strong>{number}. {escape(name)}</strong>",
        report_shade.reach_word(one, tolerance),
        escape(report_shade.miss_text(one)),
    ]
    lines += [OUTSIDE] if outside else []
    words = "<br>".join(lines)
    return f"<div><span class='colour' style='background:{colour}'></span><span class='words'>{words}</span></div>"


def _with_nearest(asked, bath):
    """The bath chosen, and the two others that come nearest to the shade."""
    others = [name for name, _ in advise(asked).suggestions if name != bath]
    return [bath, *others[:2]]


def _offer_mixes(asked, baths, alone):
    """Two dyes where no bath alone reaches the shade; worked out only on asking, as it takes seconds."""
    if not switch("shade_two_dyes", "No bath alone reaches it: try two dyes"):
        return
    found = report_shade.worth_trying(mixes(asked, baths), alone)[:2]
    if not found:
        st.markdown(report_shade.NO_NEARER)
    for mix in found:
        show_pair([(asked.name, asked.target), (" and ".join(mix.dyes), mix.lab)])
        head, *dips, trust, moves = report_shade.mix_lines(mix)
        st.markdown(f"**{head}**")
        for line in dips:
            st.markdown(line)
        st.caption(f"{trust} {moves}")


def _mark(asked):
    return "_".join(f"{value:g}" for value in asked.target)


def _choose_answer(found, mark):
    if len(found) == 1:
        return found[0]
    numbers = range(len(found))
    labels = [report_shade.answer_text(one) for one in found]
    index = choose_from(f"shade_answer_{mark}", "Ways to it, best first", numbers, labels.__getitem__)
    return found[index]


def _show_reasons(book, asked, bath, one):
    st.markdown(report_shade.forgiving_text(one))
    if not asked.free:
        stands = {"now_g_per_l": "dye_g_per_l", "bath_temp_c": "bath_temp_c"}
        stands = replace(asked.stands[bath], **{one: None for one, name in stands.items() if name in asked.fixed})
        if line := report_shade.stands_text(stands):
            st.caption(f"The bath as it is: {line}.")
        _offer_second_way(asked, bath, one)
    st.caption(f"{report_shade.lamp_text(one)} {report_shade.footing_text(one)}")
    st.caption(f"{report_words.DIFFERENCE} {_APPROXIMATE}")


def _offer_second_way(asked, bath, one):
    """The bath made warmer or stronger within its rules, with what that takes, where it comes clearly nearer."""
    if one.reachable:
        return
    other = second_way(asked, bath)
    settings = as_it_stands(asked, bath, other.settings)
    takes = report_shade.second_way_text(asked.stands[bath], settings)
    if takes and other.delta_e00 < one.delta_e00 - _NEARER:
        text = report_shade.settings_text(settings)
        st.markdown(f"**A second way**, {takes}: {text}. {report_shade.outlook_text(other, asked.tolerance)}")


def _offer_settings(book, asked, bath, one):
    with deed():
        taken = st.button("Dye with these", key="dye_with", type="primary", icon=":material/arrow_forward:")
    if taken:
        take_to_bench(book, plan_of(asked, bath, one.settings), f"for {asked.name}")


def _show_depth(model, one, target):
    run = depth_of(model, one.settings, target)
    st.subheader("The bath from pale to deep", anchor=False)
    _show_ribbon(run, target)
    st.caption("At these settings but for the time in the dye.")
    show_plot(plot_uptake(run, target.L), "uptake")
    st.caption(
        "Lightness over time in the dye, with the band it lies in eight times in ten; dashed: the target, dotted: "
        "the time suggested. Full circles: dips on record near these settings; open ones: at other settings, which "
        "need not lie on the line."
    )


def _show_ribbon(run, target):
    """The bath of a `DepthRun` as swatches from pale to deep, and the target pinned where it comes nearest."""
    count = len(run.dwell_min)
    cells = "".join(_cell(run, i) for i in range(count))
    ticks = "".join(
        f"<span style='left:{100 * (i + 0.5) / count:.2f}%'>{dwell_text(run.dwell_min[i]).removesuffix(' min')}</span>"
        for i in range(0, count, _LABEL_EVERY)
    )
    colour, outside = hex_of(target)
    at = 100 * (run.nearest + 0.5) / count
    side = "left" if at < 50 else "right"
    where = f"left:{at:.2f}%" if side == "left" else f"right:{100 - at:.2f}%"
    pin = (
        f"<div class='pin {side}' style='{where}'><span class='head' style='background:{colour}'></span>"
        f"<span>target{', ' + OUTSIDE if outside else ''}</span></div>"
    )
    words = depth_text(run)
    st.html(
        f"<div class='shade-ribbon' role='img' aria-label='{escape(_spoken(run, words))}'>{pin}"
        f"<div class='cells'>{cells}</div><div class='ticks'>{ticks}</div></div>"
        f"<p class='ribbon-words'><strong>{escape(words)}</strong> {escape(_ends(run))}</p>"
    )


def _cell(run, index):
    colour, outside = hex_of(run.lab[index])
    title = f"{dwell_text(run.dwell_min[index])}: {report_words.lab_text(run.lab[index])}"
    kind = " class='beyond'" if outside else ""
    return f"<i{kind} style='background:{colour}' title='{escape(title + (', ' + OUTSIDE if outside else ''))}'></i>"


def _ends(run):
    beyond = any(hex_of(lab)[1] for lab in run.lab)
    text = (
        f"From {describe_colour(run.lab[0])} to {describe_colour(run.lab[-1])}; minutes and seconds in the dye below."
    )
    return text + (" Hatched: stronger than shown." if beyond else "")


def _spoken(run, words):
    return f"The bath from {describe_colour(run.lab[0])} to {describe_colour(run.lab[-1])}. Target pinned. {words}"
