"""Short help that the screens show and the README repeats word for word."""

__all__ = ["PHOTO_TIPS", "PHOTO_TITLE"]

PHOTO_TITLE = "How to photograph shiny parts"
PHOTO_TIPS = (
    "Lay a plain matt grey card in the same plane and the same light as the part; 3 to 15 % of the picture is enough. "
    "Tell dyebook the card's own Lab if it is not an 18 % grey.",
    "Soft light: a light tent, or a large white surface beside the lamp. Turn shiny parts so that they mirror "
    "something plain.",
    "Expose so that nothing is blown out. If in doubt, darker.",
    "No crossed polarisers for colour: they take away the metal's reflection, and with it the colour.",
    "Sample and part in one photo are compared best: most of the camera's error cancels.",
    'Flash, filters, HDR and "scenes" off.',
)
