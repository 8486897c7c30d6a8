"""The script that Streamlit runs for `dyebook open`."""

from dyebook.screens.router import show

show()
