"""The screens as an ASGI app for the server: Streamlit with the settings they are made for."""

import tomllib
from pathlib import Path

from dyebook.server.serve import Served

__all__ = ["SETTINGS_FILE", "make_app", "streamlit_options", "the_screens"]

SETTINGS_FILE = Path(__file__).parent / "web" / "streamlit.toml"
_SCRIPT = Path(__file__).with_name("router.py")


def the_screens() -> Served:
    """Return the screens as the server takes them."""
    from dyebook.screens.tasks import stop_all

    return Served(make_app, stop_all)


def make_app(port: int, hosts, secrets: dict | None = None):
    """Return the app (ASGI), and the largest message it reads in bytes.

    `hosts` (sequence of str): names that the app answers to: Streamlit itself asks for the name once more before it
    opens a stream. `secrets`: for sign-in, as Streamlit takes them.
    """
    from streamlit import App
    from streamlit.config import get_option
    from streamlit.web.bootstrap import load_config_options

    from dyebook.screens.session import show_error

    load_config_options({**streamlit_options(port), "server.allowedHosts": list(hosts)})
    app = App(_SCRIPT, secrets=secrets, on_script_error=show_error)
    return app, get_option("server.maxMessageSize") * 2**20


def streamlit_options(port) -> dict:
    """Return the settings of `SETTINGS_FILE` by their dotted names, whatever folder the command is given in."""
    settings = tomllib.loads(SETTINGS_FILE.read_text(encoding="utf-8"))
    settings["server"]["port"] = port
    return dict(_flat(settings))


def _flat(settings, above=""):
    """Names with dots, and values, of settings in sections."""
    for name, value in settings.items():
        if isinstance(value, dict):
            yield from _flat(value, f"{above}{name}.")
        else:
            yield f"{above}{name}", value
