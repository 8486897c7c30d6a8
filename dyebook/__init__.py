"""dyebook: a bench book for anodising and dyeing aluminium."""

from importlib import import_module

from dyebook.notebook import set_report
from dyebook.version import __version__

# name -> module that holds it; loaded when first used, so that `import dyebook` stays instant
_HOMES = {
    "DyebookError": "dyebook.errors",
    "Lab": "dyebook.lab",
    "delta_e_00": "dyebook.lab",
    "open_book": "dyebook.book.store",
    "Measurement": "dyebook.record",
    "Reading": "dyebook.record",
    "measure": "dyebook.photo.measure",
    "learn_bath": "dyebook.advice.learn",
    "judge": "dyebook.advice.judge",
    "Verdict": "dyebook.advice.judge",
    "diagnose": "dyebook.advice.diagnose",
    "Cause": "dyebook.advice.diagnose",
}

__all__ = ["__version__", *_HOMES]


def _word(code, values):
    family, _, name = code.partition(".")
    sentence = import_module(f"dyebook.report.{family}").SENTENCES[name]
    return sentence(**values) if callable(sentence) else sentence.format(**values)


def _draw(result):
    return import_module("dyebook.report.notebook").draw(result)


set_report(_word, _draw)


def __getattr__(name):
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'dyebook' has no attribute {name!r}")


def __dir__():
    return sorted(__all__)
