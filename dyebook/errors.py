"""Errors a user can act on: each message says what was seen, what is needed, and what to do."""

__all__ = ["BookError", "DyebookError", "ModelError", "PhotoError", "RecordError", "UnsureError"]


class DyebookError(Exception):
    """Something the user can put right; shells and screens show its one-line message."""


class PhotoError(DyebookError):
    """A photo that cannot be read, or in which no trustworthy card was found."""


class RecordError(DyebookError):
    """A record, setting or bench figure outside what is possible."""


class BookError(DyebookError):
    """A book that cannot be opened, written or trusted."""


class UnsureError(BookError):
    """A write that was cut off as it ended: what it wrote is in the book as a whole, or not at all."""


class ModelError(DyebookError):
    """Records that cannot teach a bath, or a question the model cannot answer."""
