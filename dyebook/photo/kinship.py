"""Near shades in one photo: parts whose hues agree are more or less of one dye, and that ties their brightness."""

import numpy as np

__all__ = ["level_steps"]

_LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
# reflectance of an undyed film on aluminium, specular excluded: where more and less dye start from
_UNDYED = 0.7
# standard deviation, in log light, of the brightness that hue foretells; per unit of hue that no amount of the one dye
# explains; per unit of the foretold difference; and of a hue itself, so that greys foretell nothing. Fitted on scenes
# of two renderers.
_KIN_SD, _STRANGE_SD, _FORETOLD_SD, _HUE_SD = 0.03, 1.3, 1.0, 0.03
# parts farther apart than this are no near shades: unexplained hue, share of dye, and brightness against all forecast
_STRANGEST, _MOST_DYE, _CONTRADICTION = 0.3, 0.8, 1.0
_DARKEST = 0.003
# differences of hue below this mean nothing, log light
_HUE_NOISE = 0.15


def level_steps(films, log_sd):
    """Return by how much each part's log brightness should move so that near shades agree.

    Parameters
    ----------
    films : ndarray of shape (N, 3)
        Linear light of the films of one photo.
    log_sd : float or ndarray of shape (N,)
        Standard uncertainty of each one's brightness by itself, in log light.

    Returns
    -------
    ndarray of shape (N,)
        Zero for parts without kin in the photo.

    Notes
    -----
    How bright a curved or shiny part looks depends on its shape and the room far more than its hue does. More of a
    dye darkens each channel in proportion to what the dye already absorbs there (Beer-Lambert), so the difference
    in hue of two near shades foretells their difference in brightness. Measured and foretold differences are
    weighed by least squares.
    """
    count = len(films)
    system, wanted = np.diag(np.broadcast_to(1.0 / np.square(log_sd), count)).copy(), np.zeros(count)
    for i in range(count):
        for j in range(i + 1, count):
            weight, gap = _link(films[i], films[j])
            system[[i, j], [i, j]] += weight
            system[[i, j], [j, i]] -= weight
            wanted[[i, j]] += weight * gap * np.array([1, -1])
    return np.linalg.solve(system, wanted) if count else wanted


def _link(first, second):
    """Weight of a pair, and its foretold less its measured difference of log luminance."""
    logs = np.log(np.maximum([first, second], _DARKEST))
    middle = np.minimum(logs.mean(axis=0) - np.log(_UNDYED), 0)
    trust = _trust(np.exp(logs.mean(axis=0)))
    hue, change = _hue(middle) * trust, _hue(logs[0] - logs[1]) * trust
    more = change @ hue / (hue @ hue + _HUE_NOISE**2)
    strange = np.linalg.norm(change - more * hue)
    foretold, per_dye = (
        _log_luminance(middle * (1 + share / 2)) - _log_luminance(middle * (1 - share / 2)) for share in (more, 1.0)
    )
    gap = foretold - (_log_luminance(logs[0]) - _log_luminance(logs[1]))
    if strange > _STRANGEST or abs(more) > _MOST_DYE or abs(gap) > _CONTRADICTION:
        return 0.0, 0.0
    unsure = per_dye * _HUE_SD / max(np.linalg.norm(hue), 0.01)
    return 1 / (_KIN_SD**2 + (_STRANGE_SD * strange) ** 2 + (_FORETOLD_SD * foretold) ** 2 + unsure**2), gap


def _hue(logs):
    """Red and blue against green."""
    return np.array([logs[0] - logs[1], logs[2] - logs[1]])


def _trust(light):
    """Less weight for the hue of dark channels, where noise and veil rule."""
    pairs = np.minimum(light[[0, 2]], light[1])
    return np.clip(np.sqrt(pairs / 0.1), 0.1, 1)


def _log_luminance(logs):
    return float(np.log(np.exp(logs) @ _LUMINANCE))
