"""A photo of the roll as it is kept: its bytes, what was measured, and which part is meant."""

from dataclasses import dataclass

from dyebook.record import Measurement

__all__ = ["Shot"]


@dataclass(frozen=True)
class Shot:
    """One photo to keep.

    Attributes
    ----------
    content : bytes
    measurement : Measurement or None
    part : int or None
        Which part is the batch; None for all of them.
    """

    content: bytes
    measurement: Measurement | None
    part: int | None = 0

    @property
    def parts(self):
        """Indices of the parts to keep readings of; none where nothing was read."""
        count = len(self.measurement.parts) if self.measurement is not None else 0
        return tuple(range(count)) if self.part is None else (self.part,) if self.part < count else ()

    @property
    def reading(self):
        """The one reading meant, or None where there are none or several."""
        return self.measurement.parts[self.parts[0]] if len(self.parts) == 1 else None
