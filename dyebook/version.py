"""The version of this package, as backups and readings name it."""

__version__ = "0.1.0"
