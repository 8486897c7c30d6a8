"""How far work is: whoever waits hands in `progress`, called where a stage begins; what it raises ends the work."""

__all__ = ["say_nothing"]


def say_nothing(*_told):
    """Take what work tells where nobody waits for it."""
