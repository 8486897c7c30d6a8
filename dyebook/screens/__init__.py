"""The screens; Streamlit only here."""
