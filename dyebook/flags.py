"""The one table of doubts: a value exists, but something about it should be known."""

from dataclasses import dataclass

__all__ = ["FLAGS", "Flag"]


@dataclass(frozen=True)
class Flag:
    """A doubt about a reading."""

    name: str  # identifier used in results and files
    meaning: str  # what was seen, for a reader who has never met the word
    remedy: str  # what to do about it


_TABLE = (
    Flag("no_card", "no grey card was used", "lay a plain grey card beside the part, in the same light"),
    Flag("card_doubtful", "the card may be the wrong patch", "tap the card's corners, or move other grey things away"),
    Flag("card_clipped", "the card is too bright or too dark to count", "expose so that the card is a mid grey"),
    Flag("no_part", "no part was found", "draw the part, or lay it apart from the card on a plain background"),
    Flag("part_doubtful", "the outline of the part is uncertain", "draw the part by hand"),
    Flag("clipped", "the part is too bright in the photo, which has lost its colour", "retake it darker"),
    Flag("dark", "the part is too dark in the photo", "expose brighter, or bring more light"),
    Flag("out_of_gamut", "the colour is more saturated than the photo file can hold", "save as wide gamut or RAW"),
    Flag("glare", "mirror highlights cover much of the part", "turn the part, or soften the light"),
    Flag("uneven_light", "the light falls off across the photo", "bring part and card closer together, or add light"),
    Flag(
        "directed_light",
        "lamp light on mirroring metal: lightness cannot be trusted",
        "use a tent, hold a sheet of white paper above, or lay a bare twin beside the part",
    ),
    Flag("small", "few pixels show the film squarely", "move closer"),
    Flag("uneven_part", "the colour differs across the part", "look at the flaws, and measure again"),
    Flag("camera_other_light", "the camera profile was learned in other light", "learn the camera in this light"),
    Flag(
        "camera_other_exposure",
        "the camera profile was learned at another exposure",
        "expose as when the chart was photographed, or learn the camera again",
    ),
    Flag("camera_poor", "the camera's colours could not be learned well", "photograph the chart in even daylight"),
    Flag("chart_clipped", "patches of the chart are too bright, and were left out", "retake it darker"),
    Flag("chart_uneven", "a patch of the chart is shadowed or covered, and was left out", "photograph it again, clear"),
    Flag("few_readings", "fewer than ten readings, so the spread is a rough guess", "take ten photos or more"),
    Flag(
        "steps_unseen",
        "no step of colour is seen at an end of this band, so equal lengths were taken there",
        "draw each band as a part of its own",
    ),
    Flag("step_odd", "this band breaks the order from deep to pale", "look at the strip, and leave the band out"),
    Flag(
        "unlike_bath",
        "no dip of this bath has given such a hue, so the reading teaches nothing yet",
        "look whether photo and batch belong together; where they do, say so on the batch",
    ),
    Flag("flaws_not_sought", "no look was taken for flaws, so none are listed", "measure without --no-flaws"),
    Flag(
        "twin_unlike",
        "the bare twin is dyed, or differs from the part in shape or in the light upon it",
        "lay an undyed piece of the same shape and finish close by, the same way round",
    ),
    Flag("twin_clipped", "the bare twin is too bright to show the light", "expose until no part of it is pure white"),
    Flag("mat_bent", "the photo mat does not lie flat, so areas are uncertain", "weigh its corners down"),
    Flag("odd_tone", "the photo's tone curve is unusual", "turn off filters and HDR, or learn the camera from a chart"),
)

FLAGS = {flag.name: flag for flag in _TABLE}
