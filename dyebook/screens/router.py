"""The frame all pages share, and the pages in it; the script that Streamlit runs. A new page is a line in a table."""

from importlib import import_module
from pathlib import Path

import streamlit as st

from dyebook.report.words import OTHER_UNITS
from dyebook.screens import session, tasks
from dyebook.screens.answers import show_from_top
from dyebook.screens.drafts import hold_draft, put_draft_down
from dyebook.screens.navigation import arrive, hold_pages, turn_of
from dyebook.screens.phone import show_phone_button
from dyebook.screens.piece import show_bar

__all__ = ["MORE_PAGES", "PAGES", "show"]

# name and address, title, icon, module; the first is the page that opens
PAGES = (
    ("today", "Today", ":material/wb_twilight:", "today"),
    ("bench", "Bench", ":material/science:", "bench.page"),
    ("baths", "Baths", ":material/opacity:", "baths"),
    ("book", "Book", ":material/menu_book:", "book"),
)
# under one tap: what the piece in hand leads to anyway, and what is opened now and then
MORE_PAGES = (
    ("orders", "Orders", ":material/assignment:", "orders"),
    ("shade", "Shade", ":material/colorize:", "shade.page"),
    ("photo", "Photo", ":material/photo_camera:", "photo.page"),
    ("trouble", "Trouble", ":material/troubleshoot:", "trouble"),
    ("log", "Logger's file", ":material/monitoring:", "bench.gauge"),
    ("camera", "Camera", ":material/tune:", "camera"),
    ("settings", "Settings", ":material/settings:", "shop"),
)

# what only some pages need, and takes a while
_SLOW_TO_LOAD = ("dyebook.book.frame", "dyebook.advice.learn", "plotly.graph_objects")

_WEB = Path(__file__).parent / "web"
# a picture of our own: a named icon would be fetched from a server elsewhere
_ICON = str(_WEB / "icon.png")


def show(first=PAGES[0][0]):
    """Run the page that the address names, or the `first`, inside the frame all pages share."""
    tasks.begin_page()
    st.set_page_config(page_title="dyebook", page_icon=_ICON, layout="wide")
    pages = {}
    for name, *drawn in (*PAGES, *MORE_PAGES):
        # the page that opens is at the bare address; the one that bears its name is there too, for links to it
        if name == first:
            pages[name] = _page(f"{name}-opens", *drawn, opens=True)
            named = _page(name, *drawn)
        else:
            pages[name] = _page(name, *drawn)
    hold_pages(pages)
    chosen = st.navigation([*pages.values(), named], position="hidden")
    st.html(_WEB / "style.css")
    if not session.is_let_in():
        return
    hold_draft(session.whose_draft())
    turn = turn_of(chosen.title)
    show_from_top(turn)
    ways, more = _show_ways(pages, turn)
    try:
        with session.friendly_errors():
            book = session.the_book()
            OTHER_UNITS.set(book.setting("other_units") == "yes")
            if session.is_demo():
                _show_demo_ways(ways, more)
            show_bar(book, chosen.title.lower(), turn)
            session.show_refused()
            arrive()
            chosen.run()
            tasks.warm_up(*_SLOW_TO_LOAD)
    finally:
        put_draft_down()


def _page(address, title, icon, module, opens=False):
    def run():
        import_module(f"dyebook.screens.{module}").show()

    return st.Page(run, title=title, icon=icon, url_path=address, default=opens)


def _show_ways(pages, turn):
    """Draw the ways, and return where more of them go: on the bar, and under its last tap."""
    ways = st.container(key="ways", horizontal=True, gap="small", vertical_alignment="center")
    with ways:
        for name, *_ in PAGES:
            st.page_link(pages[name])
        with st.popover("More", icon=":material/more_horiz:", type="tertiary", key=f"more_ways_{turn}") as more:
            for name, *_ in MORE_PAGES:
                st.page_link(pages[name])
            show_phone_button()
    return ways, more


def _show_demo_ways(ways, more):
    ways.caption("demo", width="content")
    if more.button("Start the demo afresh", key="renew_demo", type="tertiary"):
        session.renew_demo()
        st.rerun()
    if session.may_leave_demo() and more.button("To my own book", key="leave_demo", type="tertiary"):
        session.leave_demo()
        st.rerun()


if __name__ == "__main__":
    show()
