"""The way between the screens; adding one is a line in `PAGES`."""

from importlib import import_module
from pathlib import Path

import streamlit as st

from dyebook.screens import shelf, tasks
from dyebook.screens.drafts import hold_draft, put_draft_down
from dyebook.screens.phone import show_phone_button

__all__ = ["MORE_PAGES", "PAGES", "show"]

# page, title, icon, address; the first is the page that opens
PAGES = (
    ("today", "Today", ":material/wb_twilight:", "today"),
    ("bench", "Bench", ":material/science:", "bench"),
    ("shade", "Shade", ":material/colorize:", "shade"),
    ("photo", "Photo", ":material/photo_camera:", "photo"),
    ("book", "Book", ":material/menu_book:", "book"),
)
# opened now and then: in smaller type, on the phone above the page and not at the thumb
MORE_PAGES = (
    ("orders", "Orders", ":material/assignment:", "orders"),
    ("baths", "Baths", ":material/opacity:", "baths"),
    ("trouble", "Trouble", ":material/troubleshoot:", "trouble"),
    ("camera", "Camera", ":material/tune:", "camera"),
)

# pages that are folders
_FOLDERS = {name: f"{name}.page" for name in ("bench", "photo", "shade", "orders")}
# what only some pages need, and takes a while
_SLOW_TO_LOAD = ("dyebook.photo.measure", "dyebook.book.frame", "dyebook.advice.learn", "plotly.graph_objects")

_WEB = Path(__file__).parent / "web"
_STYLE = _WEB / "style.css"
# a picture of our own: a named icon would be fetched from a server elsewhere
_ICON = str(_WEB / "icon.png")


def show(first=PAGES[0][0]):
    """Run the page that the address names, or the `first`, inside the frame all pages share."""
    tasks.begin_page()
    st.set_page_config(page_title="dyebook", page_icon=_ICON, layout="wide")
    pages = {module: _page(module, *words, module == first) for module, *words in (*PAGES, *MORE_PAGES)}
    st.session_state["pages"] = pages
    chosen = st.navigation([*pages.values(), _by_its_name(first)], position="hidden")
    st.html(_STYLE)
    if not shelf.is_let_in(shelf.open_shelf):
        return
    hold_draft()
    with st.container(key="frame", horizontal=True, gap="small"):
        for key, listed in (("ways", PAGES), ("more_ways", MORE_PAGES)):
            with st.container(key=key, horizontal=True, gap="small", width="content", vertical_alignment="center"):
                for module, *_ in listed:
                    st.page_link(pages[module])
                if key == "more_ways":
                    show_phone_button()
    try:
        with shelf.friendly_errors():
            shelf.the_book()
            if shelf.is_demo():
                _mark_demo()
            chosen.run()
            tasks.warm_up(*_SLOW_TO_LOAD)
    finally:
        put_draft_down()


def _page(module, title, icon, address, is_first):
    # the page that opens is at the bare address; its own stays free for whoever types it
    address = f"{address}-opens" if is_first else address
    return st.Page(_drawing(module), title=title, icon=icon, url_path=address, default=is_first)


def _by_its_name(first):
    """The page that opens once more, at the address that bears its name."""
    title, icon, address = next(words for module, *words in (*PAGES, *MORE_PAGES) if module == first)
    return st.Page(_drawing(first), title=title, icon=icon, url_path=address)


def _drawing(module):
    def run():
        import_module(f"dyebook.screens.{_FOLDERS.get(module, module)}").show()

    return run


def _mark_demo():
    with st.container(key="demo_mark", horizontal=True, vertical_alignment="center"):
        st.markdown("**Demo book.** An invented shop; its photos are rendered, not photographed.", width="content")
        if st.button("Start it afresh", key="renew_demo", type="tertiary"):
            shelf.renew_demo()
            st.rerun()
        if st.session_state.get("shelf") == "demo" and st.button("To my own book", key="leave_demo", type="tertiary"):
            shelf.leave_demo()
            st.rerun()
