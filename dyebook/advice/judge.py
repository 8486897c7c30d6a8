"""Does a part match? In, out or cannot tell: the one place that decides, by what two readings do not share.

A reading's error is made of named parts, each a 3 x 3 covariance of L*, a*, b*: what camera and lamp do to this
colour (``camera``), brightness read from this shape and finish (``shape``), card and exposure of this photo
(``photo``), and the reading's own pixels (``own``). Two readings share the camera's part where they are of one set-up
and near in colour, the shape's part where shape and finish are the same too, the photo's part within one photo, and
their own part never. What is shared moves both alike and cancels in their difference::

    cov(sample - target) = sum over the parts of  A + B - 2 rho A # B

with A and B the part's covariances in the two readings, rho what is shared of it (0 to 1), and # the geometric mean of
matrices: the largest covariance that two errors of sizes A and B can share, so that sharing never widens a difference.

The rule is a guard band on the difference itself, with u the standard uncertainty of this CIEDE2000 along its own
direction, or along the widest one where the difference is near nought::

    in            delta_e00 + 1.645 u <= tolerance
    out           delta_e00 - 1.645 u >  tolerance
    cannot_tell   otherwise

No belief about how often dips come out right has a say, and a wide u never means "out".

References
----------
ISO 14253-1:2017 and JCGM 106:2012, 8.3 (guard bands). ISO/CIE 11664-6 (CIEDE2000). Bhatia, Positive Definite Matrices
(2007), chapter 4 (geometric mean).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from dyebook.errors import RecordError
from dyebook.lab import Lab, delta_e_00, delta_e_76, delta_e_94, delta_e_cmc, describe_difference, lab_to_lch
from dyebook.notebook import Drawn, Note
from dyebook.record import Reading

__all__ = [
    "ERROR_PARTS", "Shade", "Verdict", "difference_covariance", "judge", "one_photo_error", "own_error",
    "split_difference",
]  # fmt: skip

ERROR_PARTS = ("camera", "shape", "photo", "own")
# one-sided 95 % of the normal law
GUARD = 1.645
# distance in colour over which a camera errs alike; chosen on both rendered worlds, likelier there than 40
CAMERA_LENGTH_DELTA_E = 20.0
# what unlike states of the surface may do to a reading, standard uncertainty: a seal's from trade practice (1 to 3 ΔE),
# water's and an instrument's other geometry common practice, no source
UNLIKE_DELTA_E = {"wet": 3.0, "sealed": 1.5, "geometry": 3.0}
# share of the variance that readings of one photo have in common, where their parts are not known; common practice,
# no source
SHARED_IN_ONE_PHOTO = 0.9
# standard uncertainty of a reading that came without one; common practice, no source
UNNOTED_U = 1.0
_OTHERS = {"76": delta_e_76, "94": delta_e_94, "cmc": delta_e_cmc}
# errors that point the same way to within this share of their size are one error: a gain moves each colour along a
# slightly different line. As a thickness that both covariances are given, it keeps sharing from ever widening: the
# geometric mean is superadditive. Chosen with a look at photographed shops of both worlds, of which none was left out
_SAME_WAY = 0.2
# and where an error has no size
_THINNEST_DELTA_E = 1e-4
_STEP_DELTA_E = 1e-3
# what each remedy leaves of the parts of both readings; the camera's by leave-one-out on charts
_MEAN_OF_THREE = {"photo": 1 / 3, "own": 1 / 3}
_LEARNED = {"camera": 0.4}


@dataclass(frozen=True)
class Shade:
    """A colour as it is judged: what it is, how sure, and what it shares with others."""

    lab: Lab  # sequence of 3 floats
    # dict: covariances (3, 3) by name, of `ERROR_PARTS`; empty for a shade that was stated, and is then exact
    parts: Mapping = field(default_factory=dict)
    # setup, photo, shape: keys of set-up, photo, and shape with finish; None shares with nothing
    setup: str | None = None
    photo: str | None = None
    shape: str | None = None
    # wet, sealed: state of the surface; None when not known
    wet: bool | None = None
    sealed: bool | None = None
    # of an instrument: ``"45/0"``, ``"d/8 included"``, ``"d/8 excluded"``; None for photos, which read the film's own
    # colour under diffuse light, and for stated shades
    geometry: str | None = None

    def __post_init__(self):
        object.__setattr__(self, "lab", _checked_lab(self.lab))
        object.__setattr__(self, "parts", {name: _checked_covariance(name, cov) for name, cov in self.parts.items()})

    @property
    def is_read(self):
        """Whether the colour was read and is not just stated."""
        return bool(self.parts)

    @classmethod
    def of(cls, value, **state) -> "Shade":
        """Return a reading, its dict of the measure contract, a Lab triple or a shade as a `Shade`.

        `value`: Reading, dict, Shade or sequence of 3 floats. `**state`: `wet`, `sealed`, `geometry`, where they are
        known beside the value.
        """
        if isinstance(value, cls):
            return replace(value, **state)
        if isinstance(value, Reading):
            value = value.to_dict()
        if not isinstance(value, Mapping):
            return cls(value, **state)
        return cls(
            value["lab"],
            value.get("lab_cov_parts") or own_error(value.get("lab_u")),
            setup=(value.get("setup") or {}).get("key"),
            photo=value.get("photo_sha256"),
            shape=_shape_of(value),
            **{name: value.get(name) for name in ("wet", "sealed", "geometry")} | state,
        )


@dataclass(frozen=True)
class Verdict(Drawn):
    """A sample against its target."""

    verdict: str  # in, out or cannot_tell
    # delta_e00, delta_e00_u: CIEDE2000 of the two, and the standard uncertainty of this difference
    delta_e00: float
    delta_e00_u: float
    tolerance: float
    smallest_tolerance: float  # from which on these two readings would say "in"
    # delta_l, delta_c, delta_h: signed CIELAB differences of lightness, chroma and hue, sample less target
    delta_l: float
    delta_c: float
    delta_h: float
    words: str  # how the sample differs, in everyday words
    others: dict  # the difference by other formulas, shown and never deciding: ``"76"``, ``"94"``, ``"cmc"`` (2:1)
    between: tuple | None = None  # tuple of two Lab or None: light and dark limit sample, where they decided
    notes: tuple[str, ...] = ()  # such as states in which the two are known to differ
    # what would settle a "cannot tell", the least trouble first, each with its `code`
    would_decide: tuple[str, ...] = ()
    compared: tuple = ()  # of two Lab: the target's and the sample's

    @property
    def why(self) -> str:
        """The verdict's reason in one sentence."""
        values = {"delta_e00": self.delta_e00, "u": self.delta_e00_u, "tolerance": self.tolerance}
        code = f"trouble.verdict_{self.verdict}"
        return Note(code, **values, smallest=self.smallest_tolerance, between=self.between is not None)

    def to_dict(self) -> dict:
        """Return plain values for JSON."""
        plain = {name: round(value, 3) if isinstance(value, float) else value for name, value in vars(self).items()}
        others = {name: round(value, 3) for name, value in self.others.items()}
        lists = {name: list(getattr(self, name)) for name in ("notes", "would_decide")}
        return plain | {"others": others, "why": str(self.why)} | lists


def judge(target, sample, tolerance: float = 2.0, limits=None) -> Verdict:
    """Return whether a sample matches its target.

    RecordError if a colour is none, the tolerance is not above 0, or the limit samples are the same.

    Parameters
    ----------
    target, sample : Reading, its dict of the measure contract, Shade, or sequence of 3 floats
        Three numbers are a stated shade, exact.
    tolerance : float
        Largest CIEDE2000 that passes, above 0.
    limits : tuple of two, optional
        Light and dark limit sample, each as a target: the sample must lie between them, and no further than the
        tolerance beside the line from one to the other. The target then only gives the difference that is shown.

    Examples
    --------
    >>> judge((41, 47, 52), (41, 47, 52)).verdict
    'in'
    """
    target, sample = Shade.of(target), Shade.of(sample)
    limits = limits and tuple(map(Shade.of, limits))
    if not (np.isfinite(tolerance) and tolerance > 0):
        raise RecordError(f"the tolerance is {tolerance}; it must be above 0, such as 2")
    found = _judged(target, sample, float(tolerance), limits)
    if found.verdict != "cannot_tell":
        return found
    decides = [name for name, pair in _remedies(target, sample) if _settles(pair, tolerance, limits)]
    codes = decides or ["wider_tolerance"]
    notes = (Note(f"trouble.{code}", smallest=found.smallest_tolerance) for code in codes)
    return replace(found, would_decide=tuple(notes))


def split_difference(target, sample):
    """Return ΔL*, ΔC*, ΔH* of colours, sample less target; arrays (..., 3) broadcast to (..., 3).

    Notes
    -----
    ΔH* = 2 sqrt(C1 C2) sin(Δh / 2), positive towards larger hue angles, so that
    ΔE*ab² = ΔL*² + ΔC*² + ΔH*² (ISO/CIE 11664-4).
    """
    (l1, c1, h1), (l2, c2, h2) = (np.moveaxis(lab_to_lch(colour), -1, 0) for colour in (target, sample))
    hue = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(h2 - h1) / 2 - np.pi * np.round((h2 - h1) / 360))
    return np.stack([l2 - l1, c2 - c1, hue], axis=-1)


def own_error(u) -> dict:
    """Return the error parts of a reading whose total alone is known (3 floats, None for unnoted): all its own."""
    u = np.full(3, UNNOTED_U) if u is None or any(v is None or v != v for v in u) else np.asarray(u, dtype=float)
    if u.shape != (3,) or not np.isfinite(u).all() or (u < 0).any():
        raise RecordError(f"{tuple(u)} is no uncertainty; three numbers, none negative, are needed")
    return {"own": np.diag(u**2)}


def one_photo_error(u) -> dict:
    """Return the error parts of a reading whose total alone is known, of two that were read from one photo."""
    own = own_error(u)["own"]
    return {"photo": SHARED_IN_ONE_PHOTO * own, "own": (1 - SHARED_IN_ONE_PHOTO) * own}


def difference_covariance(target: Shade, sample: Shade) -> np.ndarray:
    """Return the covariance (3, 3) of sample less target in L*, a*, b*."""
    shared = _shared(target, sample)
    total = np.zeros((3, 3))
    for name in ERROR_PARTS:
        one, other = (shade.parts.get(name, np.zeros((3, 3))) for shade in (target, sample))
        total += one + other
        if shared[name]:
            total -= 2 * shared[name] * _geometric_mean(one, other)
    return total + np.eye(3) * sum(UNLIKE_DELTA_E[name] ** 2 for name in _unlike(target, sample))


def _shared(target, sample):
    """What is shared of each part of the error, 0 to 1."""
    setup = _same(target.setup, sample.setup)
    near = np.exp(-0.5 * (float(delta_e_76(target.lab, sample.lab)) / CAMERA_LENGTH_DELTA_E) ** 2)
    return {
        "camera": float(setup * near),
        "shape": float(setup and _same(target.shape, sample.shape)),
        "photo": float(_same(target.photo, sample.photo)),
        "own": 0.0,
    }


def _same(one, other):
    return one is not None and one == other


def _geometric_mean(one, other):
    """The geometric mean of two covariances."""
    thinnest = (_THINNEST_DELTA_E**2 + _SAME_WAY**2 * np.trace(one + other) / 2) * np.eye(3)
    root = _root(one + thinnest)
    inverse = np.linalg.inv(root)
    return root @ _root(inverse @ (other + thinnest) @ inverse) @ root - thinnest


def _root(matrix):
    values, vectors = np.linalg.eigh((matrix + matrix.T) / 2)
    return (vectors * np.sqrt(np.maximum(values, 0))) @ vectors.T


def _unlike(target, sample):
    """States in which the two are known to differ."""
    pairs = {name: (getattr(target, name), getattr(sample, name)) for name in UNLIKE_DELTA_E}
    return tuple(name for name, pair in pairs.items() if None not in pair and pair[0] != pair[1])


def _judged(target, sample, tolerance, limits):
    covariance = difference_covariance(target, sample)
    delta_e, u = _distance(target.lab, sample.lab, covariance)
    margins = [(tolerance - delta_e, u)] if limits is None else _margins(sample, limits, tolerance)
    is_in = all(margin >= GUARD * u for margin, u in margins)
    is_out = any(margin < -GUARD * u for margin, u in margins)
    return Verdict(
        "in" if is_in else "out" if is_out else "cannot_tell",
        delta_e,
        u,
        tolerance,
        tolerance + max(GUARD * u - margin for margin, u in margins),
        *(float(step) for step in split_difference(target.lab, sample.lab)),
        describe_difference(target.lab, sample.lab),
        {name: float(formula(target.lab, sample.lab)) for name, formula in _OTHERS.items()},
        None if limits is None else tuple(one.lab for one in limits),
        tuple(_notes(target, sample)),
        compared=(target.lab, sample.lab),
    )


def _notes(target, sample):
    for name in _unlike(target, sample):
        yield Note(f"trouble.unlike_{name}", target=getattr(target, name))
    if _same(target.photo, sample.photo) and "photo" in target.parts and "photo" in sample.parts:
        yield Note("trouble.in_one_photo")


def _distance(target, sample, covariance):
    """CIEDE2000 of two colours and its standard uncertainty, for a covariance of their difference."""
    target, sample = np.asarray(target, dtype=float), np.asarray(sample, dtype=float)
    delta_e = float(delta_e_00(target, sample))
    widest = _widest(target, covariance)
    if delta_e == 0:
        return delta_e, widest
    steps = _STEP_DELTA_E * np.eye(3)
    away = delta_e_00(target, sample + steps) - delta_e_00(target, sample - steps)
    slope = away / (2 * _STEP_DELTA_E)
    along = float(slope @ covariance @ slope)
    # near nought a difference has no direction of its own
    near = np.exp(-((delta_e / widest) ** 2)) if widest > 0 else 0.0
    return delta_e, float(np.sqrt(max(near * widest**2 + (1 - near) * along, 0.0)))


def _widest(lab, covariance):
    """Largest standard uncertainty of a small CIEDE2000 at a colour, over all directions."""
    h = _STEP_DELTA_E
    axes = [h * axis for axis in np.eye(3)]
    square = [float(delta_e_00(lab, lab + axis)) ** 2 for axis in axes]
    metric = np.diag(square)
    # near a colour, CIEDE2000 ties a* to b* alone
    metric[1, 2] = metric[2, 1] = (float(delta_e_00(lab, lab + axes[1] + axes[2])) ** 2 - square[1] - square[2]) / 2
    root = _root(covariance)
    return float(np.sqrt(max(np.linalg.eigvalsh(root @ metric @ root / h**2)[-1], 0.0)))


def _margins(sample, limits, tolerance):
    """Room to each limit, in CIEDE2000, negative beyond it, each with its standard uncertainty."""
    light, dark = (np.asarray(one.lab) for one in limits)
    span, errors = dark - light, [difference_covariance(one, sample) for one in limits]
    if np.linalg.norm(span) < 0.1:
        raise RecordError("the light and the dark limit sample are the same; give two different ones")
    along = float((sample.lab - light) @ span / (span @ span))
    nearest = light + np.clip(along, 0, 1) * span
    beside, beside_u = _distance(nearest, sample.lab, errors[int(along > 0.5)])
    length = float(delta_e_00(light, dark))
    light_u, dark_u = (length * np.sqrt(max(span @ error @ span, 0.0)) / float(span @ span) for error in errors)
    return [(tolerance - beside, beside_u), (length * along, light_u), (length * (1 - along), dark_u)]


def _remedies(target, sample):
    """What could be done about an undecided pair, the least trouble first, with the pair as it would then be read."""
    both_read = target.is_read and sample.is_read
    if _unlike(target, sample):
        yield "like_states", (replace(target, wet=None, sealed=None, geometry=None), sample)
    if sample.is_read and not target.is_read:
        yield "photograph_sample", (replace(sample, lab=target.lab), sample)
    if both_read and not _same(target.photo, sample.photo):
        together = {"photo": sample.photo or "one", "setup": sample.setup or "one"}
        yield "one_photo", (replace(target, **together), replace(sample, **together))
    if both_read and not _same(target.setup, sample.setup):
        yield "same_setup", (replace(target, setup="one"), replace(sample, setup="one"))
    if both_read and not _same(target.shape, sample.shape):
        yield "same_shape", (replace(target, shape="one"), replace(sample, shape="one"))
    yield "more_photos", tuple(_lessened(shade, _MEAN_OF_THREE) for shade in (target, sample))
    if sample.parts.get("camera") is not None:
        yield "learn_camera", tuple(_lessened(shade, _LEARNED) for shade in (target, sample))


def _lessened(shade, left):
    return replace(shade, parts={name: cov * left.get(name, 1.0) for name, cov in shade.parts.items()})


def _settles(pair, tolerance, limits):
    return _judged(*pair, float(tolerance), limits).verdict != "cannot_tell"


def _checked_lab(lab):
    try:
        values = np.asarray(lab, dtype=float)
    except (TypeError, ValueError):
        values = np.empty(0)
    if values.shape != (3,) or not np.isfinite(values).all() or not -0.5 <= values[0] <= 105:
        raise RecordError(f"{lab} is no colour; three numbers L*, a*, b* with L* from 0 to 100 are needed")
    return Lab(*values.tolist())


def _checked_covariance(name, covariance):
    matrix = np.asarray(covariance, dtype=float)
    if name not in ERROR_PARTS:
        raise RecordError(f"{name!r} is no part of an error; known are {', '.join(ERROR_PARTS)}")
    if matrix.shape != (3, 3) or not np.isfinite(matrix).all() or not np.allclose(matrix, matrix.T, atol=1e-6):
        raise RecordError(f"the {name} part of an error is {covariance}; a symmetric 3 x 3 covariance is needed")
    return matrix


def _shape_of(values):
    key, finish = values.get("shape_key"), values.get("finish")
    return None if key is None else f"{key}, {finish or 'finish not known'}"
