"""Learn a camera for a screen: what the chart shows and teaches, how well readings repeat; print the photo mat."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from dyebook.errors import PhotoError
from dyebook.jobs import say_nothing
from dyebook.jobs.check_coupon import camera_of, one_part
from dyebook.jobs.photo import FITTING, read, read_options, screen_jpeg

__all__ = ["LearnedFrom", "check_repeats", "forget_learned", "keep_learned", "learn_from", "print_mat"]

_LONG_SIDE = 1400
_RING = (255, 210, 0)


@dataclass(frozen=True)
class LearnedFrom:
    """One photo of a chart."""

    size: tuple[int, ...]  # width and height of the upright photo
    # plain, overlay: the photo, and the photo with the patches as they were read, numbered from 0; JPEG
    plain: bytes
    overlay: bytes
    profile: object  # dyebook.photo.camera.profile.CameraProfile or None: None when nothing could be learned
    problem: str = ""  # why, in one sentence; empty when all is well

    def named(self, name):
        """Return the profile under a name."""
        return replace(self.profile, name=name)


def keep_learned(book, profile):
    """Keep a profile for all who use this machine; BookError for a reader of the book."""
    from dyebook.photo.camera.store import keep_camera, learned_again

    book.must_be("maker")
    return keep_camera(learned_again(profile))


def forget_learned(book, name):
    """Delete a profile; BookError for a reader of the book."""
    from dyebook.photo.camera.store import forget_camera

    book.must_be("maker")
    forget_camera(name)


def learn_from(content, name=None, chart_at=None, left_out=(), table=None, progress=say_nothing) -> LearnedFrom:
    """Return what one photo of a 24-patch chart teaches about the camera that took it.

    PhotoError if it is no photo at all; one without a usable chart is shown, with the reason in words.

    Parameters
    ----------
    name : str, optional
        As the photo was called.
    chart_at : sequence of four (x, y), optional
        Centres of dark skin, bluish green, black and white; found by itself if left out.
    left_out : sequence of int
        Patches the fit must not use.
    table : str, optional
        As for `dyebook.photo.camera.profile.learn_camera`.
    progress : callable
        Called with words where a stage begins.
    """
    from dyebook.photo.camera.chart import patch_quads
    from dyebook.photo.camera.chart_find import find_chart
    from dyebook.photo.camera.profile import learn_camera
    from dyebook.photo.file.read import read_photo

    photo = read_photo(content, name=name)
    plain, quads = _drawn(photo, ()), ()
    progress(f"Looking for the chart in {photo.name}")
    try:
        corners = find_chart(photo, left_out) if chart_at is None else chart_at
        quads = patch_quads(corners)
        profile = learn_camera(photo, "new", corners, left_out, table)
    except PhotoError as error:
        return LearnedFrom(photo.size, plain, _drawn(photo, quads), None, str(error))
    return LearnedFrom(photo.size, plain, _drawn(photo, quads), profile)


def _drawn(photo, quads):
    """The photo for a screen, the patches ringed and numbered."""
    import cv2

    from dyebook.lab import encode_srgb

    small = photo.reduced(_LONG_SIDE)
    picture = np.ascontiguousarray(np.round(encode_srgb(np.clip(small.pixels, 0, 1)) * 255).astype(np.uint8))
    for number, quad in enumerate(quads):
        points = np.round(np.asarray(quad) / small.scale).astype(np.int32)
        cv2.polylines(picture, [points], True, (0, 0, 0), 4, cv2.LINE_AA)
        cv2.polylines(picture, [points], True, _RING, 2, cv2.LINE_AA)
        place = int(points[:, 0].min()) + 3, int(points[:, 1].min()) + 18
        for colour, width in (((0, 0, 0), 4), ((255, 255, 255), 1)):
            cv2.putText(picture, str(number), place, cv2.FONT_HERSHEY_SIMPLEX, 0.55, colour, width, cv2.LINE_AA)
    return screen_jpeg(picture)


def check_repeats(book, photos, batch_sd=None, progress=None, read=read, **asked):
    """Return how well readings of one coupon repeat over several photos, and keep it with the camera that was named.

    PhotoError if a photo shows no or several parts, is given twice, or was taken with another camera than the rest, or
    there are too few photos.

    Parameters
    ----------
    book : dyebook.book.store.Book or None
        Its holder must be a maker to change a camera.
    photos : sequence of (str, path or bytes)
        Name and content; the coupon alone beside the card, moved and photographed anew each time.
    batch_sd : sequence of 3 floats, optional
        Spread of the shop's batches per L*, a*, b*, for the gauge share.
    progress : callable, optional
        Called with the number of photos done.
    """
    from dyebook.photo.camera.repeat import repeatability
    from dyebook.photo.camera.store import note_repeatability

    options = read_options(book, flaws=False, **asked)
    is_named = options.camera not in (None, FITTING)
    if is_named and book is not None:
        book.must_be("maker")
    _refuse_twins(photos)
    seen = []
    for name, content in photos:
        seen.append(read(content, options, name))
        one_part(seen[-1])
        if progress is not None:
            progress(len(seen))
    camera = camera_of(seen)
    spread = repeatability([one_part(one).lab for one in seen], batch_sd)
    if is_named:
        note_repeatability(camera, spread.sd)
    return spread


def _refuse_twins(photos):
    """Refuse a photo given twice: it would make the spread look smaller than it is."""
    first = {}
    for name, content in photos:
        data = (
            content if isinstance(content, bytes) else Path(content).read_bytes() if Path(content).is_file() else name
        )
        if data in first:
            raise PhotoError(
                f"{first[data]} and {name} are one photo; photograph the coupon anew each time, lifting and laying it"
            )
        first[data] = name


def print_mat(file, paper: str) -> float:
    """Write the photo mat as a PDF for a paper of `dyebook.photo.mat.PAPERS`; return its ruler line's length in mm."""
    from dyebook.photo.mat import LINE_MM, PAPERS, mark_fields, mat_marks
    from dyebook.report.paper.mat import write_mat

    marks = [
        (tuple(corners[0]), corners[1][0] - corners[0][0], mark_fields(number))
        for number, corners in mat_marks(paper).items()
    ]
    try:
        write_mat(file, paper, PAPERS[paper], marks, LINE_MM)
    except OSError as fault:
        raise PhotoError(f"{file} cannot be written ({fault.strerror}); name a folder that can be") from fault
    return LINE_MM
