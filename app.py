"""Shim for `streamlit run app.py`; the app itself lives in dyebook.screens."""

from dyebook.screens.router import show

show()
