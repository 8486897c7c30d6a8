"""Area: a load put together from shapes, each with a sketch to scale, and the sum."""

from dataclasses import replace

import streamlit as st

from dyebook.physics.area import parse_shape, shape_area_dm2, sum_areas
from dyebook.report.sketches import draw_shape
from dyebook.report.words import figure_text
from dyebook.screens.answers import deed, offer_page, show_answer
from dyebook.screens.drafts import draft
from dyebook.screens.fields import ask, ask_text, check_fields, choose, key_of, put
from dyebook.screens.navigation import go_on
from dyebook.screens.session import friendly_errors

__all__ = ["show_area"]

_OUTSIDE = {"thread_pitch": "", "thread_length": "", "knurl_length": ""}
# kinds of shape: what they are called, and their measures with what stands in an empty field
_KINDS = {
    "rod": ("Rod", {"diameter": "20", "length": "50", "bore_diameter": "", "bore_depth": ""} | _OUTSIDE),
    "tube": ("Tube", {"diameter": "20", "inside_diameter": "16", "length": "50"}),
    "turned": ("Turned", {"profile": "20 x 30\n12 x 15", "bore_diameter": ""}),
    "plate": ("Plate", {"length": "80", "width": "40", "thickness": "3", "holes": "", "hole_diameter": ""}),
    "disc": ("Disc", {"diameter": "40", "thickness": "3"}),
    "ring": ("Ring", {"diameter": "30", "section": "3"}),
    "ball": ("Ball", {"diameter": "20"}),
    "cap": ("Cap", {"diameter": "20", "length": "30", "wall": "2"}),
    "cone": ("Cone", {"diameter": "20", "length": "40", "tip_diameter": ""}),
    "hexagon": ("Hexagon", {"across_flats": "17", "length": "30", "bore_diameter": "", "bore_depth": ""}),
    "angle": ("Angle", {"leg": "30", "other_leg": "20", "thickness": "3", "length": "100"}),
    "area": ("Known area", {"area": ""}),
}
_NAMES = {
    "bore_diameter": "Bore, diameter",
    "bore_depth": "Blind bore, depth",
    "section": "Section (wire), diameter",
    "diameter": "Outside diameter",
    "inside_diameter": "Inside diameter",
    "tip_diameter": "Diameter at the tip",
    "hole_diameter": "Diameter of the holes",
    "wall": "Wall and floor",
    "thread_pitch": "Thread outside, pitch",
    "thread_length": "Thread outside, length",
    "knurl_length": "Knurl, length",
    "other_leg": "Other leg",
    "across_flats": "Across flats",
    "profile": "Diameter x length, a step a line",
    "area": "Area, such as 0.3 dm² or 4 in²",
}
_LOAD = "bench_load"


def show_area():
    """Draw the shapes of a load and their sum."""
    left, right = st.columns(2, gap="large")
    with deed():
        foot = st.container(key="beside_area", horizontal=True)
    with left:
        _new_shape(foot)
    with right:
        _show_load(foot)


def _new_shape(foot):
    kind = choose("shape", "Shape", list(_KINDS), lambda one: _KINDS[one][0])
    unit = choose("length_unit", "Numbers without a unit are in", ["mm", "in"], {"mm": "mm", "in": "inch"}.get)
    columns = st.columns([3, 2])
    with columns[0]:
        words = " ".join([kind, *_measures(kind, unit)])
        count = st.number_input("How many alike", 1, 10_000, key=key_of("count"))
        label = st.text_input("Name, if you like", key=key_of("label"), placeholder=_KINDS[kind][0].lower())
    with columns[1], friendly_errors():
        shape = parse_shape(f"{words} x{count}")
        each = shape_area_dm2(shape.kind, **shape.sizes)
        _sketch(shape)
        st.markdown(f"Each {figure_text('area_dm2', each)}")
        entry = {"words": f"{words} x{count}", "label": label.strip() or _KINDS[kind][0].lower()}
        kind = "secondary" if draft().get(_LOAD) else "primary"
        add = {"width": "stretch", "on_click": _add, "args": (entry,)}
        foot.button("Add to the load", key="add_shape", type=kind, **add)


def _sketch(shape):
    drawn = draw_shape(shape.kind, shape.sizes)
    if drawn:
        st.image(drawn, width="stretch", alt="Sketch of the part, to scale")
        st.caption("To scale, in mm; dashed: hollow.")


def _measures(kind, unit):
    """Words of the measures typed, as `parse_shape` takes them."""
    words = []
    for name, default in _KINDS[kind][1].items():
        title = _NAMES.get(name, name.capitalize())
        text = ask_text(f"{kind}_{name}", title, long=name == "profile", default=default)
        if text:
            words.append(f"{name}={_with_unit(name, text, unit)}")
    return words


def _with_unit(name, text, unit):
    if name == "profile":
        steps = [step.lower().replace("×", "x").partition("x") for step in text.splitlines() if step.strip()]
        return ",".join(f"{_length(a, unit)}x{_length(b, unit)}" for a, _, b in steps)
    return text.replace(" ", "") if name in ("holes", "area") else _length(text, unit)


def _length(text, unit):
    text = text.replace(" ", "").replace(",", ".")
    return text + unit if text.replace(".", "", 1).isdigit() else text


def _add(entry):
    draft().setdefault(_LOAD, []).append(entry)
    put(count=1, label="")


def _show_load(foot):
    load = draft().setdefault(_LOAD, [])
    st.subheader("The load", anchor=False)
    if not load:
        st.markdown("Nothing yet. Choose a shape, give its measures, and add it; several shapes make one part.")
    for place, entry in enumerate(load):
        _show_line(load, place, entry)
    jig = ask("jig_dm2", "Jig: wetted aluminium, dm²", hint="0.2; nothing for titanium")
    with friendly_errors():
        if load or jig:
            _show_sum([_shape_of(entry) for entry in load], jig or 0.0, foot)


def _shape_of(entry):
    return replace(parse_shape(entry["words"]), label=entry["label"])


def _show_line(load, place, entry):
    shape = _shape_of(entry)
    area = shape.count * shape_area_dm2(shape.kind, **shape.sizes)
    with st.container(key=f"load_{place}", horizontal=True, vertical_alignment="center"):
        drawn = draw_shape(shape.kind, shape.sizes)
        if drawn:
            st.image(drawn, width=84, alt="Sketch of the part")
        st.markdown(f"**{shape.count} × {entry['label']}**  \n{figure_text('area_dm2', area)}", width="stretch")
        st.button("Take out", key=f"take_out_{place}", type="tertiary", on_click=load.pop, args=(place,))


def _show_sum(shapes, jig_dm2, foot):
    total = sum_areas(shapes, jig_dm2)
    show_answer(total, ("area_dm2",))
    label = f"Plan a run with {figure_text('area_dm2', total.area_dm2).partition(' (')[0]}"
    if foot.button(label, key="use_area", type="primary", width="stretch"):
        check_fields()
        go_on("plan", area_dm2=f"{total.area_dm2:.4g}", by_shapes=False)
    st.button("Empty the load", key="empty_load", type="tertiary", on_click=draft().pop, args=(_LOAD, None))
    offer_page("Wetted area", total, "area")
