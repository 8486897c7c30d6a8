"""Is a batch in the order's tolerance? In, out, or "cannot tell", with the reading's own doubt as guard band.

References
----------
JCGM 106:2012 (conformance probability and guard bands). ISO 105-A02:1993 / EN 20105-A02:1994 (grey scale for change in
colour; CIELAB differences of its pairs).
"""

from dataclasses import dataclass

import numpy as np

from dyebook.errors import RecordError
from dyebook.lab import Lab, delta_e_00, delta_e_76, delta_e_94, delta_e_cmc, describe_difference, lab_to_lch
from dyebook.notebook import Drawn

__all__ = ["MEASURES", "Shade", "Verdict", "grey_grade", "judge_shade", "split_difference"]

MEASURES = {"00": delta_e_00, "76": delta_e_76, "94": delta_e_94, "cmc": delta_e_cmc}
# ISO 105-A02: CIELAB difference of the pair that stands for each grade
_GRADES = (
    (0.0, "5"), (0.8, "4-5"), (1.7, "4"), (2.5, "3-4"), (3.4, "3"), (4.8, "2-3"), (6.8, "2"), (9.6, "1-2"), (13.6, "1"),
)  # fmt: skip
_SURE = 0.95
_DRAWS = 4000
_USUAL_U = 1.0  # a reading whose doubt nobody noted; common practice, no source
# two colours in one photo share card, light and camera; the nearer they are the more of the error is shared.
# Common practice, no source.
_SHARED = 0.9
_SHARED_WITHIN_DELTA_E = 20.0
# what a wet surface or a seal may do to a reading; the seal's from trade practice (1 to 3 ΔE), water's no source
_UNLIKE = {"wet": 3.0, "sealed": 1.5}


@dataclass(frozen=True)
class Shade:
    """A colour with its standard uncertainty and the state of its surface.

    Attributes
    ----------
    lab : sequence of 3 floats
    u : sequence of 3 floats or None
        Standard uncertainty of L*, a*, b*; None when nobody noted it, zeros for a shade stated as numbers.
    wet, sealed : bool or None
        None when not known.
    """

    lab: tuple
    u: tuple | None = None
    wet: bool | None = None
    sealed: bool | None = None

    def __post_init__(self):
        lab = np.asarray(self.lab, dtype=float)
        if lab.shape != (3,) or not np.isfinite(lab).all() or not -0.5 <= lab[0] <= 105:
            raise RecordError(f"{self.lab} is no colour; three numbers L*, a*, b* with L* from 0 to 100 are needed")
        u = np.full(3, _USUAL_U) if self.u is None else np.asarray(self.u, dtype=float)
        if u.shape != (3,) or not np.isfinite(u).all() or (u < 0).any():
            raise RecordError(f"{self.u} is no uncertainty; three numbers, none negative, are needed")
        object.__setattr__(self, "lab", Lab(*(float(v) for v in lab)))
        object.__setattr__(self, "u", tuple(float(v) for v in u))


@dataclass(frozen=True)
class Verdict(Drawn):
    """A batch against its target.

    Attributes
    ----------
    verdict : str
        in, out or cannot_tell.
    probability_in : float
        That the true colour is inside the tolerance.
    measure : str
        Key of `MEASURES`.
    delta_e, delta_e_u : float
        Difference by that measure and the standard uncertainty of it.
    tolerance : float
    delta_l, delta_c, delta_h : float
        Signed CIELAB differences of lightness, chroma and hue, sample less target.
    words : str
        How the sample differs.
    grade : str
        Of the grey scale for change in colour, ISO 105-A02.
    why : str
    notes : tuple of str
    """

    verdict: str
    probability_in: float
    measure: str
    delta_e: float
    delta_e_u: float
    tolerance: float
    delta_l: float
    delta_c: float
    delta_h: float
    words: str
    grade: str
    why: str
    notes: tuple = ()

    def to_dict(self):
        """Return plain values for JSON."""
        return {
            name: round(value, 3) if isinstance(value, float) else list(value) if name == "notes" else value
            for name, value in vars(self).items()
        }


def grey_grade(delta_e):
    """Return the grey-scale grade, "5" (no change) to "1", whose pair is nearest to a CIELAB 1976 difference.

    References
    ----------
    ISO 105-A02:1993.
    """
    return min(_GRADES, key=lambda row: abs(row[0] - delta_e))[1]


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


def judge_shade(target, sample, tolerance=1.5, *, measure="00", together=False, limits=None):
    """Return whether a sample is inside the tolerance around its target.

    Parameters
    ----------
    target, sample : Shade
    tolerance : float
        Largest difference that passes, above 0.
    measure : {"00", "76", "94", "cmc"}
        CIEDE2000, CIELAB 1976, CIE 1994 or CMC(2:1).
    together : bool
        True when both were read from one photo: the difference then cancels most of the camera's error.
    limits : tuple of two sequences, optional
        Light and dark limit sample, L*, a*, b*. The sample must then lie between them, and no further than `tolerance`
        beside the line from one to the other.

    Returns
    -------
    Verdict

    Raises
    ------
    RecordError
        If the tolerance is not above 0 or the limit samples are the same.
    """
    if measure not in MEASURES:
        raise ValueError(f"measure must be one of {', '.join(MEASURES)}, not {measure!r}")
    if not tolerance > 0:
        raise RecordError(f"the tolerance is {tolerance}; it must be above 0")
    unlike = _unlike(target, sample)
    difference = MEASURES[measure]
    drawn = _draws(target, sample, together, unlike)
    distance = difference(np.broadcast_to(target.lab, drawn.shape), drawn)
    inside = _inside(drawn, distance, tolerance, difference, limits)
    share = float(np.mean(inside))
    verdict = "in" if share >= _SURE else "out" if share <= 1 - _SURE else "cannot_tell"
    delta_e = float(difference(target.lab, sample.lab))
    steps = (float(step) for step in split_difference(target.lab, sample.lab))
    return Verdict(
        verdict,
        share,
        measure,
        delta_e,
        float(np.sqrt(np.mean((distance - delta_e) ** 2))),
        float(tolerance),
        *steps,
        describe_difference(target.lab, sample.lab),
        grey_grade(float(delta_e_76(target.lab, sample.lab))),
        _why(verdict, share, limits),
        _notes(target, sample, together, unlike),
    )


def _unlike(target, sample):
    """States in which the two are known to differ."""
    pairs = {name: (getattr(target, name), getattr(sample, name)) for name in _UNLIKE}
    return [name for name, pair in pairs.items() if None not in pair and pair[0] != pair[1]]


def _draws(target, sample, together, unlike):
    """Equally likely colours (n, 3) of the sample, the target held still."""
    u, v = np.asarray(target.u), np.asarray(sample.u)
    apart = float(delta_e_76(target.lab, sample.lab))
    shared = _SHARED * np.exp(-apart / _SHARED_WITHIN_DELTA_E) if together else 0.0
    variance = u**2 + v**2 - 2 * shared * u * v + sum(_UNLIKE[name] ** 2 for name in unlike)
    half = np.random.default_rng(0).standard_normal((_DRAWS // 2, 3))
    # pairs of opposite sign: the mean is exact, and the same figures come out every time
    return np.asarray(sample.lab) + np.sqrt(variance) * np.concatenate([half, -half])


def _inside(drawn, distance, tolerance, difference, limits):
    if limits is None:
        return distance <= tolerance
    light, dark = (np.asarray(Shade(limit).lab) for limit in limits)
    span = dark - light
    if np.linalg.norm(span) < 0.1:
        raise RecordError("the light and the dark limit sample are the same; give two different ones")
    along = (drawn - light) @ span / (span @ span)
    beside = difference(light + np.clip(along, 0, 1)[:, None] * span, drawn)
    return (along >= 0) & (along <= 1) & (beside <= tolerance)


def _why(verdict, share, limits):
    what = "between the limit samples" if limits is not None else "inside the tolerance"
    if verdict == "cannot_tell":
        return f"{100 * share:.0f} in 100 that it is {what}: the reading's doubt is too large to say; measure again"
    return f"{100 * share:.0f} in 100 that it is {what}"


def _notes(target, sample, together, unlike):
    words = {"wet": ("wet", "dry"), "sealed": ("sealed", "unsealed")}
    notes = []
    for name in unlike:
        yes, no = words[name]
        first, second = (yes, no) if getattr(target, name) else (no, yes)
        notes.append(f"target read {first}, sample {second}: compare like with like; doubt was added")
    if together:
        notes.append("target and sample in one photo: judged by their difference, most of the camera's error cancels")
    else:
        notes.append("put the customer's sample beside the part in one photo: the difference is surer than two photos")
    return tuple(notes)
