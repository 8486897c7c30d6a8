"""A learned bath: what colour settings will give, and how sure that is.

Draws come from the normal approximation at the mode of each hypothesis (a strength of discrepancy and drift, weighted
by its evidence), and colours are taken to first order about that mode. Pushing such draws through the full model
instead would widen every prediction: draws that differ along a bent valley no longer pass through the records.

References
----------
Immer, Korzepa & Bauer, AISTATS 2021 (improving predictions by local linearisation).
"""

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from dyebook.model.fit import fit_hypotheses
from dyebook.model.forward import Hyper, Shape, colours, colours_with_slopes, film_of
from dyebook.model.inputs import Scales, Settings, Training, check_table, read_records, read_settings
from dyebook.model.parameters import Discrepancy
from dyebook.notebook import Drawn

__all__ = ["BathModel", "Draws", "colour_draws", "learn_model", "mode_colours", "one_thread"]

_DRAWS = 128
_CHUNK = 1000
# the priors are wider than baths are, so that none is ruled out; until records outweigh them, departures are shrunk as
# if this many dips were already known (set on simulated baths: nine true colours in ten below the 90 % figure)
_CAUTION = 2.0
_LEAST_WEIGHT = 0.02


@dataclass(frozen=True)
class BathModel(Drawn):
    """A dye bath learned from records; make one with `learn_bath`."""

    training: Training  # the records as they were read
    reference: Settings  # the middle dip, to which loads are relative
    discrepancy: Discrepancy
    draws: tuple  # the posterior
    usual: Scales  # film and pH taken when none is given
    fits: tuple = field(default=(), repr=False)
    # ISO date that is meant where a dip to be predicted has none; None for the day of the latest record
    today: str | None = None

    def as_of(self, day):
        """Return the same bath asked on another day, an ISO date: the longer after its latest dip, the less sure."""
        return replace(self, today=day)

    @property
    def reading_scale(self) -> float:
        """How much worse (or better) than their stated doubt the bath's readings repeat, as the fit has found."""
        weights = [len(part.departures) for part in self.draws]
        return float(np.average([part.hyper.reading_scale for part in self.draws], weights=weights))

    @cached_property
    def _usual(self):
        """Columns of the usual circumstances, shapes (1, q) and (1, r)."""
        import pandas as pd

        return self.training.circumstances.encode(pd.DataFrame({"dyed_at": [self.today]}, dtype=object))

    def predict(self, settings):
        """Return the expected colour of dips and its uncertainty.

        L, a, b and L_sd, a_sd, b_sd are of the colour itself, without the scatter of a reading. `settings`
        (pandas.DataFrame): columns dye_g_per_l, bath_temp_c, dwell_min, and where known film_um, ph, dyed_at and the
        other columns of records. As in learning, a film that a gauge read stands before the planned one.
        """
        import pandas as pd

        check_table("settings", settings)
        if self.today is not None and "dyed_at" not in settings.columns:
            settings = settings.assign(dyed_at=self.today)
        asked = read_settings(settings, self.usual, self.training.circumstances)
        pieces = [self.colour_draws(asked[i : i + _CHUNK]) for i in range(0, len(asked), _CHUNK)]
        table = np.vstack([np.zeros((0, 6)), *(np.hstack([lab.mean(axis=0), lab.std(axis=0)]) for lab in pieces)])
        return pd.DataFrame(table, columns=["L", "a", "b", "L_sd", "a_sd", "b_sd"], index=settings.index)

    def colour_draws(self, settings, most: int | None = None) -> np.ndarray:
        """Return equally likely colours of dips.

        They have shape (draws, n, 3). `settings`: Settings of n dips. `most`: use about that many draws only, for a
        quick look.
        """
        total = sum(len(part.departures) for part in self.draws)
        every = 1 if most is None else max(1, total // most)
        return colour_draws(self.draws, self.shape_of(settings), every)

    def absorbance(self, settings):
        """Return the likeliest absorbance (n, 31) of dips, and the coordinates (5,) of their surface."""
        part = max(self.draws, key=lambda draws: len(draws.departures))
        shape = self.shape_of(settings)
        return film_of(part.mode, shape, part.hyper).absorbance, part.mode[shape.layout.surface]

    def shape_of(self, settings):
        """Return `settings` as this bath's hypotheses see them."""
        shifts = self.training.settings.seen.shape[2]
        return Shape.of(settings.moved(seen=None), self.reference, self.discrepancy, self._usual, shifts)

    def seen_by(self, setup: str):
        """Return equally likely shifts (draws, 3) of colours as a set-up reads them against those of `colour_draws`."""
        columns, step = self.training.seen.shifts.get(setup, (slice(0, 0), np.zeros(0)))
        if not step.size:
            return np.zeros((sum(len(part.departures) for part in self.draws), 3))
        start = self.shape_of(self.reference).layout.seen.start
        own = slice(start + columns.start, start + columns.stop)
        return np.concatenate([(part.mode[own] + part.departures[:, own]) * step for part in self.draws])


def learn_model(records, seed=0, kind=BathModel):
    """Return a bath learned from its dips, of a `kind` of `BathModel`: see `dyebook.learn_bath`."""
    training = read_records(records)
    with one_thread():
        fits, discrepancy, reference = fit_hypotheses(training, seed)
    temper = np.sqrt(len(training) / (len(training) + _CAUTION))
    draws = draw_posterior(fits, _DRAWS, seed, temper)
    usual = Scales(float(np.median(training.settings.film_um)), float(np.median(training.settings.ph)))
    return kind(training, reference, discrepancy, draws, usual, tuple(fits))


def one_thread():
    """Return a context in which a matrix product takes one thread: at these sizes, more only wait for each other."""
    from threadpoolctl import threadpool_limits

    return threadpool_limits(1, "blas")


@dataclass(frozen=True)
class Draws:
    """Equally likely departures (draws, p) from the mode (p,) of one hypothesis."""

    hyper: Hyper
    mode: np.ndarray
    departures: np.ndarray


def draw_posterior(fits, count: int, seed: int, temper: float = 1.0) -> tuple[Draws, ...]:
    """Return about `count` draws in all, hypotheses in proportion to their evidence; opposite pairs.

    `temper`: factor on the departures.
    """
    from scipy.linalg import solve_triangular

    rng = np.random.default_rng(seed)
    out = []
    for fit, share in zip(fits, hypothesis_weights(fits), strict=True):
        half = int(np.ceil(share * count / 2)) if share else 0
        if half:
            noise = rng.standard_normal((len(fit.z), half))
            departures = temper * solve_triangular(fit.root.T, noise, lower=False).T
            out.append(Draws(fit.hyper, fit.z, np.concatenate([departures, -departures])))
    return tuple(out)


def hypothesis_weights(fits):
    """Return the share of each fit by its evidence; the negligible get none."""
    evidence = np.array([fit.log_evidence for fit in fits])
    weight = np.exp(evidence - evidence.max())
    weight = np.where(weight / weight.sum() < _LEAST_WEIGHT, 0, weight)
    return weight / weight.sum()


def colour_draws(draws, shape, every=1):
    """Return equally likely colours (draws, n, 3) of the dips in `shape`, of every so many-th draw."""
    out = []
    for part in draws:
        lab, slopes, *_ = colours_with_slopes(part.mode, shape, part.hyper)
        count, size = len(lab), slopes.shape[-1]
        shift = part.departures[::every] @ slopes.reshape(3 * count, size).T
        out.append(lab + shift.reshape(-1, count, 3))
    lab = np.concatenate(out)
    lab[..., 0] = np.clip(lab[..., 0], 0, 100)
    return lab


def mode_colours(draws, shape, light="d65"):
    """Return colours (draws, n, 3) under a light, each hypothesis' mode repeated as often as it has draws."""
    return np.concatenate(
        [np.tile(colours(part.mode, shape, part.hyper, light), (len(part.departures), 1, 1)) for part in draws]
    )
