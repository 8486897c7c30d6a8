"""Bench commands for what comes after the run: dye bath and seal."""

from typing import Annotated

from dyebook.cli_answer import Json, Letter, Page, given, option, show_answer
from dyebook.cli_book import BookOption, open_at
from dyebook.units import parse_quantity

__all__ = ["dyebath", "seal"]


def dyebath(
    dye_g_per_l: Annotated[str, option("Wanted strength.")],
    volume_l: Annotated[str, option("Bath at its full level.")],
    measured_g_per_l: Annotated[str | None, option("Strength as measured, for a top-up.")] = None,
    present_l: Annotated[str | None, option("Volume now, for a top-up.")] = None,
    dyed_dm2: Annotated[str | None, option("Or the area dyed since it stood at strength.")] = None,
    film_um: Annotated[str, option("Film of that work.")] = "10",
    evaporated_l: Annotated[str, option("Water lost to the air since.")] = "0",
    uptake_mg_per_dm2: Annotated[float | None, option("Dye taken up per area, where known.")] = None,
    second_dye_g_per_l: Annotated[str | None, option("Of a second dye in the same bath.")] = None,
    page: Page = None,
    letter: Letter = False,
    as_json: Json = False,
):
    """Dye for a new bath, or what brings a used one back.

    Example: dyebook dyebath --dye-g-per-l 3 --volume-l 2 --dyed-dm2 40 --evaporated-l 0.1
    """
    from dyebook.physics.bathcare import make_up_bath, top_up_bath

    wanted, volume = parse_quantity("dye_g_per_l", dye_g_per_l), parse_quantity("volume_l", volume_l)
    if measured_g_per_l is None and dyed_dm2 is None:
        second = given("dye_g_per_l", second_dye_g_per_l)
        show_answer(make_up_bath(wanted, volume, second), as_json, "New dye bath", page, letter)
        return
    use = {}
    if measured_g_per_l is None:
        use = {
            "dyed_dm2": parse_quantity("dyed_dm2", dyed_dm2),
            "film_um": parse_quantity("film_um", film_um),
            "evaporated_l": parse_quantity("evaporated_l", evaporated_l),
            "uptake_mg_per_dm2": uptake_mg_per_dm2,
        }
    measured, present = given("dye_g_per_l", measured_g_per_l), given("volume_l", present_l)
    answer = top_up_bath(wanted, volume, measured_g_per_l=measured, present_volume_l=present, **use)
    show_answer(answer, as_json, "Top up the dye bath", page, letter)


def seal(
    film_um: Annotated[str, option("Film to seal, such as 12 or '0.5 mil'.")],
    kind: Annotated[str, option("hot_water, mid_temperature, nickel_acetate, cold_nickel.")] = "hot_water",
    min_per_um: Annotated[float | None, option("Your own minutes per µm.")] = None,
    skin_or_food: Annotated[bool, option("Worn on the skin or used with food.", "--skin-or-food")] = False,
    order: Annotated[str | None, option("The order it is for, which says so.")] = None,
    book: BookOption = None,
    page: Page = None,
    letter: Letter = False,
    as_json: Json = False,
):
    """Time and window to seal a film.

    Example: dyebook seal --film-um 12 --kind hot_water
    """
    from dyebook.physics.sealing import plan_seal

    film = parse_quantity("film_um", film_um)
    if order is not None:
        from dyebook.jobs.run_order import is_for_skin

        with open_at(book) as opened:
            skin_or_food = skin_or_food or is_for_skin(opened, order)
    show_answer(plan_seal(film, kind, min_per_um=min_per_um, skin_or_food=skin_or_food), as_json, "Seal", page, letter)
