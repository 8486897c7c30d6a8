"""The invented shop and its rendered photos."""
