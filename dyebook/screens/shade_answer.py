"""What to set: the best bath, its settings, what to expect, and the bath along its depth."""

from html import escape

import streamlit as st

from dyebook import report_shade as words
from dyebook.errors import ModelError
from dyebook.plots_shade import plot_uptake
from dyebook.screens.bench_pieces import show_figures
from dyebook.screens.drafts import draft
from dyebook.screens.settings import fill_with
from dyebook.screens.shade_baths import advise, depth_of, fixed_in, learn, mixes, reckoned_now, suggestions
from dyebook.screens.shade_pictures import show_pair, show_ribbon
from dyebook.screens.shade_target import choose_from, remembered_toggle
from dyebook.screens.swatch import hex_of

__all__ = ["show"]

_APPROXIMATE = (
    "Swatches are approximate: a screen is not a light booth. Compare a dyed coupon in daylight and lamp light."
)


def show(book, asked):
    """Draw the answer to a `Question`."""
    if not asked.baths:
        raise ModelError("no bath in the book has a reading yet; photograph three to six dips of one bath first")
    bath = asked.bath or _best_bath(asked)
    found = suggestions(asked, bath)
    one = _choose_answer(found, f"{bath}_{_mark(asked)}")
    st.subheader(bath, anchor=False)
    show_pair([(asked.name, asked.target), ("To expect", one.lab)])
    st.markdown(f"**{words.outlook_text(one, asked.tolerance)}**")
    show_figures(words.setting_rows(one.settings))
    _show_reasons(book, asked, bath, one)
    _offer_settings(bath, asked.baths[bath], one)
    if asked.bath and not one.reachable and len(asked.baths) > 1:
        _offer_mixes(asked, _with_nearest(asked, bath), one.delta_e00)
    _show_depth(learn(asked, bath), one, asked.target)


def _best_bath(asked):
    """Ask all baths, show them, and return the one chosen; the best where nothing was chosen."""
    advice = advise(asked)
    st.subheader("Which bath first", anchor=False)
    tiles = "".join(
        _tile(number, name, one, asked.tolerance) for number, (name, one) in enumerate(advice.suggestions, start=1)
    )
    st.html(f"<div class='shade-baths'>{tiles}</div>")
    for line in words.left_out_text(advice.left_out):
        st.caption(line)
    if len(advice.suggestions) > 1 and not any(one.reachable for _, one in advice.suggestions):
        _offer_mixes(asked, [name for name, _ in advice.suggestions[:3]], advice.suggestions[0][1].delta_e00)
    # a new target begins with its own best bath
    return choose_from(f"shade_look_at_{_mark(asked)}", "Look at", [name for name, _ in advice.suggestions])


def _tile(number, name, one, tolerance):
    colour, outside = hex_of(one.lab)
    lines = [
        f"<strong>{number}. {escape(name)}</strong>",
        words.reach_word(one, tolerance),
        escape(words.miss_text(one)),
    ]
    lines += ["beyond this screen: nearest shown"] if outside else []
    told = "<br>".join(lines)
    return f"<div><span class='colour' style='background:{colour}'></span><span class='words'>{told}</span></div>"


def _with_nearest(asked, bath):
    """The bath chosen, and the two others that come nearest to the shade."""
    others = [name for name, _ in advise(asked).suggestions if name != bath]
    return [bath, *others[:2]]


def _offer_mixes(asked, baths, alone):
    """Two dyes where no bath alone reaches the shade; reckoned only when asked for, as it takes seconds."""
    if not remembered_toggle("shade_two_dyes", "No bath alone reaches it: try two dyes"):
        return
    found = words.worth_trying(mixes(asked, baths), alone)[:2]
    if not found:
        st.markdown(words.NO_NEARER)
    for mix in found:
        show_pair([(asked.name, asked.target), (" and ".join(mix.dyes), mix.lab)])
        head, *dips, trust, moves = words.mix_lines(mix)
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
    labels = [words.answer_text(one) for one in found]
    index = choose_from(f"shade_answer_{mark}", "Ways to it, best first", numbers, labels.__getitem__)
    return found[index]


def _show_reasons(book, asked, bath, one):
    st.markdown(words.forgiving_text(one))
    if "dye_g_per_l" in fixed_in(asked, bath) and "dye_g_per_l" not in asked.fixed:
        st.caption(words.strength_text(asked.strengths[bath], reckoned_now(book, asked, bath)))
    st.caption(f"{words.lamp_text(one)} {words.footing_text(one)}")
    st.caption(_APPROXIMATE)


def _offer_settings(bath, dips, one):
    dye, tank = dips["dye"].iloc[-1], dips["bath"].iloc[-1]
    texts = {"dye": dye, **words.setting_fields(one.settings)} | ({"bath": tank} if isinstance(tank, str) else {})
    with st.container(horizontal=True, vertical_alignment="center"):
        st.button("Take these settings", key="take_settings", type="primary", on_click=_take, args=(texts, bath))
        if draft().get("shade_taken") == texts:
            st.markdown("They stand on the Photo page for the new batch.", width="content")
            if st.button("To the Photo page", key="to_photo_page"):
                st.session_state["photo_way"] = "without"
                st.switch_page(st.session_state["pages"]["photo"])


def _take(texts, _bath):
    fill_with(dict(texts))
    draft()["shade_taken"] = texts


def _show_depth(model, one, target):
    run = depth_of(model, one.settings, target)
    st.subheader("The bath from pale to deep", anchor=False)
    show_ribbon(run, target)
    st.caption("At these settings but for the time in the dye.")
    st.plotly_chart(plot_uptake(run, target.L), config={"displayModeBar": False}, key="uptake")
    st.caption(
        "Lightness over time in the dye, with the band it lies in eight times in ten; dashed: the target, dotted: "
        "the time suggested. Full circles: dips on record near these settings; open ones: at other settings, which "
        "need not lie on the line."
    )
