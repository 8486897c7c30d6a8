"""The chain from a photo to its readings: read, card, light, parts, reading.

`look_at` runs it by one `ReadOptions` and keeps what each stage found, so that a screen can draw it; `measure` is the
same with the options as keywords, and returns the readings alone. Neither knows a book: what a shop has set comes in
as options (`dyebook.jobs.photo.read_options`). A learned camera enters twice: its tone curve is undone before light and
parts are read, its mixing of colours after. Large JPEGs are decoded at half size; where card or part would be left with
too few pixels, the photo decodes itself whole.
"""

from dataclasses import dataclass, replace
from pathlib import Path

from dyebook.errors import PhotoError
from dyebook.photo.card.card import Card, card_at, no_card
from dyebook.photo.card.find import find_card
from dyebook.photo.file.read import HalfPhoto, LinearPhoto, read_photo
from dyebook.photo.light import Light, fit_light
from dyebook.photo.mat import Mat, find_mat
from dyebook.photo.part.find import find_parts
from dyebook.photo.part.part import part_at
from dyebook.photo.reading import Evidence, read_parts
from dyebook.photo.shared import setup_key
from dyebook.photo.twin import BARE_U, TOLD_U, is_twin, next_step, read_by_twin
from dyebook.record import Measurement, ReadOptions

__all__ = ["Look", "look_at", "measure"]

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

    def overlay(self, long_side: int = 1600):
        """Return a picture (uint8, RGB) of mat, card, parts, flaws, and the pixels used and rejected."""
        from dyebook.photo.overlay import draw_overlay

        return draw_overlay(self.photo, self.measurement, self.evidence, long_side, self.mat)

    def save_overlay(self, file: str | Path) -> None:
        """Write that picture; PhotoError if the file's ending names no picture or it cannot be written."""
        import cv2

        from dyebook.safe_file import replacing

        file = Path(file)
        if file.suffix.lower() not in _PICTURES:
            raise PhotoError(f"the overlay is to be {file.name!r}; give it one of the endings {', '.join(_PICTURES)}")
        data = cv2.imencode(file.suffix, cv2.cvtColor(self.overlay(), cv2.COLOR_RGB2BGR))[1].tobytes()
        try:
            with replacing(file) as fresh:
                fresh.write_bytes(data)
        except OSError as error:
            raise PhotoError(
                f"cannot write the overlay {file} ({error.strerror}); name a place you may write"
            ) from None


def measure(
    path,
    card_at=None,
    card_lab=None,
    part_at=None,
    camera=None,
    flat=None,
    no_card: bool = False,
    mat_line_mm: float | None = None,
    flaws: bool = True,
    steps: int | None = None,
    setup: str | None = None,
    finish: str | None = None,
    twin_at=None,
    twin_lab=None,
) -> Measurement:
    """Return the colours of the parts in a photo.

    PhotoError if the photo cannot be read, or neither a trustworthy card nor a chart is found.

    Parameters
    ----------
    path : path-like, bytes or LinearPhoto
        The photo.
    card_at, card_lab, part_at, camera, flat, no_card, mat_line_mm, flaws, steps, setup, finish, twin_at, twin_lab
        The fields of `dyebook.record.ReadOptions`.
    """
    options = ReadOptions(
        card_at, card_lab, part_at, camera, flat, no_card, mat_line_mm, flaws, steps, setup, finish, twin_at, twin_lab
    )
    return look_at(path, options).measurement


def look_at(source, options: ReadOptions = ReadOptions(), name: str | None = None) -> Look:  # noqa: B008
    """Return a `Look` at a photo: a path, bytes (whose `name` messages then use) or one read already."""
    photo = source if isinstance(source, LinearPhoto | HalfPhoto) else read_photo(source, name=name, quick=True)
    card, profile = _choose_card(photo, options)
    if options.camera is not None:
        profile = _profile_of(options.camera)
    paper = None if options.flat is None else read_photo(options.flat, quick=True)
    light = fit_light(photo, card, paper)
    mat = find_mat(photo, options.mat_line_mm)
    twin = None if options.twin_at is None else part_at(photo, options.twin_at)
    parts = _choose_parts(photo, card, light, mat, twin, options)
    learned = None if options.camera is None else profile.name
    setup = {"name": options.setup, "key": setup_key(photo, card, learned, options.setup)}
    toned, card, light = _with_profile(photo, card, light, paper, profile)
    evidence = read_parts(toned, light, card, parts, profile)
    if twin is not None:
        evidence = read_by_twin(toned, light, parts, evidence, twin, options.twin_lab, profile)
    if options.flaws:
        from dyebook.photo.flaw.find import with_flaws

        evidence = tuple(with_flaws(one, toned, light, part) for one, part in zip(evidence, parts, strict=True))
    used = options.to_dict(learned, None if paper is None else paper.sha256)
    return Look(photo, card, light, evidence, _measurement(photo, card, light, evidence, mat, used, setup), mat)


def _choose_card(photo, options):
    """The card, and the camera where the card is a chart that shows it."""
    if options.card_at is not None:
        return card_at(photo, options.card_at, options.card_lab), None
    if options.no_card:
        return no_card(), None
    try:
        return find_card(photo, options.card_lab), None
    except PhotoError as refusal:
        from dyebook.photo.camera.profile import chart_card

        try:
            return chart_card(photo)
        except PhotoError:
            raise refusal from None


def _profile_of(camera):
    """The profile of a name, or the one given."""
    from dyebook.photo.camera.store import load_camera

    return load_camera(camera) if isinstance(camera, str) else camera


def _choose_parts(photo, card, light, mat, twin, options):
    if options.part_at is not None:
        parts = [part_at(photo, polygon) for polygon in options.part_at]
    else:
        parts = [part for part in find_parts(photo, card, light) if mat is None or not mat.is_mark(part.outline)]
        if twin is not None:
            parts = [part for part in parts if not is_twin(part, twin)]
    if options.steps is None:
        return parts
    from dyebook.photo.steps import band_parts

    return band_parts(photo, light, parts, options.steps)


def _with_profile(photo, card, light, paper, profile):
    """Photo, card and light as a learned camera sees them: tone curve undone first, colours mixed last."""
    if profile is None:
        return photo, card, light
    toned = profile.undo_tone(photo)
    card = profile.read_card(toned, card)
    return toned, card, profile.after(fit_light(toned, card, paper if paper is None else profile.undo_tone(paper)))


def _measurement(photo, card, light, evidence, mat, used, setup):
    """What a look has led to; the mat, where one is seen, adds areas."""
    twin_u = None if used["twin_at"] is None else BARE_U if used["twin_lab"] is None else TOLD_U
    known = {"setup": setup, "photo_sha256": photo.sha256, "finish": used["finish"]}
    if used["steps"] is not None:
        # the bands of a strip are of one shape, however long each is
        known["shape_key"] = "strip"
    readings = [replace(one.reading, **known) for one in evidence]
    if twin_u is not None:
        # what such readings share of the shape's error is the twin's own colour, not the brightness of a form
        readings = [replace(reading, shape_key=f"{reading.shape_key} by twin") for reading in readings]
    if mat is not None:
        readings = [replace(reading, area_mm2=mat.area_mm2(reading.outline)) for reading in readings]
    flags = [*card.flags, *light.flags, *(() if mat is None else mat.flags), *(() if readings else ("no_part",))]
    if any(one.level > _TOO_LIGHT for one in evidence):
        flags.append("card_doubtful")
    if not used["flaws"]:
        flags.append("flaws_not_sought")
    return Measurement(
        photo=photo.name,
        size=photo.size,
        card_kind="mat" if mat is not None and card.kind == "grey" else card.kind,
        card_quad=None if card.quad is None else tuple(map(tuple, card.quad)),
        card_lab=card.lab,
        parts=tuple(readings),
        flags=tuple(dict.fromkeys(flags)),
        warnings=photo.notes,
        options=used,
        next_step=next_step(evidence, twin_u),
    )
