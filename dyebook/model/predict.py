"""A learned bath: what colour settings will give, and how sure that is."""

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from dyebook.model.basis import Discrepancy
from dyebook.model.draws import colour_draws, draw_posterior
from dyebook.model.fit import fit_hypotheses
from dyebook.model.forward import Shape, film_of
from dyebook.model.inputs import Scales, Settings, Training, check_table, read_records, read_settings
from dyebook.notebook import Drawn

__all__ = ["BathModel", "learn_model"]

_DRAWS = 128
_CHUNK = 1000
# the priors are wider than baths are, so that none is ruled out; until records outweigh them, departures are shrunk as
# if this many dips were already known (set on simulated baths: nine true colours in ten below the 90 % figure)
_CAUTION = 2.0


@dataclass(frozen=True)
class BathModel(Drawn):
    """A dye bath learned from records; make one with `learn_bath`.

    Attributes
    ----------
    training : Training
        The records as they were read.
    reference : Settings
        The middle dip, to which loads are relative.
    discrepancy : Discrepancy
    draws : tuple of Draws
        The posterior.
    usual : Scales
        Film and pH taken when none is given.
    today : str or None
        ISO date that is meant where a dip to be predicted has none; None for the day of the latest record.
    """

    training: Training
    reference: Settings
    discrepancy: Discrepancy
    draws: tuple
    usual: Scales
    fits: tuple = field(default=(), repr=False)
    today: str | None = None

    def as_of(self, day):
        """Return the same bath asked on another day, an ISO date: the longer after its latest dip, the less sure."""
        return replace(self, today=day)

    @cached_property
    def _usual(self):
        """Columns of the usual circumstances, shapes (1, q) and (1, r)."""
        import pandas as pd

        return self.training.circumstances.encode(pd.DataFrame({"dyed_at": [self.today]}, dtype=object))

    def predict(self, settings):
        """Return the expected colour of dips and its uncertainty.

        Parameters
        ----------
        settings : pandas.DataFrame
            Columns dye_g_per_l, bath_temp_c, dwell_min, and where known film_um, ph, dyed_at and the other columns of
            records. As in learning, a film that a gauge read stands before the planned one.

        Returns
        -------
        pandas.DataFrame
            L, a, b and L_sd, a_sd, b_sd: the colour itself, without the scatter of a reading.

        Raises
        ------
        ModelError
            If they are no DataFrame, a column is missing or a value impossible.
        """
        import pandas as pd

        check_table("settings", settings)
        if self.today is not None and "dyed_at" not in settings.columns:
            settings = settings.assign(dyed_at=self.today)
        asked = read_settings(settings, self.usual, self.training.circumstances)
        pieces = [self.colour_draws(asked[i : i + _CHUNK]) for i in range(0, len(asked), _CHUNK)]
        table = np.vstack([np.zeros((0, 6)), *(np.hstack([lab.mean(axis=0), lab.std(axis=0)]) for lab in pieces)])
        return pd.DataFrame(table, columns=["L", "a", "b", "L_sd", "a_sd", "b_sd"], index=settings.index)

    def colour_draws(self, settings, most=None):
        """Return equally likely colours of dips.

        Parameters
        ----------
        settings : Settings of n dips
        most : int, optional
            Use about that many draws only, for a quick look.

        Returns
        -------
        ndarray, shape (draws, n, 3)
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
        return Shape.of(settings, self.reference, self.discrepancy, self._usual)


def learn_model(records, seed=0):
    """Return the parts of a learned bath: see `dyebook.learn_bath`."""
    training = read_records(records)
    fits, discrepancy, reference = fit_hypotheses(training, seed)
    temper = np.sqrt(len(training) / (len(training) + _CAUTION))
    draws = draw_posterior(fits, _DRAWS, seed, temper)
    usual = Scales(float(np.median(training.settings.film_um)), float(np.median(training.settings.ph)))
    return BathModel(training, reference, discrepancy, draws, usual, tuple(fits))
