"""The chain from a photo to its readings: read, card, light, parts, reading."""

from dataclasses import dataclass, replace
from pathlib import Path

import cv2

from dyebook.errors import PhotoError
from dyebook.photo.card.card import Card, card_at, no_card
from dyebook.photo.card.find import find_card
from dyebook.photo.file.read import HalfPhoto, LinearPhoto, read_photo, read_with_hash
from dyebook.photo.flaw.find import with_flaws
from dyebook.photo.light import Light, fit_light
from dyebook.photo.mat import Mat, find_mat
from dyebook.photo.overlay import draw_overlay
from dyebook.photo.part.find import find_parts
from dyebook.photo.part.part import part_at
from dyebook.photo.reading import Evidence, read_parts
from dyebook.photo.steps import band_parts
from dyebook.record import Measurement
from dyebook.safe_file import replacing

__all__ = ["Look", "look_at", "measure", "measure_with_overlay"]

_PICTURES = (".png", ".jpg", ".jpeg", ".webp")
# brightness, against perfect white, that no dyed film reaches off its mirror stripe: the card was not the card
_TOO_LIGHT = 1.4


@dataclass(frozen=True)
class Look:
    """Everything one look at a photo gave: the result, and what it was drawn from."""

    photo: LinearPhoto | HalfPhoto
    card: Card
    light: Light
    evidence: tuple[Evidence, ...]
    measurement: Measurement
    mat: Mat | None = None

    def overlay(self, long_side=1600):
        """Return a picture (uint8, RGB) of mat, card, parts, flaws, and the pixels used and rejected."""
        return draw_overlay(self.photo, self.measurement, self.evidence, long_side, self.mat)


@dataclass(frozen=True)
class _Wanted:
    """What a caller of `measure` asked for; its parameters by name."""

    card_at: object = None
    card_lab: object = None
    part_at: object = None
    camera: object = None
    flat: object = None
    no_card: bool = False
    mat_line_mm: float | None = None
    flaws: bool = True
    steps: int | None = None


def look_at(source, name=None, **options):
    """Return a `Look` at a photo; options are those of `measure`, by name, and `name` is for bytes without a path."""
    wanted = _Wanted(**options)
    photo = source if isinstance(source, LinearPhoto | HalfPhoto) else read_photo(source, name=name, quick=True)
    card, learned = _choose_card(photo, wanted)
    paper, paper_hash = (None, None) if wanted.flat is None else read_with_hash(wanted.flat)
    light = fit_light(photo, card, paper)
    mat = find_mat(photo, wanted.mat_line_mm)
    parts = _choose_parts(photo, card, light, mat, wanted)
    profile = learned if wanted.camera is None else _profile_of(wanted.camera)
    toned, card, light = _with_profile(photo, card, light, paper, profile)
    evidence = read_parts(toned, light, card, parts, profile)
    if wanted.flaws:
        evidence = tuple(with_flaws(one, toned, light, part) for one, part in zip(evidence, parts, strict=True))
    measurement = replace(_tell(photo, card, light, evidence, mat), asked=_means(wanted, profile, paper_hash))
    if not wanted.flaws:
        measurement = replace(measurement, flags=(*measurement.flags, "flaws_not_sought"))
    return Look(photo, card, light, evidence, measurement, mat)


def measure(
    path,
    card_at=None,
    card_lab=None,
    part_at=None,
    camera=None,
    flat=None,
    no_card=False,
    mat_line_mm=None,
    flaws=True,
    steps=None,
):
    """Return the colours of the parts in a photo.

    Parameters
    ----------
    path : path-like, bytes or LinearPhoto
        The photo.
    card_at : sequence of four (x, y), optional
        Corners of the card's grey area in pixels of the upright photo; card or chart is found by itself if left out.
    card_lab : sequence of 3 floats, optional
        The card's own Lab (D65, 2 degrees); 49.5, 0, 0 if left out.
    part_at : list of polygons, optional
        Outlines of the parts, each a sequence of (x, y); no others are searched.
    camera : str or CameraProfile, optional
        A learned camera, or its name.
    flat : path-like, optional
        Photo of plain paper in the same light and frame.
    no_card : bool
        Go on without a card; the colours are then a guess, and flagged.
    mat_line_mm : float, optional
        Length of the photo mat's ruler line by calipers; 100 if the printer kept to scale.
    flaws : bool
        Look for spots, streaks and other flaws too; a little quicker without.
    steps : int, optional
        The part is a stepped coupon of so many bands, 2 to 20; they become the parts, from the longest dwell on.

    Returns
    -------
    Measurement

    Raises
    ------
    PhotoError
        If the photo cannot be read, or neither a trustworthy card nor a chart is found.
    """
    card = {"card_at": card_at, "card_lab": card_lab, "no_card": no_card}
    parts = {"part_at": part_at, "flaws": flaws, "steps": steps}
    return look_at(path, **card, **parts, camera=camera, flat=flat, mat_line_mm=mat_line_mm).measurement


def measure_with_overlay(path, overlay, **options):
    """Return `measure(path, **options)` and write the picture of what was found to the file `overlay`."""
    overlay = Path(overlay)
    if overlay.suffix.lower() not in _PICTURES:
        raise PhotoError(f"the overlay is to be {overlay.name!r}; give it one of the endings {', '.join(_PICTURES)}")
    look = look_at(path, **options)
    data = cv2.imencode(overlay.suffix, cv2.cvtColor(look.overlay(), cv2.COLOR_RGB2BGR))[1].tobytes()
    try:
        with replacing(overlay) as part:
            part.write_bytes(data)
    except OSError as error:
        raise PhotoError(f"cannot write the overlay {overlay} ({error.strerror}); name a place you may write") from None
    return look.measurement


def _tell(photo, card, light, evidence, mat):
    """The measurement that a look has led to; the mat, where one is seen, adds areas."""
    readings = [one.reading for one in evidence]
    if mat is not None:
        readings = [replace(reading, area_mm2=mat.area_mm2(reading.outline)) for reading in readings]
    flags = [*card.flags, *light.flags, *(() if mat is None else mat.flags), *(() if readings else ("no_part",))]
    if any(one.level > _TOO_LIGHT for one in evidence):
        flags.append("card_doubtful")
    return Measurement(
        photo=photo.name,
        size=photo.size,
        card_kind="mat" if mat is not None and card.kind == "grey" else card.kind,
        card_quad=None if card.quad is None else tuple(map(tuple, card.quad)),
        card_lab=card.lab,
        parts=tuple(readings),
        flags=tuple(dict.fromkeys(flags)),
        warnings=photo.notes,
    )


def _means(wanted, profile, paper_hash):
    """What the photo was read by, as a book keeps it."""
    means = {
        "camera": None if wanted.camera is None else profile.name,
        "flat": paper_hash,
        "card_at": None if wanted.card_at is None else [[float(x), float(y)] for x, y in wanted.card_at],
        "mat_line_mm": wanted.mat_line_mm,
    }
    return {name: value for name, value in means.items() if value is not None}


def _profile_of(camera):
    """Profile by name, the one given, or None."""
    from dyebook.photo.camera.store import load_camera

    return load_camera(camera) if isinstance(camera, str) else camera


def _with_profile(photo, card, light, paper, profile):
    """Photo, card and light as a learned camera sees them: tone curve undone first, colours mixed last."""
    if profile is None:
        return photo, card, light
    toned = profile.undo_tone(photo)
    card = profile.read_card(toned, card)
    return toned, card, profile.dress(fit_light(toned, card, paper if paper is None else profile.undo_tone(paper)))


def _choose_card(photo, wanted):
    """The card, and the camera where the card is a chart that shows it."""
    if wanted.card_at is not None:
        return card_at(photo, wanted.card_at, wanted.card_lab), None
    if wanted.no_card:
        return no_card(), None
    try:
        return find_card(photo, wanted.card_lab), None
    except PhotoError as refusal:
        from dyebook.photo.camera.profile import chart_card

        try:
            return chart_card(photo)
        except PhotoError:
            raise refusal from None


def _choose_parts(photo, card, light, mat, wanted):
    if wanted.part_at is not None:
        parts = [part_at(photo, polygon) for polygon in wanted.part_at]
    else:
        parts = [part for part in find_parts(photo, card, light) if mat is None or not mat.is_mark(part.outline)]
    return parts if wanted.steps is None else band_parts(photo, light, parts, wanted.steps)
