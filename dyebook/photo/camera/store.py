"""Camera profiles kept by name, one JSON file each, in the user's data folder."""

import json
import os
import re
from contextlib import suppress
from dataclasses import asdict, replace
from pathlib import Path

from dyebook.errors import PhotoError
from dyebook.photo.camera.fit import Tone
from dyebook.photo.camera.profile import CameraProfile
from dyebook.safe_file import replacing

__all__ = [
    "cameras_folder",
    "forget_camera",
    "keep_camera",
    "learned_again",
    "list_cameras",
    "load_camera",
    "note_repeatability",
    "profile_for",
]

_FORMAT = 1
_NAME = re.compile(r"\w(?:[\w .+-]{0,58}\w)?")


def cameras_folder() -> Path:
    """Return the folder of the profiles: ``DYEBOOK_CAMERAS_DIR``, else the user's data folder."""
    given = os.environ.get("DYEBOOK_CAMERAS_DIR")
    if given:
        return Path(given)
    from platformdirs import user_data_path

    return user_data_path("dyebook", appauthor=False) / "cameras"


def keep_camera(profile: CameraProfile) -> Path:
    """Write a profile under its name, replacing an older one, and return the file."""
    path = _path(profile.name)
    text = json.dumps({"format": _FORMAT, **asdict(profile)}, ensure_ascii=False, allow_nan=False, indent=1)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with replacing(path) as fresh:
            fresh.write_text(text, encoding="utf-8")
    except OSError as error:
        raise PhotoError(
            f"the camera {profile.name!r} could not be kept in {path.parent} ({error.strerror or error}); "
            "what was kept before still is; check the folder and its space"
        ) from error
    return path


def learned_again(profile: CameraProfile) -> CameraProfile:
    """Return a fresh profile with what an older one of its name holds of the shop: how readings repeat, its days."""
    if not _path(profile.name).is_file():
        return profile
    older = load_camera(profile.name)
    return replace(profile, repeat_sd=older.repeat_sd, coupon_days=older.coupon_days)


def load_camera(name: str) -> CameraProfile:
    """Return a profile by its name."""
    path = _path(name)
    if not path.is_file():
        known = ", ".join(camera.name for camera in list_cameras()) or "none yet"
        raise PhotoError(
            f"no camera called {name!r}; known: {known}. Learn it with: dyebook camera learn PHOTO --name …"
        )
    return _read(path)


def list_cameras() -> list[CameraProfile]:
    """Return all profiles, by name."""
    return [_read(path) for path in sorted(cameras_folder().glob("*.json"))]


def forget_camera(name: str) -> None:
    """Delete a profile; raises `PhotoError` if there is none of that name."""
    load_camera(name)
    _path(name).unlink()


def note_repeatability(name: str, repeat_sd) -> CameraProfile:
    """Keep how well the shop repeats a reading with a camera, and return the profile."""
    profile = replace(load_camera(name), repeat_sd=tuple(map(float, repeat_sd)))
    keep_camera(profile)
    return profile


def profile_for(photo) -> CameraProfile | None:
    """Return the newest profile learned with the camera that took a photo (by its EXIF), or None."""
    if photo.camera.model is None:
        return None
    same = [c for c in _sound_cameras() if (c.make, c.model) == (photo.camera.make, photo.camera.model)]
    return max(same, key=lambda camera: camera.learned_at, default=None)


def _sound_cameras():
    """Profiles that can be read: a damaged file, which `list_cameras` reports, must not keep a photo unread."""
    for path in sorted(cameras_folder().glob("*.json")):
        with suppress(PhotoError):
            yield _read(path)


def _path(name):
    """File of a profile; a name that could leave the folder is refused."""
    if not _NAME.fullmatch(name):
        raise PhotoError(f"{name!r} cannot name a camera; use up to 60 letters, figures, spaces, dots and hyphens")
    return cameras_folder() / f"{name}.json"


def _read(path):
    """Profile in a file."""
    try:
        held = json.loads(path.read_text(encoding="utf-8"))
        if held.pop("format") != _FORMAT:
            raise ValueError("written by another version")
        tone = {key: _tuples(value) for key, value in held.pop("tone").items()}
        return CameraProfile(tone=Tone(**tone), **{key: _tuples(value) for key, value in held.items()})
    except (OSError, KeyError, TypeError, ValueError, AttributeError) as fault:
        raise PhotoError(f"the camera file {path.name} cannot be read ({fault}); learn the camera again") from fault


def _tuples(value):
    """Lists from JSON as tuples, all the way down."""
    return tuple(map(_tuples, value)) if isinstance(value, list) else value
